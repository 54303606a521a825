"""Plain thermal time: an event comes when the warmth above a base, summed from a day on, is what it needs.

Base and first day are fitted to the earlier springs of the place; what the event needs is their mean
sum. After the day of issue the weather of each earlier spring is tried in turn, and the model's own
misses (each spring left out once) are laid on top: the spread of all those dates is the uncertainty.
Nothing later than the day of issue is read. The odds are from one station, and say nothing of another
place or of a colder corner of the farm.
"""

from __future__ import annotations

import itertools
import statistics
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache

from scheduling.forecast.records import BudDate, Event, Forecast, SpringDay, TooFewSprings
from scheduling.forecast.running_mean import FEWEST, days_into_year, earlier, observed

BASES = (0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0)
"""Degrees Celsius."""
STARTS = (0, 14, 31, 45)
"""Days into the year: 1 and 15 January, 1 and 15 February."""
LAST = 119
"""Days into the year; an event that is not reached by the end of April is put there."""

Temperatures = tuple[float, ...]
"""Daily means from 1 January on."""


@dataclass(frozen=True, slots=True)
class ThermalTime:
    """A fitted model.

    :ivar needs: degree-days above `base` from `start` (days into the year) on
    :ivar misses: predicted less observed in days, for each earlier spring with that spring left out
    """

    base: float
    start: int
    needs: float
    misses: tuple[int, ...]


@lru_cache(maxsize=32)
def fit(springs: tuple[tuple[Temperatures, int], ...]) -> ThermalTime:
    """Return the model with the smallest mean square miss over springs left out in turn.

    :param springs: temperatures of each earlier spring, and the day into the year of its event
    """
    candidates = (_candidate(springs, base, start) for base, start in itertools.product(BASES, STARTS))
    return min(candidates, key=lambda model: (sum(miss**2 for miss in model.misses), model.base, model.start))


def _candidate(springs: Sequence[tuple[Temperatures, int]], base: float, start: int) -> ThermalTime:
    sums = [warmth(temperatures, base, start, event) for temperatures, event in springs]
    total = sum(sums)
    misses = tuple(
        reached(temperatures, base, start, (total - own) / (len(sums) - 1)) - event
        for (temperatures, event), own in zip(springs, sums, strict=True)
    )
    return ThermalTime(base, start, total / len(sums), misses)


def warmth(temperatures: Temperatures, base: float, start: int, until: int) -> float:
    """Return the degree-days above `base` from `start` to `until`, both days included."""
    return sum(max(0.0, mean - base) for mean in temperatures[start : until + 1])


def reached(temperatures: Temperatures, base: float, start: int, needs: float) -> int:
    """Return the day into the year on which the sum reaches what the event needs, at the latest `LAST`."""
    total = 0.0
    for day, mean in enumerate(temperatures[start : LAST + 1], start):
        total += max(0.0, mean - base)
        if total >= needs:
            return day
    return LAST


def thermal_time(
    bud_dates: Iterable[BudDate], days: Iterable[SpringDay], *, event: Event, season: int, issued_on: date
) -> Forecast:
    """Return the forecast of one event as of `issued_on`.

    :param days: daily means of this and of earlier springs; what is later than `issued_on` is not read
    :raises TooFewSprings: under eight earlier springs with both weather and date
    """
    buds = tuple(bud_dates)
    seen = observed(buds, event=event, season=season, issued_on=issued_on)
    known = _by_season([day for day in days if day.on <= issued_on])
    before = earlier(buds, event=event, season=season)
    springs = [(known[b.season], days_into_year(b.on)) for b in before if _complete(known.get(b.season, ()))]
    if len(springs) < FEWEST:
        raise TooFewSprings(event=event, springs=len(springs), wanted=FEWEST)
    if seen is not None:
        return Forecast(
            event, seen, seen, seen, issued_on, "observed", len(springs), f"{event.value} observed on {seen}"
        )
    model = fit(tuple(springs))
    dates = _possible_dates(model, springs, known.get(season, ()), issued_on)
    low, middle, high = (_at(dates, season, share) for share in (0.1, 0.5, 0.9))
    missed = statistics.fmean(map(abs, model.misses))
    says = (
        f"{event.value} is due about {middle:%-d %b}, eight in ten between {low:%-d %b} and {high:%-d %b}: "
        f"warmth above {model.base:.0f} °C so far, continued as in each of {len(springs)} earlier springs; "
        f"off by {missed:.1f} days on average when tried on those; odds from one station"
    )
    return Forecast(event, middle, low, high, issued_on, "thermal_time", len(springs), says)


def _by_season(days: Iterable[SpringDay]) -> dict[int, Temperatures]:
    known: dict[int, list[float]] = {}
    for day in sorted(days, key=lambda day: day.on):
        row = known.setdefault(day.on.year, [])
        if days_into_year(day.on) == len(row):  # a gap ends what can be used of that spring
            row.append(day.mean)
    return {season: tuple(row) for season, row in known.items()}


def _complete(temperatures: Temperatures) -> bool:
    return len(temperatures) > LAST


def _possible_dates(
    model: ThermalTime,
    springs: Sequence[tuple[Temperatures, int]],
    so_far: Temperatures,
    issued_on: date,
) -> list[int]:
    today = days_into_year(issued_on)
    dates = []
    for temperatures, _ in springs:
        whole = so_far + temperatures[len(so_far) :]
        due = reached(whole, model.base, model.start, model.needs)
        dates += [due - miss for miss in model.misses]
    still_open = sorted(day for day in dates if day > today)
    return still_open or [today + 1]


def _at(dates: Sequence[int], season: int, share: float) -> date:
    day = dates[round(share * (len(dates) - 1))]
    return date(season, 1, 1) + timedelta(days=day)
