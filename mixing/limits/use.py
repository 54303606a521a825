"""What a label says of crop, target, stage and rate, and of the strip to leave unsprayed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from mixing.catalogue import Text
from mixing.findings import Finding, Severity
from mixing.limits import amounts
from mixing.limits.amounts import Unknown
from mixing.limits.lacking import Lacking
from mixing.limits.speaking import limit, shown
from mixing.quantities import Quantity
from mixing.request import MixRequest, Product
from mixing.uses import Applying

OLD_DAYS = 14  # the contract: an observation older than this is a caution


def check(product: Product, applying: Applying, request: MixRequest, lacking: Lacking) -> Iterable[Finding]:
    """Yield what the label's use rows say against this crop, target, stage and rate."""
    if not applying.known:
        lacking.field(f"label.uses:{product.id}", Text("missing.uses"))
        return
    if not applying.crop:
        yield limit("label.crop", Severity.STOP, product, crop=request.crop)
        return
    if not applying.target:
        yield limit("label.target", Severity.CAUTION, product, targets=", ".join(request.targets))
    if applying.needs_stage:
        yield lacking.needed("stage", product)
    elif not applying.stage:
        yield _stage(product, applying, request)
    yield from _rate(product, applying, request, lacking)
    yield from _buffer(product, applying)


def _stage(product: Product, applying: Applying, request: MixRequest) -> Finding:
    windows = dict.fromkeys(str(window) for row in applying.rows for window in row.stages)
    bbch = request.stage.bbch if request.stage else 0
    return limit(
        "label.stage",
        Severity.STOP,
        product,
        crop=request.crop,
        value=f"{bbch:02d}",
        limit=", ".join(windows),
    )


def _rate(product: Product, applying: Applying, request: MixRequest, lacking: Lacking) -> Iterator[Finding]:
    yield from _bound(product, applying.maxima, request, lacking, above=True)
    yield from _bound(product, applying.minima, request, lacking, above=False)


def _bound(
    product: Product, bounds: tuple[Quantity, ...], request: MixRequest, lacking: Lacking, *, above: bool
) -> Iterator[Finding]:
    for bound in bounds:
        found = amounts.passes(product.rate, bound, product, request, above=above)
        if isinstance(found, Unknown):
            yield lacking.needed(found.path, product)
        elif found:
            name = "label.rate-above-maximum" if above else "label.rate-below-minimum"
            severity = Severity.STOP if above else Severity.CAUTION
            yield limit(name, severity, product, value=shown(product.rate), limit=shown(bound))


def _buffer(product: Product, applying: Applying) -> Iterator[Finding]:
    widest: Quantity | None = None
    beside = ""
    for row in applying.rows:
        buffer = row.buffer
        if buffer is None or buffer.width is None:
            continue
        if widest is None or buffer.width.in_base() > widest.in_base():
            widest, beside = buffer.width, buffer.beside or ""
    if widest is not None:
        yield limit("label.buffer", Severity.NOTE, product, limit=shown(widest), beside=beside)
