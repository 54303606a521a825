"""How a row, or a limit of a label, becomes a finding."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import ROUND_HALF_EVEN, Decimal
from functools import lru_cache

from mixing.findings import Basis, Finding, Severity
from mixing.quantities import EXACT, Quantity, plain
from mixing.request import Product
from mixing.rulebook import Rule, Rulebook


def spoken(
    rulebook: Rulebook,
    rule: Rule,
    severity: Severity,
    rivals: tuple[Rule, ...],
    *,
    products: tuple[str, ...],
    parameters: Mapping[str, str],
) -> Finding:
    """Return the finding of a row; `others` names the publications that say otherwise."""
    return Finding(
        rule.id,
        severity,
        rule.basis,
        products,
        {**parameters, "others": others(rulebook, rivals)},
        rule.source,
    )


@lru_cache(maxsize=2048)
def others(rulebook: Rulebook, rivals: tuple[Rule, ...]) -> str:
    """Return the rival sources ready to print: publisher, year and what stands where."""
    if not rivals:
        return ""
    said = []
    for rule in rivals:
        source = rulebook.sources.get(rule.source or "")
        if source is not None:
            year = f" {source.year}" if source.year else ""
            said.append(f"{source.publisher}{year} ({rule.locator})")
    return "; ".join(dict.fromkeys(said))


def limit(finding_id: str, severity: Severity, product: Product, **parameters: str) -> Finding:
    """Return the finding of a limit that the product's own label sets."""
    return Finding(
        finding_id, severity, Basis.LABEL, (product.id,), {"product": product.label.name, **parameters}
    )


def shown(quantity: Quantity, *, beside: Decimal | None = None) -> str:
    """Return a quantity as a person reads it, at most three places: `8 mph`.

    :param beside: another number of the same unit that stands in the sentence; as many more places are
        shown as it takes to tell the two apart
    """
    value, places = short(quantity.value), 3
    while beside is not None and value == short(beside, places) and places < PLACES:
        places += 1
        value = short(quantity.value, places)
    return f"{value} {SIGNS.get(quantity.unit, quantity.unit)}"


def short(value: Decimal, places: int = 3) -> str:
    """Return a number in plain digits, at most three places."""
    return plain(value.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_EVEN, context=EXACT))


def in_unit_of(base: Decimal, given: Quantity) -> str:
    """Return a base value in the unit of a measured one, ready to print beside it.

    It has one place (`9.3 mph` for 15 km/h), and more only where the two would read alike.

    :param base: value in the base unit of that unit's dimension (m/s, degC)
    """
    unit = BASE_OF.get(given.unit)
    if unit is None:
        return short(base)
    value = Quantity(base, unit).to(given.unit).value
    places = next((n for n in range(1, 4) if short(value, n) != short(given.value)), 3)
    return f"{short(value, places)} {SIGNS.get(given.unit, given.unit)}"


PLACES = 9
SIGNS = {"degC": "°C", "degF": "°F", "percent_vv": "%"}
"""Units whose name for the machine is not what a person reads."""
BASE_OF = {"mph": "m/s", "km/h": "m/s", "m/s": "m/s", "degC": "degC", "degF": "degC"}
