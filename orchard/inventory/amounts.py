"""Amounts of the store: kept in g, mL or count, shown in the product's unit of stock.

Every sum goes through `EXACT`: Python's own context would round a long balance without a word.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction
from functools import lru_cache

from django.utils.translation import gettext as _

from mixing import doses, quantities
from mixing.faults import TOP
from mixing.label_reading import read_label
from mixing.quantities import EXACT, Quantity, QuantityError
from mixing.reading import Reader
from orchard.api.spoken import spoken
from orchard.inventory import queries
from orchard.inventory.models import LabelVersion, Product

BASE_UNITS = {"mass": "g", "volume": "mL", "count": "count"}
DIMENSIONS = tuple(BASE_UNITS)
ZERO = Decimal(0)
FINEST = Decimal(1).scaleb(-20)
"""What a column of a base amount can hold."""
MOST = Decimal(10) ** 9
"""More than any store holds [g, mL]: a thousand tonnes, a million litres. The unit was mistaken.

Common practice, no source."""
SIX_PLACES = Decimal("0.000001")


def base_unit(stock_unit: str) -> str:
    """Return what the ledger of a product is kept in.

    :raises QuantityError: `unit_kind` for a unit that measures no amount of product, or is no unit
    """
    dimension = quantities.unit(stock_unit).dimension
    if dimension not in BASE_UNITS:
        raise QuantityError(
            "unit_kind",
            _("%(stock_unit)s measures %(dimension)s: stock is a mass, a volume or a count")
            % {"stock_unit": stock_unit, "dimension": spoken(dimension)},
            "unit",
        )
    return BASE_UNITS[dimension]


def in_base(quantity: Quantity, *, product: Product, on: dt.date) -> Decimal:
    """Return an amount in the product's base unit, to 20 places.

    :param on: the day whose label gives the density that turns mass and volume into each other
    :raises QuantityError: `unit_kind`, `unit_needs_density`, `out_of_range`
    """
    return in_base_by(quantity, product=product, density=lambda: density(product=product, on=on))


def in_base_by(quantity: Quantity, *, product: Product, density: Callable[[], Decimal | None]) -> Decimal:
    """Return the same, with the density from where the caller has it: asked for only where it is needed.

    :param density: gives what a mL weighs [g]; None where nobody knows
    :raises QuantityError: as `in_base`
    """
    base = quantity.in_base()
    kind, wanted = BASE_UNITS.get(quantity.dimension), product.base_unit
    if kind != wanted:
        base = _turned(base, quantity, product=product, density=density)
    if abs(base) > MOST:
        raise QuantityError(
            "out_of_range", _("this is more than any store holds: is the unit right?"), "value"
        )
    return rounded(base)


def rounded(base: Decimal) -> Decimal:
    """Return a base amount as its column holds it."""
    return base.quantize(FINEST, rounding=ROUND_HALF_EVEN, context=EXACT)


def _turned(
    base: Decimal, quantity: Quantity, *, product: Product, density: Callable[[], Decimal | None]
) -> Decimal:
    kind = BASE_UNITS.get(quantity.dimension)
    if kind is None or "count" in (kind, product.base_unit):
        raise QuantityError(
            "unit_kind",
            _("%(product)s is kept in %(stock_unit)s, not in %(unit)s")
            % {"product": product.name, "stock_unit": product.stock_unit, "unit": quantity.unit},
            "unit",
        )
    grams_per_ml = density()
    if grams_per_ml is None:
        raise QuantityError(
            "unit_needs_density",
            _(
                "%(product)s is kept in %(stock_unit)s: to turn %(unit)s into it, its label needs a "
                "density (bulk_density for what is dry)"
            )
            % {"product": product.name, "stock_unit": product.stock_unit, "unit": quantity.unit},
            "unit",
        )
    if product.base_unit == "g":
        return EXACT.multiply(base, grams_per_ml)
    return EXACT.divide(base, grams_per_ml)


def density(*, product: Product, on: dt.date) -> Decimal | None:
    """Return what a mL weighs [g] by the label in force on a day; None where it does not say."""
    version = queries.label_in_force(product=product, on=on)
    return None if version is None else density_by(version)


def density_by(version: LabelVersion) -> Decimal | None:
    """Return what a mL weighs [g] by one label; None where it does not say."""
    label = read_label(version.label, TOP, Reader())
    given = None if label is None else doses.density(label)
    return None if given is None else given.in_base()


def in_stock_unit(base: Decimal, product: Product) -> Quantity:
    """Return a base amount in the product's unit: the shortest exact decimal where it ends, else 6 places."""
    return Quantity(in_unit(base, product.stock_unit), product.stock_unit)


@lru_cache(maxsize=4096)
def in_unit(base: Decimal, name: str) -> Decimal:
    """Return a base amount in a unit of the same kind: the shortest exact decimal, else 6 places."""
    unit = quantities.unit(name)
    return shortest(Fraction(base) * Fraction(unit.below) / Fraction(unit.above))


def shortest(exact: Fraction) -> Decimal:
    """Return the shortest exact decimal of a number where it ends, else 6 places."""
    value = EXACT.divide(Decimal(exact.numerator), Decimal(exact.denominator))
    if 10**60 % exact.denominator:  # some prime but 2 and 5 stands below the line: it never ends
        return value.quantize(SIX_PLACES, rounding=ROUND_HALF_EVEN, context=EXACT)
    return value


def shown(quantity: Quantity) -> dict[str, str]:
    """Return a quantity as JSON with every digit that was kept."""
    return written(quantity.value, quantity.unit)


def written(value: Decimal, unit: str) -> dict[str, str]:
    """Return an amount of a unit as JSON with every digit that was kept."""
    return {"value": quantities.plain(value, 60), "unit": unit}


def shown_base(base: Decimal, product: Product) -> dict[str, str]:
    """Return a base amount as JSON in g, mL or count."""
    return shown(Quantity(base, product.base_unit))


def shown_stock(base: Decimal, product: Product) -> dict[str, str]:
    """Return a base amount as JSON in the product's unit of stock."""
    return shown(in_stock_unit(base, product))
