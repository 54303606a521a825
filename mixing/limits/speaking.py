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


def shown(quantity: Quantity) -> str:
    """Return a quantity as a person reads it, at most three places: `8 mph`."""
    return f"{short(quantity.value)} {quantity.unit}"


def short(value: Decimal, places: int = 3) -> str:
    """Return a number in plain digits, at most three places."""
    return plain(value.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_EVEN, context=EXACT))


def in_unit_of(base: Decimal, dimension_unit: str) -> str:
    """Return a base value in a unit, ready to print.

    :param base: value in the base unit of that unit's dimension (m/s, degC)
    """
    unit = BASE_OF.get(dimension_unit)
    quantity = Quantity(base, unit) if unit else None
    return shown(quantity.to(dimension_unit)) if quantity else short(base)


BASE_OF = {"mph": "m/s", "km/h": "m/s", "m/s": "m/s", "degC": "degC", "degF": "degC"}
