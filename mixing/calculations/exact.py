"""Amounts as exact fractions: nothing is rounded before the answer is written.

A fraction carries 1/3 as it is, so that a third taken three times is one again, and an answer that ends
is written with all its digits. Floats stand only in the physical models (`from_float`).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Context, Decimal
from fractions import Fraction

from mixing.catalogue import said
from mixing.quantities import MAX_DIGITS, Quantity, QuantityError, plain, unit

PLACES = 15
"""Places, and significant digits, of a number that does not end."""
SHOWN = 8
"""Significant digits of a number in the steps."""
STEADY = 12
"""Places, and digits, to which a float of a physical model is trusted."""
NOISE = 1e-13
"""A float of a physical model below this is nothing."""

US = frozenset(
    (
        *("tsp", "tbsp", "fl_oz", "cup", "pt", "qt", "gal", "oz_wt", "lb", "in", "ft", "yd", "mi", "mph"),
        *("ft2", "1000ft2", "acre", "degF", "degF_difference", "degF_day", "psi"),
    )
)


@dataclass(frozen=True, slots=True)
class Amount:
    """An exact value and the name of its unit."""

    value: Fraction
    unit: str

    @property
    def dimension(self) -> str:
        """What it measures: `volume`, `mass/area`, `temperature` …"""
        return unit(self.unit).dimension

    @property
    def base(self) -> Fraction:
        """The value in the base unit of its dimension (mL, g, m2, m, s, degC, kPa, quotients)."""
        if self.unit == "degF":
            return (self.value - 32) * Fraction(5, 9)
        return self.value * factor(self.unit)

    def to(self, name: str) -> Amount:
        """Return the same amount in another unit of the same dimension.

        :raises QuantityError: `unit_kind` where the other unit measures something else
        """
        if name == self.unit:
            return self
        other = unit(name)
        if other.dimension != self.dimension:
            raise QuantityError(
                "unit_kind",
                said(
                    "fault.cannot_be_turned",
                    unit=self.unit,
                    dimension=self.dimension,
                    other=name,
                    other_dimension=other.dimension,
                ),
                "unit",
            )
        return of_base(self.base, name)

    def as_json(self) -> dict[str, str]:
        """Return `{"value": "2.5", "unit": "tbsp"}`."""
        return {"value": text(self.value), "unit": self.unit}

    def __str__(self) -> str:
        return f"{brief(self.value)} {self.unit}"


def factor(name: str) -> Fraction:
    """Return what one of a unit is in base units; of `degF` the size of a degree, without its offset."""
    if name.startswith("degF"):
        return Fraction(5, 9)
    found = unit(name)
    return Fraction(found.above) / Fraction(found.below)


def of_base(value: Fraction, name: str) -> Amount:
    """Return a value in base units as an amount in the unit `name`."""
    if name == "degF":
        return Amount(value * Fraction(9, 5) + 32, name)
    return Amount(value / factor(name), name)


def amount(quantity: Quantity) -> Amount:
    """Return a quantity as an exact fraction."""
    return Amount(Fraction(quantity.value), quantity.unit)


def from_float(value: float) -> Fraction:
    """Return the fraction of a model's float, cut to the digits that it can be trusted to."""
    if abs(value) < NOISE:
        return Fraction(0)
    places = STEADY - min(math.floor(math.log10(abs(value))) + 1, 0)
    return Fraction(Decimal(repr(round(value, places))))


def is_us(*names: str) -> bool:
    """Say whether any of these units is one of US customary measure, also above or below the line."""
    for name in names:
        for part in name.split("/"):
            if name in US or part in US or part.lstrip("0123456789") in US:
                return True
    return False


def text(value: Fraction) -> str:
    """Return a plain decimal: all its digits where it ends, else 15 places and eight digits at least.

    No more than 20 digits are written, as no more are read, so that an answer can be asked with again.
    """
    if not value:
        return "0"
    magnitude = _magnitude(value)
    most = max(MAX_DIGITS - 1 - max(magnitude, 0), SHOWN - 1 - magnitude, 0)
    if (value * 10**most).denominator == 1:
        return plain(_rounded(value, most), most)
    places = min(max(PLACES, PLACES - 1 - magnitude), most)
    return plain(_rounded(value, most if _ends(value) else places), most)


def _ends(value: Fraction) -> bool:
    """Say whether a fraction is a decimal that ends."""
    rest = value.denominator
    for prime in (2, 5):
        while rest % prime == 0:
            rest //= prime
    return rest == 1


def brief(value: Fraction) -> str:
    """Return a number as a person writes it down: at most eight digits, fewer where it ends."""
    if not value:
        return "0"
    places = SHOWN - 1 - _magnitude(value)
    return plain(_rounded(value, places), max(places, 0))


def _magnitude(value: Fraction) -> int:
    """Return the power of ten of the first digit: 1 for 25, -2 for 0.07."""
    above, below = abs(value.numerator), value.denominator
    guess = len(str(above)) - len(str(below))
    return guess if above >= below * Fraction(10) ** guess else guess - 1


def _rounded(value: Fraction, places: int) -> Decimal:
    context = Context(prec=max(60, places + 60), rounding=ROUND_HALF_EVEN)
    whole = round(value * Fraction(10) ** places)
    return Decimal(whole).scaleb(-places, context)


def total(amounts: Iterable[Amount], name: str) -> Amount:
    """Return the sum of some amounts in the unit `name`."""
    return Amount(sum((one.to(name).value for one in amounts), Fraction(0)), name)
