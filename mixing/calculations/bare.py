"""The fields of a calculation without a unit: numbers, words of a list, names, times and dates."""

from __future__ import annotations

import math
from collections.abc import Iterable
from decimal import Decimal
from fractions import Fraction

from mixing import quantities
from mixing.calculations.fields import DECIMAL, Field, read_quantity
from mixing.catalogue import Text, said
from mixing.faults import Place, joined
from mixing.quantities import QuantityError
from mixing.reading import Reader

AS_TEXT: dict[str, object] = {"type": "string", "pattern": DECIMAL}


def number(
    name: str,
    about: str,
    *,
    low: int | str | None = None,
    high: int | str | None = None,
    above: int | None = None,
    below: int | None = None,
) -> Field:
    """A number without a unit, as a decimal text or a JSON number, within its limits."""
    limits: dict[str, object] = {}
    for key, limit in (("minimum", low), ("maximum", high), ("exclusiveMinimum", above)):
        if limit is not None:
            limits[key] = float(limit)
    if below is not None:
        limits["exclusiveMaximum"] = float(below)

    def read(reader: Reader, raw: object, at: Place) -> object | None:
        found = _number(reader, raw, at)
        if found is None:
            return None
        wrong = (
            (low is not None and found < Decimal(low))
            or (high is not None and found > Decimal(high))
            or (above is not None and found <= above)
            or (below is not None and found >= below)
        )
        if wrong:
            reader.faults.add(
                at, "out_of_range", said("fault.must_be", limits=_words(low, high, above, below))
            )
            return None
        return Fraction(found)

    bounded = {"anyOf": [AS_TEXT, {"type": "number", **limits}]}
    return Field(name, about, read, bounded)


def _words(low: object, high: object, above: object, below: object) -> Text | str:
    parts = [
        said(f"fault.limit_{name}", bound=bound)
        for name, bound in (("low", low), ("high", high), ("above", above), ("below", below))
        if bound is not None
    ]
    return joined("fault.and", parts)


def _number(reader: Reader, raw: object, at: Place) -> Decimal | None:
    """Return a bare number; a JSON number is taken by the digits it is written with."""
    if raw is None:
        return None
    if isinstance(raw, bool) or not isinstance(raw, (int, float, str)):
        detail = said("fault.bare_number", example='"7.5" or 7.5')
        reader.faults.add(at, "not_a_decimal", detail)
        return None
    if isinstance(raw, float) and not math.isfinite(raw):
        reader.faults.add(at, "not_a_decimal", said("fault.not_finite"))
        return None
    if isinstance(raw, int) and abs(raw) >= 10**quantities.MAX_DIGITS:
        reader.faults.add(at, "out_of_range", said("fault.many_digits", most=quantities.MAX_DIGITS))
        return None
    written = raw if isinstance(raw, str) else format(Decimal(repr(raw)), "f")
    try:
        return quantities.parse_decimal(written)
    except QuantityError as fault:
        reader.faults.add(at, fault.code, fault.text)
        return None


def trees(name: str, about: str) -> Field:
    """A number of trees, bare or as a quantity in `tree`."""

    def read(reader: Reader, raw: object, at: Place) -> object | None:
        if isinstance(raw, dict):
            found = read_quantity(reader, raw, at, ("tree",))
            value = found.value if found else None
        else:
            value = _number(reader, raw, at)
        if value is None:
            return None
        if value <= 0 or value != value.to_integral_value():
            reader.faults.add(at, "out_of_range", said("fault.whole_trees"))
            return None
        return Fraction(value)

    ways = [AS_TEXT, {"type": "number", "exclusiveMinimum": 0}, {"$ref": "#/$defs/quantity"}]
    return Field(name, about, read, {"anyOf": ways})


def choice(name: str, about: str, known: Iterable[str]) -> Field:
    """One word of a closed list."""
    words = tuple(known)

    def read(reader: Reader, raw: object, at: Place) -> object | None:
        return reader.choice(raw, at, words)

    return Field(name, about, read, {"type": "string", "enum": list(words)})


def word(name: str, about: str) -> Field:
    """A name, such as that of a crop or a compound."""

    def read(reader: Reader, raw: object, at: Place) -> object | None:
        return reader.text(raw, at)

    return Field(name, about, read, {"type": "string", "minLength": 1, "maxLength": 500})


def code_or_word(name: str, about: str) -> Field:
    """A BBCH code as a number or a text of digits, or a name."""

    def read(reader: Reader, raw: object, at: Place) -> object | None:
        if isinstance(raw, int) and not isinstance(raw, bool):
            found = reader.integer(raw, at, low=0, high=99)
            return str(found) if found is not None else None
        return reader.text(raw, at)

    whole = {"type": "integer", "minimum": 0, "maximum": 99}
    return Field(name, about, read, {"anyOf": [whole, {"type": "string", "minLength": 1}]})


def flag(name: str, about: str) -> Field:
    """True or false."""

    def read(reader: Reader, raw: object, at: Place) -> object | None:
        return reader.flag(raw, at)

    return Field(name, about, read, {"type": "boolean"})


def moment(name: str, about: str) -> Field:
    """A time with its offset."""

    def read(reader: Reader, raw: object, at: Place) -> object | None:
        return reader.moment(raw, at)

    return Field(name, about, read, {"type": "string", "format": "date-time"})


def day(name: str, about: str) -> Field:
    """A date."""

    def read(reader: Reader, raw: object, at: Place) -> object | None:
        return reader.day(raw, at)

    return Field(name, about, read, {"type": "string", "format": "date"})
