"""Reads the fields of a request one by one: nothing is coerced, and a fault never stops the reading."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping
from datetime import date, datetime
from decimal import Decimal
from functools import lru_cache
from typing import TypeVar

from mixing import quantities
from mixing.catalogue import Text, said
from mixing.faults import Faults, Place, did_you_mean, near
from mixing.quantities import Quantity, QuantityError

T = TypeVar("T")

LONGEST_TEXT = 500
LONGEST_LIST = 500
LONGEST_TIME = Decimal(3660 * 86400)
"""Ten years [s]: no label speaks of longer intervals, and dates stay within the calendar."""
COLDEST, HOTTEST = Decimal(-90), Decimal(70)
"""Air and water of an orchard [degC]: beyond it the unit was mistaken. Common practice, no source."""

VOLUME, MASS, AREA, LENGTH, TIME = ("volume",), ("mass",), ("area",), ("length",), ("time",)
AMOUNT = ("mass", "volume")
SPEED, TEMPERATURE = ("length/time",), ("temperature",)
VOLUME_PER_AREA, VOLUME_PER_LENGTH = ("volume/area",), ("volume/length",)
AMOUNT_PER_AREA, AMOUNT_PER_VOLUME = ("mass/area", "volume/area"), ("mass/volume", "volume/volume")
DENSITY, CONTENT = ("mass/volume",), ("mass/mass", "mass/volume", "volume/volume", "ppm")
HARDNESS = ("ppm", "mass/volume")
RATE = (
    *(f"{above}/{below}" for above in AMOUNT for below in ("volume", "area", "tree", "length")),
    "ppm",
)

NOT_A_RATE = frozenset(("percent_wv", "gal/1000ft3", "ft3/acre"))
"""Units whose dimension is that of a rate and that are none: a content and two of canopy volume."""

NO_OTHER_WORDS: Mapping[str, str] = {}

_DATE = re.compile(r"\d{4}-\d\d-\d\d\Z", re.ASCII)
_TIME = re.compile(r"(\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(?:\.\d{1,6})?)(Z|[+-]\d\d:\d\d)?\Z", re.ASCII)
YEARS = range(1970, 2200)

KINDS = {
    VOLUME: "a volume, such as 4 gal",
    MASS: "a mass, such as 2 lb",
    AREA: "an area, such as 2 acre",
    LENGTH: "a length, such as 30 ft",
    TIME: "a time, such as 48 h or 7 d",
    AMOUNT: "a volume or a mass, such as 2 fl_oz or 4 oz_wt",
    SPEED: "a speed, such as 6 mph",
    TEMPERATURE: "a temperature, such as 9 degC",
    VOLUME_PER_AREA: "a volume per area, such as 100 gal/acre",
    VOLUME_PER_LENGTH: "a volume per length, such as 5 L/100m",
    AMOUNT_PER_AREA: "an amount per area, such as 4 lb/acre",
    AMOUNT_PER_VOLUME: "an amount per volume, such as 2 tbsp/gal",
    DENSITY: "a density, such as 0.85 kg/L",
    CONTENT: "a content, such as 53.8 percent_ww or 480 g/L",
    HARDNESS: "a hardness, such as 220 ppm",
    RATE: "a rate, such as 1.5 tbsp/gal, 4 lb/acre or 1.5 percent_vv",
}


class Reader:
    """Takes raw values and their places, gives what they say, and notes faults on the way.

    Every method returns None both for an absent value and for a faulty one; `required` tells them apart.
    """

    __slots__ = ("faults",)

    def __init__(self, language: str = "en") -> None:
        self.faults = Faults(language)

    def fields(self, raw: object, at: Place, known: frozenset[str], *, what: str) -> dict[str, object] | None:
        """Return the object `raw`, with a fault for every field that is not known."""
        if type(raw) is not dict:
            self.faults.add(at, "invalid", said("fault.not_an_object", what=what, kind=quantities.kind(raw)))
            return None
        if not known.issuperset(raw):
            if not all(isinstance(key, str) for key in raw):
                self.faults.add(at, "invalid", said("fault.names_are_texts", what=what))
            for extra in sorted(key for key in raw if isinstance(key, str) and key not in known):
                hint = near(extra, known) or said("fault.it_has", names=", ".join(sorted(known)))
                self.faults.add(
                    (at, extra),
                    "unknown_field",
                    said("fault.unknown_field", what=what, name=repr(extra[:60]), hint=hint),
                )
        return raw

    def required(self, raw: object, at: Place, text_id: str, **parameters: object) -> bool:
        """Say whether a value is there, with a fault, told by that text, where it is not."""
        if raw is None:
            self.faults.add(at, "required", said(text_id, **parameters))
            return False
        return True

    def quantity(
        self, raw: object, at: Place, wanted: tuple[str, ...], *, zero: bool = False, signed: bool = False
    ) -> Quantity | None:
        """Return the quantity, above zero unless `zero` (0 allowed) or `signed` (any)."""
        if raw is None:
            return None
        try:
            found, dimension = _quantity(raw["value"], raw["unit"])  # type: ignore[index]
        except (QuantityError, TypeError, KeyError):
            self._faulty_quantity(raw, at, wanted)
            return None
        if dimension not in wanted or len(raw) != 2:  # type: ignore[arg-type]
            self._faulty_quantity(raw, at, wanted)
            return None
        if not signed and (found.value < 0 or (not zero and not found.value)):
            limit = "zero or more" if zero else "above zero"
            self.faults.add(
                (at, "value"), "out_of_range", said("fault.out_of_limit", wanted=KINDS[wanted], limit=limit)
            )
            return None
        return found

    def _faulty_quantity(self, raw: object, at: Place, wanted: tuple[str, ...]) -> None:
        for fault in quantities.quantity_faults(raw, dimensions=wanted):
            place: Place = (at, fault.field) if fault.field else at
            detail = fault.text
            if fault.code == "unit_kind" and wanted in KINDS:
                measured = {**detail.parameters, "wanted": KINDS[wanted]}
                detail = Text("fault.measures_another_kind", measured)
            self.faults.add(place, fault.code, detail)

    def rate(self, raw: object, at: Place) -> Quantity | None:
        """Return a rate: an amount per volume, area, tree or row length, `percent_vv` or `ppm`."""
        found = self.quantity(raw, at, RATE)
        if found is not None and found.unit in NOT_A_RATE:
            self.faults.add(
                (at, "unit"), "unit_kind", said("fault.not_a_rate", unit=found.unit, wanted=KINDS[RATE])
            )
            return None
        if found is not None and found.unit == "percent_vv" and found.value >= 100:
            self.faults.add((at, "value"), "out_of_range", said("fault.share_below_all"))
            return None
        return found

    def dial(self, raw: object, at: Place) -> Quantity | None:
        """Return the end or the step of a dial: an amount per volume."""
        found = self.quantity(raw, at, AMOUNT_PER_VOLUME)
        if found is not None and found.unit in NOT_A_RATE:
            self.faults.add(
                (at, "unit"), "unit_kind", said("fault.not_of_a_dial", wanted=KINDS[AMOUNT_PER_VOLUME])
            )
            return None
        return found

    def hardness(self, raw: object, at: Place) -> Quantity | None:
        """Return the hardness of water in ppm of calcium carbonate; a milligram in a litre is 1 ppm."""
        found = self.quantity(raw, at, HARDNESS, zero=True)
        if found is None or found.unit == "ppm":
            return found
        return Quantity(found.to("mg/L").value, "ppm")

    def content(self, raw: object, at: Place) -> Quantity | None:
        """Return how much of something a product holds; a share of it lies at or below all of it."""
        found = self.quantity(raw, at, CONTENT)
        if found is not None and found.unit in ("percent_ww", "percent_vv") and found.value > 100:
            self.faults.add((at, "value"), "out_of_range", said("fault.more_than_all", unit=found.unit))
            return None
        return found

    def time(self, raw: object, at: Place) -> Quantity | None:
        """Return a time of zero or more, at most ten years."""
        found = self.quantity(raw, at, TIME, zero=True)
        if found is not None and found.in_base() > LONGEST_TIME:
            self.faults.add((at, "value"), "out_of_range", said("fault.ten_years"))
            return None
        return found

    def temperature(self, raw: object, at: Place) -> Quantity | None:
        """Return a temperature that water and air in an orchard can have."""
        found = self.quantity(raw, at, TEMPERATURE, signed=True)
        if found is not None and not COLDEST <= found.in_base() <= HOTTEST:
            detail = said("fault.beyond_any_orchard", value=found.value, unit=found.unit)
            self.faults.add((at, "value"), "out_of_range", detail)
            return None
        return found

    def decimal(self, raw: object, at: Place, *, low: Decimal, high: Decimal) -> Decimal | None:
        """Return a bare number written as text, between `low` and `high`, both included."""
        if raw is None:
            return None
        try:
            found = quantities.parse_decimal(raw)
        except QuantityError as fault:
            self.faults.add(at, fault.code, fault.text)
            return None
        if not low <= found <= high:
            self.faults.add(at, "out_of_range", said("fault.not_between", low=low, high=high, given=raw))
            return None
        return found

    def integer(self, raw: object, at: Place, *, low: int, high: int) -> int | None:
        """Return a whole JSON number between `low` and `high`, both included."""
        if raw is None:
            return None
        if type(raw) is not int:
            self.faults.add(at, "invalid", said("fault.not_whole", kind=quantities.kind(raw)))
            return None
        if not low <= raw <= high:
            self.faults.add(at, "out_of_range", said("fault.between", low=low, high=high))
            return None
        return raw

    def flag(self, raw: object, at: Place) -> bool | None:
        """Return true or false."""
        if raw is None or type(raw) is bool:
            return raw
        self.faults.add(at, "invalid", said("fault.not_a_flag", kind=quantities.kind(raw)))
        return None

    def text(self, raw: object, at: Place) -> str | None:
        """Return a text that is not blank and not endless."""
        if raw is None:
            return None
        if type(raw) is not str:
            self.faults.add(at, "invalid", said("fault.not_a_text", kind=quantities.kind(raw)))
            return None
        if not raw or raw.isspace():
            self.faults.add(at, "invalid", said("fault.blank"))
            return None
        if len(raw) > LONGEST_TEXT:
            self.faults.add(at, "out_of_range", said("fault.long_text", most=LONGEST_TEXT))
            return None
        if not _legible(raw):
            self.faults.add(at, "invalid", said("fault.illegible"))
            return None
        return raw

    def choice(
        self, raw: object, at: Place, known: Iterable[str], *, meant: Mapping[str, str] = NO_OTHER_WORDS
    ) -> str | None:
        """Return one word of a closed list.

        :param meant: other words that people write, small letters, and the one of the list to ask after
        """
        found = self.text(raw, at)
        if found is None or found in (known := frozenset(known)):
            return found
        other = meant.get(" ".join(found[:60].casefold().replace("_", " ").replace("-", " ").split()))
        hint = did_you_mean([other]) if other else None
        hint = hint or near(found, known) or near(found.upper(), known) or near(found.lower(), known)
        hint = hint or said("fault.it_is_one_of", names=", ".join(sorted(known)))
        self.faults.add(at, "invalid", said("fault.unknown_word", name=repr(found[:60]), hint=hint))
        return None

    def many(
        self, raw: object, at: Place, one: Callable[[object, Place], T | None], *, most: int = LONGEST_LIST
    ) -> tuple[T, ...]:
        """Return what a list says, each entry read by `one`; faulty entries are left out."""
        if not raw and (raw is None or type(raw) is list):
            return ()
        if type(raw) is not list:
            self.faults.add(at, "invalid", said("fault.not_a_list", kind=quantities.kind(raw)))
            return ()
        if len(raw) > most:
            self.faults.add(at, "out_of_range", said("fault.long_list", count=len(raw), most=most))
            return ()
        read = [one(entry, (at, rank)) for rank, entry in enumerate(raw)]
        taken = tuple([entry for entry in read if entry is not None])
        if len(taken) < len(raw):
            for rank, entry in enumerate(raw):
                if entry is None:
                    self.faults.add((at, rank), "required", said("fault.empty_entry"))
        return taken

    def texts(self, raw: object, at: Place) -> tuple[str, ...]:
        """Return a list of texts."""
        if type(raw) is list:
            try:
                return _sound_texts(tuple(raw))
            except (TypeError, ValueError):  # an unhashable value, or a faulty one: find out which
                pass
        return self.many(raw, at, self.text)

    def day(self, raw: object, at: Place) -> date | None:
        """Return a date written `2027-01-28`."""
        if raw is None:
            return None
        try:
            if not isinstance(raw, str) or not _DATE.match(raw):
                raise ValueError
            found = date.fromisoformat(raw)
        except ValueError:
            self.faults.add(at, "invalid", said("fault.not_a_day"))
            return None
        return self._in_years(found, at)

    def moment(self, raw: object, at: Place) -> datetime | None:
        """Return a time with its offset, written `2027-01-29T08:00:00-08:00`."""
        if raw is None:
            return None
        match = _TIME.match(raw) if isinstance(raw, str) else None
        if match and match[2] is None:
            detail = said("fault.no_offset")
            self.faults.add(at, "time_without_offset", detail)
            return None
        try:
            if not match:
                raise ValueError
            found = datetime.fromisoformat(match[0])
        except ValueError:
            self.faults.add(at, "invalid", said("fault.not_a_moment"))
            return None
        return self._in_years(found, at)

    def _in_years(self, found: D, at: Place) -> D | None:
        if found.year in YEARS:
            return found
        self.faults.add(at, "out_of_range", said("fault.year", first=YEARS[0], last=YEARS[-1]))
        return None


D = TypeVar("D", date, datetime)


@lru_cache(maxsize=8192)
def _quantity(value: str, unit: str) -> tuple[Quantity, str]:
    """Return a quantity and what it measures; labels repeat themselves, so each is read once."""
    if type(value) is not str or type(unit) is not str:
        raise QuantityError("invalid", said("fault.value_and_unit_texts"))
    return Quantity(quantities.parse_decimal(value), unit), quantities.unit(unit).dimension


@lru_cache(maxsize=8192)
def _sound_texts(texts: tuple[object, ...]) -> tuple[str, ...]:
    """Return a list of texts of which none is faulty; labels repeat themselves, so each is looked at once.

    :raises ValueError: where one is
    """
    sound = tuple(
        one
        for one in texts
        if type(one) is str and one.strip() and len(one) <= LONGEST_TEXT and _legible(one)
    )
    if len(sound) < len(texts) or len(texts) > LONGEST_LIST:
        raise ValueError
    return sound


def _legible(text: str) -> bool:
    """Say whether a text can be stored and sent: no control characters, no halves of a pair."""
    return text.isprintable() or not any(unicodedata.category(sign) in ("Cc", "Cs") for sign in text)


def longest(times: Iterable[Quantity | None]) -> Quantity | None:
    """Return the longest of some times; None where none is given."""
    return max((time for time in times if time is not None), key=Quantity.in_base, default=None)
