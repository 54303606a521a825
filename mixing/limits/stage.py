"""Published limits by growth stage: what may still go on which crop at which stage, at which rate."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from mixing.findings import Basis, Finding, Severity
from mixing.limits import amounts
from mixing.limits.amounts import Unknown
from mixing.limits.speaking import spoken
from mixing.limits.subject import Subject
from mixing.quantities import Quantity
from mixing.request import MixRequest, Product
from mixing.rulebook import Rule, Rulebook, strictest
from mixing.scene import Scene
from mixing.uses import Applying


def check(subject: Subject, request: MixRequest, scene: Scene, rulebook: Rulebook) -> Iterator[Finding]:
    """Yield what publications say of this product at this stage on this crop.

    Where the label has a window that includes the stage, a published stop is at most a caution.
    """
    speaking = [
        (rule, _severity(rule, subject.applying))
        for rule in subject.rows.stages
        if _at_rate(rule, subject.product, request)
    ]
    for rule, severity, rivals in strictest(speaking):
        yield spoken(
            rulebook,
            rule,
            severity,
            rivals,
            products=(subject.product.id,),
            parameters={
                "product": subject.label.name,
                "crop": request.crop,
                "stage": f"{scene.place.bbch:02d}" if scene.place.bbch is not None else "",
            },
        )


def _severity(rule: Rule, applying: Applying) -> Severity:
    if applying.windowed and rule.basis is Basis.PUBLISHED and rule.severity is Severity.STOP:
        return Severity.CAUTION
    return rule.severity


def _at_rate(rule: Rule, product: Product, request: MixRequest) -> bool:
    """Say whether the rate is one that the row speaks of; an unknown rate counts as full."""
    when = rule.when
    if when.percent_above is not None:
        percent = _percent(product.rate)
        return percent is None or amounts.exceeds(percent, when.percent_above)
    if when.copper_above is None and when.copper_up_to is None:
        return True
    copper = amounts.substance_of(product, "copper", request.spray)
    if isinstance(copper, Unknown):
        return when.copper_up_to is None
    if when.copper_up_to is not None and amounts.exceeds(copper, when.copper_up_to):
        return False
    return when.copper_above is None or amounts.exceeds(copper, when.copper_above)


def _percent(rate: Quantity) -> Decimal | None:
    """Return a rate by volume as a percentage of the spray; None for a rate of another kind."""
    return rate.in_base() * 100 if rate.dimension == "volume/volume" else None
