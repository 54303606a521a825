"""Hourly temperatures: as they were given, or drawn from each day's minimum and maximum."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from math import pi, sin

from mixing.calculations import lists
from mixing.calculations.exact import Amount
from mixing.calculations.results import result
from mixing.calculations.worksheet import Worksheet

MODEL = "campbell-norman"
CALLED = "Campbell and Norman 1998"

MODEL_RESULT = result(
    "hourly_model",
    "how hourly temperatures were made from days; null where hours were given",
    {"type": ["string", "null"]},
)
INPUTS = (lists.degrees().optional(), lists.days(mean=False).optional())
WAYS = ((("hours",), ("days",)),)


def shape(hour: int) -> float:
    """Return how far an hour of the day lies from the minimum (0) to the maximum (1)."""
    turn = 2 * pi * hour / 24
    return 0.44 - 0.46 * sin(0.9 + turn) + 0.11 * sin(0.9 + 2 * turn)


def of_days(days: Sequence[lists.Day]) -> list[float]:
    """Return 24 temperatures [degC] a day, from 00:00 on.

    Up to 05:00 the curve comes down from the maximum of the day before, from 15:00 on it goes to the
    minimum of the day after; the first and the last day take their own.

    Source: G. S. Campbell, J. M. Norman, An Introduction to Environmental Biophysics, 2nd edition,
    Springer, 1998, equations 2.2 and 2.3.
    """
    pairs = [(_celsius(day.minimum), _celsius(day.maximum)) for day in days]
    hours: list[float] = []
    for rank, (low, high) in enumerate(pairs):
        before = pairs[max(rank - 1, 0)][1]
        after = pairs[min(rank + 1, len(pairs) - 1)][0]
        for hour in range(24):
            top = before if hour <= 5 else high
            bottom = after if hour > 14 else low
            weight = shape(hour)
            hours.append(top * weight + bottom * (1 - weight))
    return hours


def _celsius(value: Amount | None) -> float:
    assert value is not None
    return float(value.base)


def celsius(
    sheet: Worksheet, hours: Sequence[Amount] | None, days: Sequence[lists.Day] | None
) -> tuple[list[float], str | None]:
    """Return the hourly temperatures [degC], and the name of the model that made them from days."""
    if hours is not None:
        sheet.note(f"{len(hours)} hours as they were given")
        return [float(one.base) for one in hours], None
    assert days is not None
    sheet.note(f"{len(days)} days drawn out to {24 * len(days)} hours by the curve of {CALLED}")
    return of_days(days), CALLED


def exact_hours(hours: Sequence[Amount] | None, made: Sequence[float]) -> list[Amount]:
    """Return the hours in the units they were given in, or those of a model in degC."""
    return list(hours) if hours is not None else [Amount(Fraction(one), "degC") for one in made]
