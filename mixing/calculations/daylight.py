"""Hourly temperatures drawn along the day's sunlight: a sine by day, a logarithm by night.

Source: D. E. Linvill, Calculating chilling hours and chill units from daily maximum and minimum temperature
observations, HortScience 25:14-16, American Society for Horticultural Science, 1990; the sun by J. W.
Spencer, Fourier series representation of the position of the sun, Search 2:172, 1971, and J. Almorox,
C. Hontoria, M. Benito, Statistical validation of daylength definitions, 2005.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import acos, cos, log, pi, radians, sin

HORIZON = -0.8333
"""The sun's centre at sunrise [degrees above the horizon]: half its disk and what the air bends."""
AFTER_NOON = 4
"""Hours by which the sine of the day is longer than the day, so that the warmest hour comes after noon."""


@dataclass(frozen=True, slots=True)
class Sun:
    """Sunrise and sunset [h, solar time]."""

    rise: float
    set: float


def sun(on: date, latitude: float) -> Sun:
    """Return sunrise and sunset of a day at a latitude [degrees, below 66 either way]."""
    turn = 2 * pi / 365 * (on.timetuple().tm_yday - 1)
    tilt = (
        0.006918
        - 0.399912 * cos(turn)
        + 0.070257 * sin(turn)
        - 0.006758 * cos(2 * turn)
        + 0.000907 * sin(2 * turn)
        - 0.002697 * cos(3 * turn)
        + 0.00148 * sin(3 * turn)
    )
    place = radians(latitude)
    half = (sin(radians(HORIZON)) - sin(place) * sin(tilt)) / (cos(place) * cos(tilt))
    hours = acos(min(max(half, -1.0), 1.0)) * 12 / pi
    return Sun(12 - hours, 12 + hours)


@dataclass(frozen=True, slots=True)
class Course:
    """A day's lowest and highest temperature [degC] and its sun."""

    low: float
    high: float
    sun: Sun

    def by_day(self, hour: float) -> float:
        """Return the temperature between sunrise and sunset."""
        length = self.sun.set - self.sun.rise
        return (self.high - self.low) * sin(pi * (hour - self.sun.rise) / (length + AFTER_NOON)) + self.low


def by_night(hours_since: float, night: float, start: float, end: float) -> float:
    """Return the temperature so many hours after sunset, falling from `start` to `end` at sunrise."""
    return start - (start - end) / log(night + 1) * log(hours_since + 1)


def hourly(pairs: Sequence[tuple[float, float]], first: date, latitude: float) -> list[float]:
    """Return 24 temperatures [degC] a day, from 00:00 on, for days of (lowest, highest).

    The night goes from one day's sunset to the next day's sunrise; before the first day and after the last
    stands a day like it.
    """
    courses = [
        Course(low, high, sun(first + timedelta(days=rank), latitude))
        for rank, (low, high) in enumerate(pairs)
    ]
    hours: list[float] = []
    for rank, today in enumerate(courses):
        before = courses[max(rank - 1, 0)]
        after = courses[min(rank + 1, len(courses) - 1)]
        for hour in range(24):
            if hour < today.sun.rise:
                night = 24 - before.sun.set + today.sun.rise
                dusk = before.by_day(before.sun.set)
                hours.append(by_night(hour + 24 - before.sun.set, night, dusk, today.low))
            elif hour <= today.sun.set:
                hours.append(today.by_day(hour))
            else:
                night = 24 - today.sun.set + after.sun.rise
                dusk = today.by_day(today.sun.set)
                hours.append(by_night(hour - today.sun.set, night, dusk, after.low))
    return hours
