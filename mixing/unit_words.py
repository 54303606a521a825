"""Names written for units that are none: which are never guessed, and which was meant by the others."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from functools import lru_cache

from mixing.catalogue import Text, said

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

SPELLINGS: dict[str, str] = {  # what people write; only ever named in an error, never taken
    "gal": "gallon",
    "L": "l, litre, liter",
    "mL": "ml, cc, millilitre, milliliter",
    "tbsp": "tablespoon, tblsp",
    "tsp": "teaspoon",
    "fl_oz": "floz, fl-oz, fl. oz, fl.oz, fl oz, fluid ounce",
    "oz_wt": "oz wt, dry ounce, dry oz, ounce weight",
    "qt": "quart",
    "pt": "pint",
    "g": "gram, gramme, gm",
    "kg": "kilogram, kilo",
    "mg": "milligram",
    "lb": "pound, lbs",
    "ha": "hectare",
    "acre": "ac, a",
    "ft2": "sq ft, square foot, square feet",
    "m2": "sqm, square metre, square meter",
    "ft": "foot, feet",
    "in": "inch, inche",
    "yd": "yard",
    "mi": "mile",
    "m": "metre, meter",
    "h": "hour, hr",
    "min": "minute, mins",
    "s": "second, sec",
    "d": "day",
    "degC": "°c, celsius, deg c",
    "degF": "f, °f, fahrenheit, deg f",
    "km/h": "kph, kmh",
    "m/s": "mps",
    "tree": "plant",
    "gal/acre": "gpa",
    "100L": "hl",
}


class QuantityError(ValueError):
    """A value or a unit that cannot be taken as it stands.

    :ivar code: one of `required`, `invalid`, `unknown_field`, `not_a_decimal`, `out_of_range`,
        `unit_unknown`, `unit_ambiguous`, `unit_kind`, `unit_needs_density`
    :ivar detail: a sentence that a person can act on
    :ivar field: `value`, `unit` or an empty text for the whole
    """

    def __init__(self, code: str, text: Text | str, field: str = "") -> None:
        super().__init__(code)
        self.code = code
        self.text = text if isinstance(text, Text) else Text("fault.as_it_is", {"fault": text})
        self.field = field

    @property
    def detail(self) -> str:
        """The sentence in English; `text.render` gives it in another language."""
        return self.text.render()

    def __str__(self) -> str:
        return self.detail


def ambiguous(name: str) -> QuantityError | None:
    """Return the fault of a name that can be read in two ways, with both."""
    for part in name.split("/"):
        bare = part.lstrip("0123456789") or part
        if bare in AMBIGUOUS:
            first, second = AMBIGUOUS[bare]
            choices = [name.replace(bare, first, 1), name.replace(bare, second, 1)]
            hint = said("fault.both_readings", first=first, second=second)
            if choices != [first, second]:
                one, other = choices
                hint = said("fault.both_written", first=first, second=second, one=one, other=other)
            return QuantityError(
                "unit_ambiguous", said("fault.two_readings", name=repr(name[:40]), hint=hint), "unit"
            )
    return None


def unknown(name: str, near: Iterable[str]) -> QuantityError:
    """Return the fault of a name that is not known, with those it may have meant."""
    meant = tuple(near)
    hint = said("fault.units_in_guide")
    if len(meant) == 1:
        hint = said("fault.did_you_mean_one", word=meant[0])
    elif meant:
        hint = said("fault.did_you_mean_two", first=meant[0], second=meant[1])
    return QuantityError("unit_unknown", said("fault.unknown_unit", name=repr(name[:40]), hint=hint), "unit")


def nearest(name: str, known: Iterable[str]) -> list[str]:
    """Return the two known names that look most like it."""
    return difflib.get_close_matches(name[:60], known, n=2, cutoff=0.6)


def spelled(name: str, known: tuple[str, ...]) -> str | None:
    """Return what a name means where each of its parts is a word or spelling in use, else None."""
    parts = []
    for part in name[:60].split("/"):
        word = " ".join(part.casefold().replace("_", " ").split())
        bare = word.lstrip("0123456789 ")
        number = word[: len(word) - len(bare)].strip()
        meant = _words(known).get(bare) or _words(known).get(bare.removesuffix("s"))
        if meant is None:
            return None
        parts.append(number + meant)
    return "/".join(parts)


@lru_cache(maxsize=4)
def _words(known: tuple[str, ...]) -> dict[str, str]:
    """Return what people write for a unit, lower case, and the name it has here."""
    own = {name.casefold().replace("_", " "): name for name in reversed(known)}
    return {**own, **{word: name for name, words in SPELLINGS.items() for word in words.split(", ")}}
