"""Amounts with units, exactly: the one table of units, and quantities that are converted by it.

Values are decimals, units are names from a closed list. A unit's factor turns it into the base unit of
its dimension (mL, g, m2, m, s, degC, kPa, one tree), so that two units of the same dimension convert by
one multiplication and one division. Sixty digits are carried, so that an answer that ends is exact.

Source of the factors: NIST Handbook 44, appendix C, National Institute of Standards and Technology, 2024
(inch, pound, US gallon, acre of the international foot, imperial gallon).
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import ROUND_HALF_EVEN, Context, Decimal
from functools import lru_cache

EXACT = Context(prec=60, rounding=ROUND_HALF_EVEN)
"""The arithmetic of the engine; `with localcontext(EXACT)` around anything that multiplies or divides."""

MAX_DIGITS = 20
DECIMAL = re.compile(r"-?\d+(?:\.\d+)?\Z", re.ASCII)

D = Decimal

# Each row: dimension, {name: factor to the base unit of that dimension}.
SIMPLE: dict[str, dict[str, Decimal]] = {
    "volume": {  # base mL
        "mL": D(1),
        "L": D(1000),
        "m3": D(1000000),
        "tsp": D("4.92892159375"),
        "tbsp": D("14.78676478125"),
        "fl_oz": D("29.5735295625"),
        "cup": D("236.5882365"),
        "pt": D("473.176473"),
        "qt": D("946.352946"),
        "gal": D("3785.411784"),
        "imp_fl_oz": D("28.4130625"),
        "imp_pt": D("568.26125"),
        "imp_gal": D("4546.09"),
    },
    "mass": {  # base g
        "mg": D("0.001"),
        "g": D(1),
        "kg": D(1000),
        "oz_wt": D("28.349523125"),
        "lb": D("453.59237"),
    },
    "area": {  # base m2
        "m2": D(1),
        "ha": D(10000),
        "ft2": D("0.09290304"),
        "acre": D("4046.8564224"),
        "1000ft2": D("92.90304"),
    },
    "length": {  # base m
        "mm": D("0.001"),
        "cm": D("0.01"),
        "m": D(1),
        "km": D(1000),
        "in": D("0.0254"),
        "ft": D("0.3048"),
        "yd": D("0.9144"),
        "mi": D("1609.344"),
    },
    "time": {"s": D(1), "min": D(60), "h": D(3600), "d": D(86400)},
    "temperature": {"degC": D(1), "degF": D(1)},  # an offset scale: see `to`
    "temperature_difference": {"degC_difference": D(1), "degF_difference": D(1)},  # 9/5 without an offset
    "degree_day": {"degC_day": D(1), "degF_day": D(1)},
    "pressure": {"kPa": D(1), "bar": D(100), "psi": D("6.894757293168361")},
    "tree": {"tree": D(1)},
    "count": {"count": D(1)},
    "ppm": {"ppm": D(1)},
}

# Names with a division that are not "amount per volume, area, length or tree".
COMPOUND: dict[str, tuple[str, Decimal]] = {
    "m/s": ("length/time", D(1)),
    "km/h": ("length/time", D(1) / D("3.6")),
    "mph": ("length/time", D("0.44704")),
    "ft/min": ("length/time", D("0.00508")),
    "mL/min": ("volume/time", D(1)),
    "L/min": ("volume/time", D(1000)),
    "gal/min": ("volume/time", D("3785.411784")),
    "fl_oz/min": ("volume/time", D("29.5735295625")),
    "m3/ha": ("volume/area", D(100)),
    "ft3/acre": ("volume/area", D("28316.846592") / D("4046.8564224")),
    "L/m3": ("volume/volume", D("0.001")),
    "gal/1000ft3": ("volume/volume", D("3785.411784") / D("28316846.592")),
    "percent_ww": ("mass/mass", D("0.01")),
    "percent_vv": ("volume/volume", D("0.01")),
    "percent_wv": ("mass/volume", D("0.01")),
    "g/kg": ("mass/mass", D("0.001")),
    "tree/ha": ("tree/area", D("0.0001")),
    "tree/acre": ("tree/area", D(1) / D("4046.8564224")),
}
_RATIO: dict[str, tuple[Decimal, Decimal]] = {  # exact above and below, where a factor does not end
    "km/h": (D(1000), D(3600)),
    "ft3/acre": (D("28316.846592"), D("4046.8564224")),
    "gal/1000ft3": (D("3785.411784"), D("28316846.592")),
    "tree/acre": (D(1), D("4046.8564224")),
}
_OFFSET_F = D(32)

AMBIGUOUS: dict[str, tuple[str, str]] = {  # never guessed: each has been misread with harm
    "oz": ("fl_oz", "oz_wt"),
    "OZ": ("fl_oz", "oz_wt"),
    "Oz": ("fl_oz", "oz_wt"),
    "ounce": ("fl_oz", "oz_wt"),
    "ounces": ("fl_oz", "oz_wt"),
    "T": ("tbsp", "tsp"),
    "t": ("tbsp", "tsp"),
    "Tbs": ("tbsp", "tsp"),
    "tbs": ("tbsp", "tsp"),
    "Tsp": ("tsp", "tbsp"),
    "Tbsp": ("tbsp", "tsp"),
    "TBSP": ("tbsp", "tsp"),
    "percent": ("percent_vv", "percent_ww"),
    "%": ("percent_vv", "percent_ww"),
    "c": ("cup", "degC"),
    "C": ("degC", "cup"),
    "ton": ("kg", "lb"),
}

_DENOMINATOR = re.compile(r"(1000|100)?([A-Za-z_0-9]+)\Z")
_PER = {"volume": "volume", "area": "area", "length": "length", "tree": "tree"}


class QuantityError(ValueError):
    """A value or a unit that cannot be taken as it stands.

    :ivar code: one of `required`, `invalid`, `unknown_field`, `not_a_decimal`, `out_of_range`,
        `unit_unknown`, `unit_ambiguous`, `unit_kind`, `unit_needs_density`
    :ivar detail: a sentence that a person can act on
    :ivar field: `value`, `unit` or an empty text for the whole
    """

    def __init__(self, code: str, detail: str, field: str = "") -> None:
        super().__init__(detail)
        self.code = code
        self.detail = detail
        self.field = field


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit: its name, its dimension (`mass/volume`), and above/below, whose quotient is the factor."""

    name: str
    dimension: str
    above: Decimal
    below: Decimal
    parts: tuple[str, str] | None = None
    """For a rate: the unit of amount above the line and the unit below it (`fl_oz`, `100gal`)."""


_SIMPLE_UNITS: dict[str, Unit] = {
    name: Unit(name, dimension, factor, D(1))
    for dimension, names in SIMPLE.items()
    for name, factor in names.items()
}
_COMPOUND_UNITS: dict[str, Unit] = {
    name: Unit(name, dimension, *_RATIO.get(name, (factor, D(1))))
    for name, (dimension, factor) in COMPOUND.items()
}
_UNITS: dict[str, Unit] = {**_SIMPLE_UNITS, **_COMPOUND_UNITS}


@lru_cache(maxsize=4096)
def unit(name: str) -> Unit:
    """Return the unit of that name, simple (`gal`) or a rate (`fl_oz/100gal`).

    :raises QuantityError: `unit_ambiguous` or `unit_unknown`, with the nearest right names
    """
    found = _UNITS.get(name)
    if found is not None:
        return found
    found = _rate_unit(name)
    if found is not None:
        return found
    raise _unknown(name)


def _rate_unit(name: str) -> Unit | None:
    above_name, slash, below_name = name.partition("/")
    if not slash:
        return None
    above = _SIMPLE_UNITS.get(above_name)
    if above is None or above.dimension not in ("mass", "volume"):
        return None
    below, times = _SIMPLE_UNITS.get(below_name), D(1)
    if below is None:
        match = _DENOMINATOR.match(below_name)
        if not match or not match[1]:
            return None
        below, times = _SIMPLE_UNITS.get(match[2]), D(match[1])
        if below is None or below.name == "tree" or below.name[0].isdigit():
            return None
    if below.dimension not in _PER:
        return None
    return Unit(
        name,
        f"{above.dimension}/{below.dimension}",
        above.above,
        below.above * times,
        (above_name, below_name),
    )


def _unknown(name: str) -> QuantityError:
    for part in name.split("/"):
        bare = part.lstrip("0123456789") or part
        if bare in AMBIGUOUS:
            first, second = AMBIGUOUS[bare]
            choices = [name.replace(bare, first, 1), name.replace(bare, second, 1)]
            hint = f"did you mean {first} or {second}?"
            if choices != [first, second]:
                hint += f" (write {choices[0]} or {choices[1]})"
            return QuantityError(
                "unit_ambiguous", f"the unit {name!r} can be read in two ways: {hint}", "unit"
            )
    near = difflib.get_close_matches(name, _known_names(), n=2, cutoff=0.6)
    hint = f": did you mean {' or '.join(near)}?" if near else "; the units are listed in the guide"
    return QuantityError("unit_unknown", f"there is no unit {name[:40]!r}{hint}", "unit")


@lru_cache(maxsize=1)
def _known_names() -> tuple[str, ...]:
    volumes, areas = ("gal", "100gal", "L", "100L"), ("acre", "ha", "1000ft2")
    above = [*SIMPLE["volume"], *SIMPLE["mass"]]
    rates = [f"{a}/{b}" for a in above for b in (*volumes, *areas, "tree")]
    return (*_UNITS, *rates)


@dataclass(frozen=True, slots=True, init=False)
class Quantity:
    """An exact value and the name of its unit. Compare two by `in_base` of each, not by `==`."""

    value: Decimal
    unit: str
    _base: Decimal | None = field(repr=False, compare=False)
    """The value in base units, kept once it has been asked for: limits are compared again and again."""

    def __init__(self, value: Decimal, unit: str) -> None:
        _set_value(self, value)
        _set_unit(self, unit)
        _set_base(self, None)

    @property
    def dimension(self) -> str:
        """What it measures: `volume`, `mass/area`, `temperature` …"""
        return unit(self.unit).dimension

    def in_base(self) -> Decimal:
        """Return the value in the base unit of its dimension (mL, g, m2, m, s, degC, kPa, quotients)."""
        base = self._base
        if base is None:
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
    return EXACT.divide(EXACT.multiply(quantity.value, of.above), of.below)


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
            f"{source.name} ({source.dimension}) cannot be turned into {target.name} ({target.dimension})",
            "unit",
        )
    if name in ("degF", "degF_difference", "degF_day"):
        value = EXACT.divide(EXACT.multiply(_to_base(quantity), D(9)), D(5))
        return Quantity(EXACT.add(value, _OFFSET_F) if name == "degF" else value, name)
    if source.name.startswith("degF"):
        return Quantity(_to_base(quantity), name)
    top = EXACT.multiply(EXACT.multiply(quantity.value, source.above), target.below)
    return Quantity(EXACT.divide(top, EXACT.multiply(source.below, target.above)), name)


def parse_decimal(raw: object, *, field: str = "value") -> Decimal:
    """Return the decimal that a text of plain digits gives; nothing else is taken.

    :raises QuantityError: `not_a_decimal` (number, comma, exponent, NaN), `out_of_range` (over 20 digits)
    """
    if not isinstance(raw, str):
        raise QuantityError(
            "not_a_decimal",
            f'write the number as text in plain digits, such as "2.5", not as {type(raw).__name__}',
            field,
        )
    if not DECIMAL.match(raw):
        raise QuantityError(
            "not_a_decimal",
            f"{raw[:40]!r} is not a plain decimal: write digits and a point, such as 2.5",
            field,
        )
    if len(raw.lstrip("-").replace(".", "")) > MAX_DIGITS:
        raise QuantityError("out_of_range", f"a number may have at most {MAX_DIGITS} digits", field)
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
            'a quantity is written {"value": "2.5", "unit": "tbsp"}: a number without its unit is not taken',
        )
        return
    for extra in sorted({name for name in raw if isinstance(name, str)} - {"value", "unit"}):
        yield QuantityError("unknown_field", "a quantity has a value and a unit, nothing else", extra)
    if raw.get("value") is None:
        yield QuantityError("required", "the value is missing", "value")
    else:
        try:
            parse_decimal(raw["value"])
        except QuantityError as fault:
            yield fault
    if raw.get("unit") is None:
        yield QuantityError("required", "the unit is missing", "unit")
        return
    if not isinstance(raw["unit"], str):
        yield QuantityError("invalid", "the unit is a text, such as tbsp", "unit")
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
            "unit_kind", f"{found.name} measures {found.dimension}; {words} is wanted here", "unit"
        )


def plain(value: Decimal, places: int = 15) -> str:
    """Return the shortest plain text of a decimal: no exponent or trailing zeros, at most `places` places."""
    text = str(value)
    return text if text.isdigit() else _plain(value, text, places)


def _plain(value: Decimal, text: str, places: int) -> str:
    if not text[-1].isdigit():
        raise QuantityError("not_a_decimal", "not a finite number", "value")
    if "E" in text:
        text = format(value, "f")
    _, point, fraction = text.partition(".")
    if len(fraction) > places:
        value = value.quantize(D(1).scaleb(-places), rounding=ROUND_HALF_EVEN, context=EXACT)
        text = format(value, "f")
    if point:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text
