"""What a stage forecast rests on, and what it says."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import NamedTuple


class Event(StrEnum):
    """What is observed and forecast."""

    BUDBURST = "budburst"
    FIRST_BLOOM = "first_bloom"
    FULL_BLOOM = "full_bloom"


BBCH = {Event.BUDBURST: 53, Event.FIRST_BLOOM: 60, Event.FULL_BLOOM: 65}
"""Our reading: a station's "budburst" is scales burst, a leaf or petal to be seen; 53, or a little later."""


@dataclass(frozen=True, slots=True)
class BudDate:
    """The day on which an event was observed; `season` is the year of the spring."""

    season: int
    event: Event
    on: date


@dataclass(frozen=True, slots=True)
class Forecast:
    """A date with odds: eight in ten between `low80` and `high80`, one in ten before, one in ten after.

    :ivar model: `running_mean`, `observed` where the event has happened, or which fit and
        from where
    :ivar springs: number of earlier springs it rests on
    :ivar says: one sentence for a person, with what the odds rest on
    """

    event: Event
    predicted: date
    low80: date
    high80: date
    issued_on: date
    model: str
    springs: int
    says: str

    @property
    def bbch(self) -> int:
        """The stage that the event is booked as."""
        return BBCH[self.event]


class Remark(NamedTuple):
    """What a person must be told of a forecast: a code, and what its sentence names."""

    code: str
    facts: Mapping[str, str | int]


class CannotForecast(ValueError):
    """Nothing that a date could rest on: why, as a remark."""

    def __init__(self, code: str, **facts: str | int) -> None:
        super().__init__(f"{code} {facts}")
        self.code = code
        self.remark = Remark(code, facts)


class TooFewSprings(ValueError):
    """Fewer earlier springs than a spread can be told from."""

    def __init__(self, *, event: Event, springs: int, wanted: int) -> None:
        super().__init__(f"{springs} earlier springs of {event.value}: {wanted} are wanted")
        self.event = event
        self.springs = springs
        self.wanted = wanted
