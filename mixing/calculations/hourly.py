"""Hourly temperatures: as they were given, or drawn from each day's minimum and maximum.

With the latitude and the date of the first day they are drawn along the sunlight (Linvill 1990), without by
one curve for every day (Campbell and Norman 1998). The answer says which.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction
from math import pi, sin

from mixing.calculations import bare, daylight, lists
from mixing.calculations.exact import Amount, brief
from mixing.calculations.registry import Given
from mixing.calculations.results import result
from mixing.calculations.worksheet import Worksheet
from mixing.catalogue import said
from mixing.faults import TOP, Faults

MODELS = ("linvill-1990", "campbell-norman")
BY_SUN, BY_CURVE = "Linvill 1990", "Campbell and Norman 1998"

MODEL_RESULT = result(
    "hourly_model",
    "how hourly temperatures were made from days; null where hours were given",
    {"type": ["string", "null"], "enum": [BY_SUN, BY_CURVE, None]},
)
INPUTS = (
    lists.degrees().optional(),
    lists.days(mean=False).optional(),
    bare.number(
        "latitude", "with `days` and `first_day`: degrees, south below zero", low=-65, high=65
    ).optional(),
    bare.day("first_day", "with `days` and `latitude`: the date of the first day").optional(),
)
WAYS = ((("hours",), ("days",)),)


def place_and_date(given: Given, faults: Faults) -> None:
    """The latitude and the date of the first day go together, and only with days."""
    for one, other in (("latitude", "first_day"), ("first_day", "latitude")):
        if given.has(one) and not given.has(other):
            faults.add((TOP, other), "required", said("fault.both_or_neither", one=one, other=other))
    if given.has("hours") and given.has("latitude"):
        faults.add((TOP, "latitude"), "invalid", said("fault.no_latitude"))


@dataclass(frozen=True, slots=True)
class Hours:
    """Hourly temperatures in degC, as they were given where they were, and the model that made them."""

    celsius: tuple[float, ...]
    given: tuple[Amount, ...]
    model: str | None


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


def read(
    sheet: Worksheet,
    *,
    hours: Sequence[Amount] | None = None,
    days: Sequence[lists.Day] | None = None,
    latitude: Fraction | None = None,
    first_day: date | None = None,
) -> Hours:
    """Return the hours that were given, or those that are drawn from days."""
    if hours is not None:
        sheet.note(said("step.hours_as_given", count=len(hours)))
        return Hours(tuple(float(one.base) for one in hours), tuple(hours), None)
    assert days is not None
    if latitude is not None and first_day is not None:
        pairs = [(_celsius(day.minimum), _celsius(day.maximum)) for day in days]
        made, model = daylight.hourly(pairs, first_day, float(latitude)), BY_SUN
        last = first_day + timedelta(days=len(days) - 1)
        lies = said("step.lies", latitude=brief(latitude), first=first_day, last=last)
    else:
        made, model, lies = of_days(days), BY_CURVE, None
    sheet.note(said("step.drawn_out", days=len(days), hours=len(made), model=model, lies=lies))
    return Hours(tuple(made), tuple(Amount(Fraction(one), "degC") for one in made), model)
