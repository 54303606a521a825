"""What of a place's daily weather a forecast may use, and what was left out and why."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from statistics import median

import numpy as np

from scheduling.forecast.axis import season_of
from scheduling.forecast.places import COLDEST, WARMEST
from scheduling.forecast.records import CannotForecast, Remark

SPIKE = 15.0
"""Degrees that a day's mean may lie from the middle of the days about it (our choice, no source)."""
WEEK = 3
MILDEST_WINTER, COLDEST_WINTER = 22.0, -30.0
"""Means of December to February beyond which no orchard tree rests, and degF given as degC (or the like) is
likelier."""
FEWEST_DAYS = 15
WINTER = (12, 1, 2)
LATE = 2
"""Days that a day's weather may take to come in."""


@dataclass(frozen=True, slots=True)
class Day:
    """One day's minimum and maximum [degC]."""

    on: date
    minimum: float
    maximum: float

    @property
    def mean(self) -> float:
        """Half-way between the two."""
        return (self.minimum + self.maximum) / 2


@dataclass(frozen=True, slots=True)
class Sound:
    """The days that may be used, and remarks on what may not."""

    days: tuple[Day, ...]
    left_out: tuple[Remark, ...]


def sound(days: Iterable[Day], *, season: int) -> Sound:
    """Return what may be used.

    :param season: the season that is forecast
    :raises CannotForecast: `unit_unlikely`, `other_hemisphere`
    """
    given = {day.on: day for day in days}
    notes = []
    kept = {on: day for on, day in given.items() if _possible(day)}
    if len(kept) < len(given):
        notes.append(Remark("impossible_days", {"days": len(given) - len(kept)}))
    _refuse_the_other_hemisphere(kept)
    winters: dict[int, list[float]] = {}
    for on, day in given.items():
        if on.month in WINTER:
            winters.setdefault(season_of(on), []).append(day.mean)
    for year, winter in sorted(winters.items()):
        if len(winter) >= FEWEST_DAYS and not COLDEST_WINTER < median(winter) < MILDEST_WINTER:
            middle = round(median(winter))
            if year == season:
                raise CannotForecast("unit_unlikely", spring=year, middle=middle)
            notes.append(Remark("winter_left_out", {"spring": year, "middle": middle}))
            kept = {on: day for on, day in kept.items() if season_of(on) != year}
    spikes = _spikes(kept)
    if spikes:
        notes.append(Remark("spikes", {"days": len(spikes), "degrees": round(SPIKE)}))
    usable = tuple(kept[on] for on in sorted(kept) if on not in spikes)
    return Sound(usable, tuple(notes))


def _possible(day: Day) -> bool:
    return COLDEST <= day.minimum <= day.maximum <= WARMEST


def _spikes(known: Mapping[date, Day]) -> set[date]:
    """Return the days whose mean lies far off the middle of the three days before and after."""
    if not known:
        return set()
    first = min(known).toordinal()
    means = np.full(max(known).toordinal() - first + 1 + 2 * WEEK, np.nan)
    places = np.array([on.toordinal() - first + WEEK for on in known])
    means[places] = [day.mean for day in known.values()]
    about = np.stack([means[places + step] for step in range(-WEEK, WEEK + 1) if step], axis=1)
    enough = (~np.isnan(about)).sum(1) >= WEEK
    far = np.zeros(len(places), dtype=bool)
    middles = np.nanmedian(about[enough], axis=1)
    far[enough] = np.abs(means[places][enough] - middles) >= SPIKE
    return {on for on, is_far in zip(known, far.tolist(), strict=True) if is_far}


def _refuse_the_other_hemisphere(known: Mapping[date, Day]) -> None:
    north_winter = [day.mean for on, day in known.items() if on.month in WINTER]
    north_spring = [day.mean for on, day in known.items() if on.month in (4, 5, 6)]
    enough = min(len(north_winter), len(north_spring)) >= FEWEST_DAYS
    if enough and sum(north_winter) / len(north_winter) > sum(north_spring) / len(north_spring) + 2:
        raise CannotForecast("other_hemisphere")


def ended(days: Sequence[Day], issued_on: date) -> Iterator[Remark]:
    """Yield a remark where the weather of this season ended before the day of issue."""
    season = season_of(issued_on)
    last = max((day.on for day in days if season_of(day.on) == season), default=None)
    if last is not None and (issued_on - last).days > LATE:
        yield Remark("weather_ends", {"day": last.isoformat()})
