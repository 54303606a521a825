"""The clock of a bud: warmth adds up day by day, and an event comes when enough has.

A day's pace is exp(a * (T - 10)) * ramp, T the mean of the day drawn towards its maximum; the ramp opens over
some days about a start and lets the pace grow with the season (days get longer). An event is read on the
square root of the sum, divided by what it gains in a day about that event, so that readings are in days of
ordinary weather. Forms that lost against it stand in `trials`.

Exponential pace: after Arrhenius, as in Ono and Konno, "Estimation of flowering date and temperature
characteristics of fruit trees by DTS method", JARQ 33, 1999 (from memory); the ramp and the square root are
ours, by held-out error.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from scheduling.forecast.axis import DAYS, FIRST_DAY, Floats, Ints
from scheduling.forecast.climate import Weather

DAY = np.arange(DAYS) + float(FIRST_DAY)
TOWARDS_MAXIMUM = 0.4
"""How far T lies from the mean of a day towards its maximum: buds move by day (by held-out error)."""
OPENS_OVER = 6.0
"""Days; how gently the ramp opens."""
GROWS = 0.1
"""How the pace grows in thirty days by the season alone (by held-out error)."""
AT_REST = 1e-4
"""Pace of a day at the least, so that a sum always rises and can be looked up."""


class Clock(Protocol):
    """Gives each day of a season its pace."""

    def pace(self, minimum: Floats, maximum: Floats) -> Floats:
        """Return the pace of each day: [..., day], from temperatures in degC."""


@dataclass(frozen=True, slots=True)
class Warmth:
    """The clock that won.

    :ivar per_degree: how fast the pace grows with warmth [1/degC]
    :ivar start: day on which the ramp is half open, from 1 January
    """

    per_degree: float
    start: float

    def pace(self, minimum: Floats, maximum: Floats) -> Floats:
        warm = (minimum + maximum) / 2 + TOWARDS_MAXIMUM * (maximum - minimum) / 2
        ramp = np.exp(GROWS * (DAY - 80) / 30) / (1 + np.exp(-(DAY - self.start) / OPENS_OVER))
        paced: Floats = np.exp(self.per_degree * (warm - 10)) * ramp
        return paced


@dataclass(frozen=True, slots=True)
class Hands:
    """Where a clock stands at the end of each day: [place, season, day].

    :ivar sums: by the weather, holes filled
    :ivar usual: by nothing but what seasons before let expect
    """

    sums: Floats
    usual: Floats


def hands(clock: Clock, weather: Weather) -> Hands:
    """Return a clock's sums by the weather and by the usual weather."""
    return Hands(
        sums=np.cumsum(clock.pace(weather.minimum, weather.maximum) + AT_REST, axis=-1),
        usual=np.cumsum(clock.pace(weather.usual_minimum, weather.usual_maximum) + AT_REST, axis=-1),
    )


def at_day(sums: Floats, columns: Ints) -> Floats:
    """Return the sum at a column for each place and season: [place, season]."""
    inside = np.clip(columns, 0, DAYS - 1)
    taken: Floats = np.take_along_axis(sums, inside[..., None], axis=2)[..., 0]
    return taken


def reading(sums: Floats, dates: Floats) -> Floats:
    """Return the root of the sum at noon of each date: [place, season], nan without a date."""
    columns = np.nan_to_num(dates).astype(np.int64) - FIRST_DAY
    noon = (at_day(sums, columns) + at_day(sums, columns - 1)) / 2
    return np.where(np.isnan(dates), np.nan, np.sqrt(noon))


def gain_in_a_day(sums: Floats, dates: Floats, *, about: int = 4) -> float:
    """Return what a reading gains in a day, over the days about the dates; the median."""
    columns = np.nan_to_num(dates).astype(np.int64) - FIRST_DAY
    gained = (np.sqrt(at_day(sums, columns + about)) - np.sqrt(at_day(sums, columns - about))) / (2 * about)
    return float(np.median(gained[~np.isnan(dates)]))
