"""Hours of weather as columns of numbers, so that a fortnight is looked at in one go.

Values are in base units (degC, m/s, mm); what is not known is NaN, and compares as neither above nor below.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, tzinfo
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from mixing.calculations.weather import wet_bulb
from mixing.quantities import Quantity
from scheduling.weather import WeatherHour

Numbers = NDArray[np.float64]
Truths = NDArray[np.bool_]
HOUR = timedelta(hours=1)
PASCAL = 101325.0
NOWHERE = 10**9


@dataclass(frozen=True, slots=True)
class Sky:
    """Hours one after the other from `first` on [UTC]; `known` where there is a row.

    :ivar delta_t: dry bulb less wet bulb, where the temperature is known; without humidity that of dry air
    :ivar rows: the hours themselves, None in a gap; for the sentences
    """

    first: datetime
    zone: tzinfo | None
    rows: tuple[WeatherHour | None, ...]
    known: Truths
    temperature: Numbers
    humidity: Numbers
    wind: Numbers
    strongest: Numbers
    rain: Numbers
    leaf_wet: Numbers
    delta_t: Numbers
    told: dict[Any, Any] = field(default_factory=dict, compare=False)
    """What was worked out of this sky before: many blocks under one sky share their limits."""

    def at(self, place: int) -> datetime:
        """Return the start of an hour, in the zone of the rows; hours pass across a clock change too."""
        return (self.first + HOUR * place).astimezone(self.zone)

    def __len__(self) -> int:
        return len(self.rows)


@lru_cache(maxsize=65536)
def _delta_t(celsius: float, percent: float) -> float:
    """Return what it is, and at the most what it can be where the humidity is not known."""
    if np.isnan(celsius):
        return float("nan")
    if np.isnan(percent):
        percent = 0.0
    return celsius - wet_bulb(celsius, max(percent, 0.1) / 100, PASCAL)


def sky_of(hours: Iterable[WeatherHour]) -> Sky | None:
    """Return hours as columns; of one hour the last row counts. None where there are none."""
    by_time: dict[datetime, WeatherHour] = {}
    zone: tzinfo | None = UTC
    for hour in hours:
        by_time[hour.at.astimezone(UTC)] = hour
        zone = hour.at.tzinfo
    if not by_time:
        return None
    first, last = min(by_time), max(by_time)
    count = round((last - first) / HOUR) + 1
    rows: list[WeatherHour | None] = [None] * count
    for at, hour in by_time.items():
        rows[round((at - first) / HOUR)] = hour
    temperature = _column(rows, "temperature")
    humidity = np.array([_number(None if row is None else row.humidity_percent) for row in rows])
    pairs = zip(temperature.tolist(), humidity.tolist(), strict=True)
    return Sky(
        first,
        zone,
        tuple(rows),
        np.array([row is not None for row in rows]),
        temperature,
        humidity,
        _column(rows, "wind"),
        np.fmax(_column(rows, "wind"), _column(rows, "gust")),
        _column(rows, "rain", unit="mm"),
        np.array([_number(None if row is None else row.leaf_wet) for row in rows]),
        np.array([_delta_t(dry, damp) for dry, damp in pairs]),
    )


def _number(value: object) -> float:
    return float("nan") if value is None else float(value)  # type: ignore[arg-type]


def _column(rows: Sequence[WeatherHour | None], name: str, *, unit: str | None = None) -> Numbers:
    amounts: list[Quantity | None] = [None if row is None else getattr(row, name) for row in rows]
    return np.array(
        [
            float("nan")
            if one is None
            else float(one.to(unit).value)
            if unit is not None
            else float(one.in_base())
            for one in amounts
        ]
    )


def steps_until(bad: Truths) -> NDArray[np.int64]:
    """Return for each hour how many hours later the next bad one is, 0 for itself; the end counts as bad."""
    places = np.where(np.append(bad, True), np.arange(len(bad) + 1), NOWHERE)
    following = np.minimum.accumulate(places[::-1])[::-1][: len(bad)]
    return following - np.arange(len(bad))


def steps_since(bad: Truths) -> NDArray[np.int64]:
    """Return for each hour how many hours ago the last bad one was, 0 for itself; large where none was."""
    places = np.where(bad, np.arange(len(bad)), -NOWHERE)
    return np.arange(len(bad)) - np.maximum.accumulate(places) if len(bad) else places
