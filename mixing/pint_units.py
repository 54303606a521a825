"""Our table of units for those who work with pint: the same names, the same exact factors.

The engine never needs pint; this is the edge at which a caller's own pint quantities come in and go out.
"""

from __future__ import annotations

from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from mixing.quantities import SIMPLE, Quantity, QuantityError, parse_decimal, plain, unit

if TYPE_CHECKING:
    import pint

BASES = {
    "volume": "mL",
    "mass": "g",
    "area": "m2",
    "length": "m",
    "time": "s",
    "pressure": "kPa",
    "tree": "tree",
}
"""What each dimension is defined by; areas and volumes stand apart from lengths, as they do on a label."""


@lru_cache(maxsize=1)
def registry() -> pint.UnitRegistry[Any]:
    """Return a registry of decimals that knows our simple units and nothing else, so that no name is misread.

    pint's own table reads `ac` as a speed, `pt` as a pint and `oz` as a mass; here `oz` is not defined.
    """
    import pint  # noqa: PLC0415  (150 ms, and most callers never want it)

    made: pint.UnitRegistry[Any] = pint.UnitRegistry(None, non_int_type=Decimal)
    made.load_definitions([line for dimension in BASES for line in _lines(dimension)])
    return made


def _lines(dimension: str) -> list[str]:
    base = BASES[dimension]
    others = {
        name: factor for name, factor in SIMPLE[dimension].items() if name != base and not name[0].isdigit()
    }
    return [f"{base} = [{dimension}]", *(f"{name} = {factor} * {base}" for name, factor in others.items())]


def to_pint(quantity: Quantity) -> Any:
    """Return a quantity of pint's: `fl_oz/gal` becomes fl_oz per gal.

    :raises QuantityError: `unit_kind` for what pint's arithmetic has no sense for here (per cent, ppm, °C)
    """
    units = registry()
    parts = unit(quantity.unit).parts or (quantity.unit,)
    if any(part not in units for part in parts):
        raise QuantityError("unit_kind", f"{quantity.unit} is not handed to pint", "unit")
    return units.Quantity(quantity.value, " / ".join(parts))


def from_pint(amount: Any, name: str) -> Quantity:
    """Return one of our quantities in the unit `name` from pint's.

    :raises QuantityError: `unit_kind` where it measures something else
    """
    wanted = to_pint(Quantity(Decimal(1), name))
    if amount.dimensionality != wanted.dimensionality:
        raise QuantityError("unit_kind", f"{amount.units} cannot be turned into {name}", "unit")
    return Quantity(parse_decimal(plain(amount.to(wanted.units).magnitude)), name)
