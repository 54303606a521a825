"""Amounts per area and year, by label and by region: what history and this tank bring together."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_EVEN, Decimal

from mixing import chemistry
from mixing.catalogue import Text
from mixing.findings import Finding, Severity
from mixing.limits import amounts
from mixing.limits.amounts import Unknown
from mixing.limits.interval import YEAR, in_year
from mixing.limits.lacking import Lacking
from mixing.limits.speaking import limit, shown, spoken
from mixing.limits.weather import Applied
from mixing.quantities import EXACT, Quantity
from mixing.request import MixRequest, Product
from mixing.rulebook import Rule, Rulebook, Source
from mixing.scene import Scene, in_place

UNIT = "kg/ha"  # where no maximum gives a unit
COUNTED = ("copper", "zinc")  # counted although no limit of these labels or of the region names them
_PLACES = Decimal("0.001")


@dataclass(frozen=True, slots=True)
class YearLine:
    """What was and would be used of a substance per area, in the unit of its maximum.

    :ivar used, after: before and with this application; three places
    :ivar maximum: None where neither a label nor the region sets one
    :ivar source: of a region's limit; `label` names the label that sets it otherwise
    :ivar years: over how many years it counts
    """

    of: str
    used: Quantity
    after: Quantity
    maximum: Quantity | None
    source: Source | None
    label: str | None
    years: int = 1


@dataclass(frozen=True, slots=True)
class _Limit:
    of: str
    maximum: Quantity | None
    years: int
    rule: Rule | None
    product: Product | None


@dataclass(frozen=True, slots=True)
class _Count:
    """Grams per square metre before and in this tank, and the products of the tank that bring it."""

    used: Decimal
    tank: Decimal
    products: tuple[str, ...]

    @property
    def after(self) -> Decimal:
        return self.used + self.tank


def check(
    applied: Applied, request: MixRequest, scene: Scene, rulebook: Rulebook, lacking: Lacking
) -> Iterator[Finding]:
    """Yield where a yearly amount would be passed, or cannot be worked out though a label limits it."""
    for one in _limits(applied, request, scene, rulebook):
        if one.maximum is None:
            continue
        if scene.today is None or request.history is None:
            path = "at" if scene.today is None else "history"
            if one.product is not None:
                yield lacking.needed(path, one.product)
            continue
        count = _count(one, request, scene.today)
        if isinstance(count, Unknown):
            if one.product is not None:
                yield lacking.needed(count.path, one.product)
            else:
                lacking.field(count.path, Text("missing.needed_by_region", {"of": one.of}))
        elif count.after > one.maximum.in_base():
            yield _passed(one, count, rulebook)


def _passed(one: _Limit, count: _Count, rulebook: Rulebook) -> Finding:
    assert one.maximum is not None
    value = shown(_in_unit(count.after, one.maximum.unit))
    if one.rule is not None:
        return spoken(
            rulebook,
            one.rule,
            one.rule.severity,
            (),
            products=count.products,
            parameters={
                "of": one.of,
                "value": value,
                "limit": shown(one.maximum),
                "days": str((one.years * YEAR).days),
            },
        )
    assert one.product is not None
    found = limit(
        "label.yearly", Severity.STOP, one.product, of=one.of, value=value, limit=shown(one.maximum)
    )
    return Finding(found.id, found.severity, found.basis, count.products, found.parameters)


def lines(applied: Applied, request: MixRequest, scene: Scene, rulebook: Rulebook) -> list[YearLine]:
    """Return what the report says of the year: one line for each substance and limit."""
    if scene.today is None or request.history is None:
        return []
    found = []
    for one in _limits(applied, request, scene, rulebook):
        count = _count(one, request, scene.today)
        if isinstance(count, Unknown):
            continue
        unit = one.maximum.unit if one.maximum else UNIT
        found.append(
            YearLine(
                one.of,
                _in_unit(count.used, unit),
                _in_unit(count.after, unit),
                one.maximum,
                rulebook.sources.get(one.rule.source or "") if one.rule else None,
                one.product.label.name if one.product else None,
                one.years,
            )
        )
    return list(dict.fromkeys(found))


def _in_unit(base: Decimal, unit: str) -> Quantity:
    value = Quantity(base, "g/m2").to(unit).value
    return Quantity(value.quantize(_PLACES, rounding=ROUND_HALF_EVEN, context=EXACT), unit)


def _limits(applied: Applied, request: MixRequest, scene: Scene, rulebook: Rulebook) -> list[_Limit]:
    """Limits of the labels in the tank, of the region, and metals of the tank that nobody limits."""
    found: list[_Limit] = []
    for product, applying in applied:
        strictest: dict[str, Quantity] = {}
        for row in applying.rows:
            for yearly in row.maximum_per_year:
                other = strictest.get(yearly.of.casefold())
                if other is None or yearly.amount.in_base() < other.in_base():
                    strictest[yearly.of.casefold()] = yearly.amount
        found.extend(_Limit(of, amount, 1, None, product) for of, amount in strictest.items())
    for rule in rulebook.for_tank("yearly", request.crop):
        when = rule.when
        brought = any(amounts.brings(product.label, when.of or "") for product, _ in applied)
        if brought and in_place(when, scene):
            found.append(_Limit(when.of or "", when.maximum, when.years or 1, rule, None))
    named = {one.of for one in found}
    for of in COUNTED:
        if of not in named and any(of in chemistry.groups(product.label) for product, _ in applied):
            found.append(_Limit(of, None, 1, None, None))
    return found


def _count(one: _Limit, request: MixRequest, today: date) -> _Count | Unknown:
    used = Decimal(0)
    for place, application in enumerate(request.history or ()):
        if in_year(application, today, years=one.years):
            amount = amounts.substance_before(application, place, one.of)
            if isinstance(amount, Unknown):
                return amount
            used += amount
    tank, products = Decimal(0), []
    for product in request.products:
        amount = amounts.substance_of(product, one.of, request.spray)
        if isinstance(amount, Unknown):
            return amount
        if amounts.brings(product.label, one.of):
            products.append(product.id)
        tank += amount
    return _Count(used, tank, tuple(products))
