"""The one table of units: a closed list of names, each with its exact factor to the base of its dimension.

Base units are mL, g, m2, m, s, degC, kPa and one tree, so that two units of the same dimension convert by one
multiplication and one division.

Source of the factors: NIST Handbook 44, appendix C, National Institute of Standards and Technology, 2024
(inch, pound, US gallon, acre of the international foot, imperial gallon).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache

from mixing import unit_words
from mixing.unit_words import QuantityError

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
_DENOMINATOR = re.compile(r"(1000|100)?([A-Za-z_0-9]+)\Z")
_PER = {"volume": "volume", "area": "area", "length": "length", "tree": "tree"}


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
def sides(name: str) -> tuple[str, str]:
    """Return what stands above and below the line of a rate: `volume` and `area` of `L/ha`.

    A unit without a line stands on both sides: `ppm` is per ppm.
    :raises QuantityError: as `unit`
    """
    dimension = unit(name).dimension
    return dimension.partition("/")[0], dimension.rpartition("/")[2]


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
    """Return the fault of a name that is not in the table, with the nearest right names."""
    ambiguous = unit_words.ambiguous(name)
    if ambiguous is not None:
        return ambiguous
    spelled = unit_words.spelled(name, tuple(_UNITS))
    if spelled is not None and (spelled in _UNITS or _rate_unit(spelled) is not None):
        return unit_words.unknown(name, (spelled,))
    return unit_words.unknown(name, unit_words.nearest(name, _known_names()))


@lru_cache(maxsize=1)
def _known_names() -> tuple[str, ...]:
    volumes, areas = ("gal", "100gal", "L", "100L"), ("acre", "ha", "1000ft2")
    above = [*SIMPLE["volume"], *SIMPLE["mass"]]
    rates = [f"{a}/{b}" for a in above for b in (*volumes, *areas, "tree")]
    return (*_UNITS, *rates)
