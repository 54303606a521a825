"""The axes that the arrays share: days of a season, and kinds of bud dates."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from scheduling.forecast.records import Event

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]

FIRST_DAY = -92
"""1 October of the year before, in days from 1 January of the season's year."""
DAYS = 273
"""Up to the end of June."""


@dataclass(frozen=True, slots=True, order=True)
class Kind:
    """What is forecast: an event of a species, `peach` `first_bloom`."""

    species: str
    event: Event

    def __str__(self) -> str:
        return f"{self.species} {self.event.value}"


def season_of(on: date) -> int:
    """Return the season that a day belongs to: the year of its spring; October opens the next one."""
    return on.year + (on.month >= 10)


def day_of(on: date, season: int) -> int:
    """Return days from 1 January of the season's year; below zero before it."""
    return (on - date(season, 1, 1)).days


def date_of(day: float, season: int) -> date:
    """Return the day that is nearest to so many days from 1 January of the season's year."""
    return date(season, 1, 1) + timedelta(days=int(np.floor(day + 0.5)))


def column(day: int) -> int:
    """Return where a day stands in an array of a season's days."""
    return day - FIRST_DAY
