"""Amounts with units, exactly: quantities, how they are read, converted by the table of units, and written.

Values are decimals, units are names from a closed list (`units`). Sixty digits are carried, so that an answer
that ends is exact.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import ROUND_HALF_EVEN, Context, Decimal
from functools import lru_cache

from mixing.catalogue import said
from mixing.unit_words import AMBIGUOUS, QuantityError
from mixing.units import COMPOUND, SIMPLE, Unit, sides, unit

__all__ = [
    "AMBIGUOUS",
    "COMPOUND",
    "EXACT",
    "MAX_DIGITS",
    "SIMPLE",
    "Quantity",
    "QuantityError",
    "Unit",
    "convert",
    "parse_decimal",
    "parse_quantity",
    "plain",
    "quantity_faults",
    "unit",
]

EXACT = Context(prec=60, rounding=ROUND_HALF_EVEN)
"""The arithmetic of the engine; `with localcontext(EXACT)` around anything that multiplies or divides."""

MAX_DIGITS = 20
DECIMAL = re.compile(r"-?\d+(?:\.\d+)?\Z", re.ASCII)

D = Decimal
_OFFSET_F = D(32)


@dataclass(frozen=True, slots=True, init=False)
class Quantity:
    """An exact value and the name of its unit. Compare two by `in_base` of each, not by `==`."""

    value: Decimal
    unit: str
    _base: Decimal = field(init=False, repr=False, compare=False)
    """The value in base units, set once it has been asked for: limits are compared again and again."""

    def __init__(self, value: Decimal, unit: str) -> None:
        _set_value(self, value)
        _set_unit(self, unit)

    def __reduce__(self) -> tuple[type[Quantity], tuple[Decimal, str]]:
        return Quantity, (self.value, self.unit)

    def __eq__(self, other: object) -> bool:
        # as the dataclass would have it, without a tuple of each
        return isinstance(other, Quantity) and self.value == other.value and self.unit == other.unit

    @property
    def dimension(self) -> str:
        """What it measures: `volume`, `mass/area`, `temperature` …"""
        return unit(self.unit).dimension

    @property
    def measures(self) -> str:
        """What stands above the line of a rate: `volume` of `L/ha`."""
        return sides(self.unit)[0]

    @property
    def per(self) -> str:
        """What stands below the line of a rate: `area` of `L/ha`; a unit without a line is per itself."""
        return sides(self.unit)[1]

    def in_base(self) -> Decimal:
        """Return the value in the base unit of its dimension (mL, g, m2, m, s, degC, kPa, quotients)."""
        try:
            return self._base
        except AttributeError:
            base = _to_base(self)
            _set_base(self, base)
            return base

    def to(self, name: str) -> Quantity:
        """Return the same quantity in another unit of the same dimension.

        :raises QuantityError: `unit_kind` where the other unit measures something else
        """
        return convert(self, name)

    def as_json(self) -> dict[str, str]:
        """Return `{"value": "2.5", "unit": "tbsp"}`."""
        return {"value": plain(self.value), "unit": self.unit}


# The slots of a frozen class can be set by their descriptors, in a third of the time of object.__setattr__:
# a report makes a hundred quantities.
_set_value = Quantity.__dict__["value"].__set__
_set_unit = Quantity.__dict__["unit"].__set__
_set_base = Quantity.__dict__["_base"].__set__


def _to_base(quantity: Quantity) -> Decimal:
    of = unit(quantity.unit)
    if of.name == "degF":
        return EXACT.divide((quantity.value - _OFFSET_F) * 5, D(9))
    if of.name in ("degF_difference", "degF_day"):
        return EXACT.divide(quantity.value * 5, D(9))
    base = EXACT.multiply(quantity.value, of.above)
    return base if of.below == 1 else EXACT.divide(base, of.below)


def convert(quantity: Quantity, name: str) -> Quantity:
    """Return `quantity` in the unit `name`; an answer that ends is exact.

    :raises QuantityError: `unit_kind` where the units measure different things
    """
    if quantity.unit == name:
        return quantity
    source, target = unit(quantity.unit), unit(name)
    if source.dimension != target.dimension:
        raise QuantityError(
            "unit_kind",
            said(
                "fault.cannot_be_turned",
                unit=source.name,
                dimension=source.dimension,
                other=target.name,
                other_dimension=target.dimension,
            ),
            "unit",
        )
    if name in ("degF", "degF_difference", "degF_day"):
        value = EXACT.divide(EXACT.multiply(_to_base(quantity), D(9)), D(5))
        return Quantity(EXACT.add(value, _OFFSET_F) if name == "degF" else value, name)
    if source.name.startswith("degF"):
        return Quantity(_to_base(quantity), name)
    top = EXACT.multiply(EXACT.multiply(quantity.value, source.above), target.below)
    return Quantity(EXACT.divide(top, EXACT.multiply(source.below, target.above)), name)


def kind(raw: object) -> str:
    """Return what kind of JSON a value is, for a sentence: its content is never echoed."""
    if raw is None:
        return "null"
    names = {bool: "true or false", int: "a number", float: "a number", str: "a text", list: "a list"}
    return names.get(type(raw), "an object")


def parse_decimal(raw: object, *, field: str = "value") -> Decimal:
    """Return the decimal that a text of plain digits gives; nothing else is taken.

    :raises QuantityError: `not_a_decimal` (number, comma, exponent, NaN), `out_of_range` (over 20 digits)
    """
    if not isinstance(raw, str):
        raise QuantityError(
            "not_a_decimal",
            said("fault.number_as_text", kind=kind(raw)),
            field,
        )
    if not DECIMAL.match(raw):
        raise QuantityError(
            "not_a_decimal",
            said("fault.not_plain", given=repr(raw[:40])),
            field,
        )
    if len(raw.lstrip("-").replace(".", "")) > MAX_DIGITS:
        raise QuantityError("out_of_range", said("fault.many_digits", most=MAX_DIGITS), field)
    return Decimal(raw)


def parse_quantity(raw: object, *, dimensions: Iterable[str] | None = None) -> Quantity:
    """Return the quantity that `{"value": "2.5", "unit": "tbsp"}` gives.

    :param dimensions: what it may measure (`("volume",)`, `("mass/volume", "fraction")` …); any where absent
    :raises QuantityError: the first fault; `read_quantity` gives all of them
    """
    faults = list(quantity_faults(raw, dimensions=dimensions))
    if faults:
        raise faults[0]
    assert isinstance(raw, dict)
    return Quantity(Decimal(raw["value"]), raw["unit"])


def quantity_faults(raw: object, *, dimensions: Iterable[str] | None = None) -> Iterable[QuantityError]:
    """Yield every fault of a quantity as it came in; none means that it can be taken."""
    if not isinstance(raw, dict):
        yield QuantityError(
            "invalid",
            said("fault.not_a_quantity", example='{"value": "2.5", "unit": "tbsp"}'),
        )
        return
    for extra in sorted({name for name in raw if isinstance(name, str)} - {"value", "unit"}):
        yield QuantityError("unknown_field", said("fault.quantity_parts"), extra)
    if raw.get("value") is None:
        yield QuantityError("required", said("fault.value_missing"), "value")
    else:
        try:
            parse_decimal(raw["value"])
        except QuantityError as fault:
            yield fault
    if raw.get("unit") is None:
        yield QuantityError("required", said("fault.unit_missing"), "unit")
        return
    if not isinstance(raw["unit"], str):
        yield QuantityError("invalid", said("fault.unit_is_text"), "unit")
        return
    try:
        found = unit(raw["unit"])
    except QuantityError as fault:
        yield fault
        return
    wanted = tuple(dimensions) if dimensions is not None else ()
    if wanted and found.dimension not in wanted:
        words = " or ".join(wanted)
        yield QuantityError(
            "unit_kind",
            said("fault.measures_another", unit=found.name, dimension=found.dimension, wanted=words),
            "unit",
        )


@lru_cache(maxsize=16384)
def plain(value: Decimal, places: int = 15) -> str:
    """Return the shortest plain text of a decimal: no exponent or trailing zeros, at most `places` places."""
    text = str(value)
    return text if text.isdigit() else _plain(value, text, places)


def _plain(value: Decimal, text: str, places: int) -> str:
    if not text[-1].isdigit():
        raise QuantityError("not_a_decimal", said("fault.not_finite"), "value")
    if "E" in text:
        text = format(value, "f")
    whole, _, fraction = text.partition(".")
    if len(fraction) > places:
        value = value.quantize(D(1).scaleb(-places), rounding=ROUND_HALF_EVEN, context=EXACT)
        whole, _, fraction = format(value, "f").partition(".")
    fraction = fraction.rstrip("0")
    text = f"{whole}.{fraction}" if fraction else whole
    return "0" if text == "-0" else text
