"""Amounts per area and year, by label and by region: what history and this tank bring together."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import ROUND_HALF_EVEN, Decimal
from functools import lru_cache
from typing import NamedTuple

from mixing import quantities
from mixing.catalogue import Text
from mixing.chemistry import Facts
from mixing.findings import Finding, Severity
from mixing.limits import amounts
from mixing.limits.amounts import Unknown
from mixing.limits.interval import YEAR
from mixing.limits.lacking import Lacking
from mixing.limits.speaking import limit, shown, spoken
from mixing.limits.subject import Past
from mixing.limits.weather import Subjects
from mixing.quantities import EXACT, Quantity
from mixing.request import MixRequest, Product
from mixing.rulebook import Place, Rule, Rulebook, Source
from mixing.scene import Scene

UNIT = "kg/ha"  # where no maximum gives a unit
COUNTED = ("copper",)  # counted although no limit of these labels or of the region names them
_PLACES = Decimal("0.001")


class YearLine(NamedTuple):
    """What was and would be used of a substance per area, in the unit of its maximum.

    :ivar used, after: before and with this application; three places
    :ivar maximum: None where neither a label nor the region sets one
    :ivar source: of a region's limit; `label` and `registration` name the label that sets it otherwise
    :ivar years: over how many years it counts
    """

    of: str
    used: Quantity
    after: Quantity
    maximum: Quantity | None
    source: Source | None
    label: str | None
    years: int = 1
    registration: str | None = None


class _Limit(NamedTuple):
    of: str
    maximum: Quantity | None
    years: int
    rule: Rule | None
    product: Product | None


class Count(NamedTuple):
    """A substance per area against one limit: grams a square metre before and in this tank.

    :ivar products: ids of the products of the tank that bring it
    """

    used: Decimal
    tank: Decimal
    products: tuple[str, ...]

    @property
    def after(self) -> Decimal:
        """What it comes to with this tank."""
        return self.used + self.tank


def counts(
    subjects: Subjects, past: Past, request: MixRequest, scene: Scene, rulebook: Rulebook
) -> list[tuple[_Limit, Count | Unknown]]:
    """Return each limit with what it comes to, or with what is missing to say so."""
    found: list[tuple[_Limit, Count | Unknown]] = []
    for one in _limits(subjects, request, scene, rulebook):
        if scene.today is None or request.history is None:
            found.append((one, Unknown("at" if scene.today is None else "history")))
        else:
            found.append((one, _count(one, subjects, past, request)))
    return found


def check(
    counted: list[tuple[_Limit, Count | Unknown]], rulebook: Rulebook, lacking: Lacking
) -> Iterator[Finding]:
    """Yield where a yearly amount would be passed, or cannot be worked out though a limit asks for it."""
    for one, count in counted:
        if one.maximum is None:
            continue
        if isinstance(count, Unknown):
            if one.product is not None:
                yield lacking.needed(count.path, one.product)
            else:
                lacking.field(count.path, Text("missing.needed_by_region", {"of": one.of}))
        elif amounts.exceeds(count.after, one.maximum.in_base()):
            yield _passed(one, one.maximum, count, rulebook)


def _passed(one: _Limit, maximum: Quantity, count: Count, rulebook: Rulebook) -> Finding:
    said = {"of": one.of, "value": shown(_in_unit(count.after, maximum.unit)), "limit": shown(maximum)}
    if one.rule is not None:
        return spoken(
            rulebook,
            one.rule,
            one.rule.severity,
            (),
            products=count.products,
            parameters={**said, "days": str(one.years * YEAR)},
        )
    assert one.product is not None
    found = limit("label.yearly", Severity.STOP, one.product, **said)
    return Finding(found.id, found.severity, found.basis, count.products, found.parameters)


def lines(counted: list[tuple[_Limit, Count | Unknown]], rulebook: Rulebook) -> list[YearLine]:
    """Return what the report says of the year: one line for each substance and limit."""
    found: dict[tuple[str, Quantity | None, str | None], YearLine] = {}
    for one, count in counted:
        if isinstance(count, Unknown):
            continue
        unit = one.maximum.unit if one.maximum else UNIT
        said_by = one.product.label.name if one.product else one.rule.id if one.rule else None
        found.setdefault(
            (one.of, one.maximum, said_by),
            YearLine(
                one.of,
                _in_unit(count.used, unit),
                _in_unit(count.after, unit),
                one.maximum,
                rulebook.sources.get(one.rule.source or "") if one.rule else None,
                one.product.label.name if one.product else None,
                one.years,
                one.product.label.registration if one.product else None,
            ),
        )
    return list(found.values())


def _in_unit(base: Decimal, unit: str) -> Quantity:
    turned = quantities.unit(unit)
    value = base * turned.below / turned.above
    return Quantity(value.quantize(_PLACES, rounding=ROUND_HALF_EVEN, context=EXACT), unit)


def _limits(subjects: Subjects, request: MixRequest, scene: Scene, rulebook: Rulebook) -> list[_Limit]:
    """Limits of the labels in the tank, of the region, and metals of the tank that nobody limits."""
    found = [
        _Limit(yearly.of, yearly.amount, 1, None, one.product)
        for one in subjects
        for yearly in one.applying.bounds.maximum_per_year
    ]
    found += _regional(tuple([one.facts for one in subjects]), scene.place, rulebook)
    named = {one.of for one in found}
    for of in COUNTED:
        if of not in named and any(one.facts.brings(of) for one in subjects):
            found.append(_Limit(of, None, 1, None, None))
    return found


@lru_cache(maxsize=1024)
def _regional(products: tuple[Facts, ...], place: Place, rulebook: Rulebook) -> tuple[_Limit, ...]:
    """Limits of the region on what the products bring."""
    return tuple(
        _Limit(of, rule.when.maximum, rule.when.years or 1, rule, None)
        for rule in rulebook.for_tank("yearly", place)
        if any(facts.brings(of := rule.when.of or "") for facts in products)
    )


def _count(one: _Limit, subjects: Subjects, past: Past, request: MixRequest) -> Count | Unknown:
    used, tank, products = Decimal(0), Decimal(0), []
    for facts, sprays in past.of_facts.items():
        if not facts.brings(one.of):
            continue
        for earlier in sprays:
            if earlier.days >= one.years * YEAR:
                break
            amount = amounts.substance_before(earlier.application, earlier.place, one.of)
            if isinstance(amount, Unknown):
                return amount
            used += amount
    for subject in subjects:
        if not subject.facts.brings(one.of):
            continue
        amount = amounts.substance_of(subject.product, one.of, request.spray)
        if isinstance(amount, Unknown):
            return amount
        products.append(subject.product.id)
        tank += amount
    return Count(used, tank, tuple(products))
