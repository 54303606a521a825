"""How the value under each key of a `when` is read; a value that could never be met is a fault."""

from __future__ import annotations

import re
from collections.abc import Callable
from decimal import Decimal

from mixing import chemistry
from mixing.formulations import FORMULATIONS
from mixing.quantities import Quantity, QuantityError, parse_quantity
from mixing.stages import FIRST, LAST, Window

DIRECTIONS = frozenset(["either", "after"])
LABEL_LIMITS = frozenset(["wind", "wind_minimum", "temperature", "rain_free", "water_ph"])
MATERIALS = frozenset(
    ["steel", "galvanized", "galvanised", "aluminium", "aluminum", "iron", "brass", "copper", "zinc"]
)
_REGION = re.compile(r"[A-Z]{2}(?:-[A-Z0-9]{1,3})?\Z", re.ASCII)
_WINDOW = re.compile(r"(\d\d)-(\d\d)\Z", re.ASCII)

LIMITS = {  # what a threshold is measured in, and the lowest and highest that can ever be met
    "copper_above": ("mass/area", Decimal(0), None),
    "copper_up_to": ("mass/area", Decimal(0), None),
    "wind_above": ("length/time", Decimal(0), Decimal(60)),
    "wind_below": ("length/time", Decimal(0), Decimal(60)),
    "temperature_above": ("temperature", Decimal(-40), Decimal(60)),
    "temperature_below": ("temperature", Decimal(-40), Decimal(60)),
    "minimum_below": ("temperature", Decimal(-40), Decimal(60)),
    "water_below": ("temperature", Decimal(0), Decimal(60)),
    "water_above": ("temperature", Decimal(0), Decimal(60)),
    "hardness_above": ("ppm", Decimal(0), Decimal(5000)),
}
NUMBERS = {  # plain numbers as text, with the lowest and highest that can ever be met
    "ph_above": (Decimal(0), Decimal(14)),
    "ph_below": (Decimal(0), Decimal(14)),
    "humidity_above": (Decimal(0), Decimal(100)),
    "humidity_below": (Decimal(0), Decimal(100)),
    "rain_within": (Decimal(0), Decimal(240)),
    "percent_above": (Decimal(0), Decimal(100)),
}
COUNTS = {"days", "years", "in_a_row", "in_a_year", "products_above"}


class Fault(ValueError):
    """One thing wrong in a table, in words that say where and what to do."""


def read_value(key: str, value: object, *, table: str) -> object:
    """Return the value under a key of a `when`, in base units.

    :raises Fault: for a value that cannot be read or could never be met
    """
    if key in LIMITS:
        return _limit(value, *LIMITS[key])
    if key in NUMBERS:
        return _number(value, *NUMBERS[key])
    if key in COUNTS:
        return _count(value)
    reader = READERS.get(key)
    if reader is None:
        raise Fault("unknown key")
    return reader(value) if key != "pair" or table != "formulation_pairs" else _formulation_pair(value)


def _quantity(value: object, dimension: str) -> Quantity:
    number, _, unit = str(value).partition(" ")
    try:
        return parse_quantity({"value": number, "unit": unit}, dimensions=(dimension,))
    except QuantityError as fault:
        raise Fault(f"{value!r}: {fault.detail}") from fault


def _limit(value: object, dimension: str, lowest: Decimal, highest: Decimal | None) -> Decimal:
    base = _quantity(value, dimension).in_base()
    if base < lowest or (highest is not None and base > highest):
        raise Fault(f"{value!r} can never be met or is always met: the row would never fire or always")
    return base


def _number(value: object, lowest: Decimal, highest: Decimal) -> Decimal:
    if not isinstance(value, str) or not re.fullmatch(r"\d+(\.\d+)?", value, re.ASCII):
        raise Fault('a number is written as text, such as "6.5"')
    if not lowest < Decimal(value) < highest:
        raise Fault(f"{value} lies outside {lowest} to {highest}: the row would never fire or always")
    return Decimal(value)


def _count(value: object) -> int:
    if not isinstance(value, int) or isinstance(value, bool) or value < 1:
        raise Fault("a whole number from 1 is wanted")
    return value


def _texts(value: object) -> tuple[str, ...]:
    if not isinstance(value, list) or not value or not all(isinstance(name, str) for name in value):
        raise Fault("a list of names is wanted, with at least one in it")
    return tuple(value)


def _among(value: object, known: frozenset[str] | set[str], kind: str) -> tuple[str, ...]:
    names = _texts(value)
    for name in names:
        if name not in known:
            raise Fault(f"there is no {kind} {name!r}: the row would never fire")
    return names


def _groups(value: object) -> tuple[str, ...]:
    return _among(value, chemistry.known_groups() | {"herbicide", "insecticide", "fungicide"}, "group")


def _pair(value: object) -> tuple[str, str]:
    names = _groups(value)
    if len(names) != 2:
        raise Fault("a pair is two names")
    return names[0], names[1]


def _formulation_pair(value: object) -> tuple[str, str]:
    names = _among(value, frozenset(FORMULATIONS), "formulation")
    if len(names) != 2:
        raise Fault("a pair is two codes")
    return names[0], names[1]


def _crops(value: object) -> frozenset[str]:
    return frozenset(_among(value, chemistry.known_crops(), "crop"))


def _windows(value: object) -> tuple[Window, ...]:
    found = []
    for text in _texts(value):
        match = _WINDOW.match(text)
        if not match:
            raise Fault('a window is written "51-53", round the year "93-03"')
        window = Window(int(match[1]), int(match[2]))
        if not (FIRST <= window.start <= LAST and FIRST <= window.end <= LAST):
            raise Fault(f"{text}: stages run from {FIRST} to {LAST}")
        found.append(window)
    return tuple(found)


def _regions(value: object) -> frozenset[str]:
    names = _texts(value)
    for name in names:
        if not _REGION.match(name):
            raise Fault(f"{name!r} is not a region such as US-CA or EU")
    return frozenset(names)


def _one_of(allowed: frozenset[str]) -> Callable[[object], str]:
    def read(value: object) -> str:
        if value not in allowed:
            raise Fault(f"{value!r} is not one of {', '.join(sorted(allowed))}")
        return str(value)

    return read


def _yes(value: object) -> bool:
    if value is not True:
        raise Fault("only true can be asked for")
    return True


def _codes(value: object) -> frozenset[str]:
    return frozenset(_texts(value))


def _yearly_maximum(value: object) -> Quantity:
    found = _quantity(value, "mass/area")
    if found.value <= 0:
        raise Fault("a maximum is above zero")
    return found


def _substance(value: object) -> str:
    return _groups([value])[0]


READERS: dict[str, Callable[[object], object]] = {
    "pair": _pair,
    "packet_with": _groups,
    "what": _groups,
    "crops": _crops,
    "not_crops": _crops,
    "targets": lambda value: frozenset(name.casefold() for name in _texts(value)),
    "stages": _windows,
    "regions": _regions,
    "materials": lambda value: frozenset(_among(value, MATERIALS, "material")),
    "direction": _one_of(DIRECTIONS),
    "unless_label": _one_of(LABEL_LIMITS),
    "inversion": _yes,
    "scheme": _one_of(frozenset(["FRAC", "IRAC", "HRAC"])),
    "codes": _codes,
    "of": _substance,
    "maximum": _yearly_maximum,
}
