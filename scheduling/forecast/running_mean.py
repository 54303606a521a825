"""The place's own mean date over the springs before: what any model has to beat."""

from __future__ import annotations

import statistics
from collections.abc import Iterable
from datetime import date, timedelta

from scheduling.forecast.records import BudDate, Event, Forecast, TooFewSprings

FEWEST = 8
ONE_IN_TEN = 1.2816
"""Standard deviations from the mean beyond which one in ten of a normal spread lies."""


def days_into_year(on: date) -> int:
    return (on - date(on.year, 1, 1)).days


def earlier(bud_dates: Iterable[BudDate], *, event: Event, season: int) -> tuple[BudDate, ...]:
    """Return the observations of an event in the springs before, in order; later ones are never looked at."""
    found = (bud for bud in bud_dates if bud.event == event and bud.season < season)
    return tuple(sorted(found, key=lambda bud: bud.season))


def observed(bud_dates: Iterable[BudDate], *, event: Event, season: int, issued_on: date) -> date | None:
    """Return the day of this season's event, if it has come by the day of issue."""
    found = (bud.on for bud in bud_dates if (bud.event, bud.season) == (event, season))
    return min((on for on in found if on <= issued_on), default=None)


def running_mean(
    bud_dates: Iterable[BudDate], *, event: Event, season: int, issued_on: date, latest: int = 20
) -> Forecast:
    """Return the mean date of the earlier springs, with their spread taken as normal.

    :param latest: springs looked back on; more would bring in a colder climate
    :raises TooFewSprings: under eight
    """
    before = earlier(bud_dates, event=event, season=season)[-latest:]
    if len(before) < FEWEST:
        raise TooFewSprings(event=event, springs=len(before), wanted=FEWEST)
    days = [days_into_year(bud.on) for bud in before]
    mean, spread = statistics.fmean(days), statistics.stdev(days)
    low, middle, high = (_day(season, mean + z * spread) for z in (-ONE_IN_TEN, 0, ONE_IN_TEN))
    says = (
        f"{event.value} was on {middle:%-d %b} on average in the {len(before)} springs before, "
        f"give or take {spread:.0f} days; one station's own dates, nothing of this season's weather"
    )
    return Forecast(event, middle, low, high, issued_on, "running_mean", len(before), says)


def _day(season: int, days: float) -> date:
    return date(season, 1, 1) + timedelta(days=round(days))
