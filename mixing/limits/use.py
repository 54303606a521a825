"""What a label says of crop, target, stage and rate, and of the strip to leave unsprayed."""

from __future__ import annotations

from mixing.catalogue import Text
from mixing.findings import Finding, Severity
from mixing.limits import amounts
from mixing.limits.amounts import Unknown
from mixing.limits.lacking import Lacking
from mixing.limits.speaking import limit, shown
from mixing.limits.subject import Subject
from mixing.quantities import Quantity
from mixing.request import MixRequest, Product


def check(subject: Subject, request: MixRequest, lacking: Lacking) -> list[Finding]:
    """Return what the label's use rows say against this crop, target, stage and rate."""
    product, applying = subject.product, subject.applying
    if not applying.known:
        lacking.field(f"label.uses:{product.id}", Text("missing.uses"))
        return []
    if not applying.crop:
        return [limit("label.crop", Severity.STOP, product, crop=request.crop)]
    found = []
    if not applying.target:
        found.append(limit("label.target", Severity.CAUTION, product, targets=", ".join(request.targets)))
    if applying.needs_stage:
        found.append(lacking.needed("stage", product))
    elif not applying.stage:
        found.append(_stage(subject, request))
    if not applying.maxima:
        lacking.field(f"label.rate:{product.id}")
    for bound in applying.maxima:
        found += _rate(product, bound, request, lacking, above=True)
    for bound in applying.minima:
        found += _rate(product, bound, request, lacking, above=False)
    buffer = applying.bounds.buffer
    if buffer is not None and buffer.width is not None:
        said = {"limit": shown(buffer.width), "beside": buffer.beside or ""}
        found.append(limit("label.buffer", Severity.NOTE, product, **said))
    return found


def _stage(subject: Subject, request: MixRequest) -> Finding:
    windows = dict.fromkeys(str(window) for row in subject.applying.rows for window in row.stages)
    bbch = request.stage.bbch if request.stage else 0
    return limit(
        "label.stage",
        Severity.STOP,
        subject.product,
        crop=request.crop,
        value=f"{bbch:02d}",
        limit=", ".join(windows),
    )


def _rate(
    product: Product, bound: Quantity, request: MixRequest, lacking: Lacking, *, above: bool
) -> list[Finding]:
    rate = product.rate
    if rate.unit == bound.unit and (rate.value <= bound.value if above else rate.value >= bound.value):
        return []
    found = amounts.beside(rate, bound, product, request)
    if isinstance(found, Unknown):
        return [lacking.needed(found.path, product)]
    mine, most = found
    if not (amounts.exceeds(mine, most) if above else amounts.exceeds(most, mine)):
        return []
    name = "label.rate-above-maximum" if above else "label.rate-below-minimum"
    severity = Severity.STOP if above else Severity.CAUTION
    value = shown(product.rate)
    if product.rate.unit != bound.unit:  # the dose that was compared stands beside the rate as given
        compared = Quantity(bound.value * mine / most, bound.unit)
        value = f"{value} ({shown(compared, beside=bound.value)})"
    return [limit(name, severity, product, value=value, limit=shown(bound))]
