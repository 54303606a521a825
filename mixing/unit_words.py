"""Names written for units that are none: which are never guessed, and which was meant by the others."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from functools import lru_cache

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

    def __init__(self, code: str, detail: str, field: str = "") -> None:
        super().__init__(detail)
        self.code = code
        self.detail = detail
        self.field = field


def ambiguous(name: str) -> QuantityError | None:
    """Return the fault of a name that can be read in two ways, with both."""
    for part in name.split("/"):
        bare = part.lstrip("0123456789") or part
        if bare in AMBIGUOUS:
            first, second = AMBIGUOUS[bare]
            choices = [name.replace(bare, first, 1), name.replace(bare, second, 1)]
            hint = f"did you mean {first} or {second}?"
            if choices != [first, second]:
                hint += f" (write {choices[0]} or {choices[1]})"
            return QuantityError(
                "unit_ambiguous", f"the unit {name[:40]!r} can be read in two ways: {hint}", "unit"
            )
    return None


def unknown(name: str, near: Iterable[str]) -> QuantityError:
    """Return the fault of a name that is not known, with those it may have meant."""
    meant = " or ".join(near)
    hint = f": did you mean {meant}?" if meant else "; the units are listed in the guide"
    return QuantityError("unit_unknown", f"there is no unit {name[:40]!r}{hint}", "unit")


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
