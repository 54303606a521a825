"""Places with their weather and bud dates, read from a folder or put together from a farm's rows.

A folder holds `observations.csv` (`station, year, species, event, date`) and `daily_weather.csv.gz`
(`station, date, tmin_c, tmax_c, rain_mm, wind_ms, rh_pct`). What cannot be read as a number, or cannot be
a temperature on Earth, is a hole.
"""

from __future__ import annotations

import csv
import gzip
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import TextIO, cast

import numpy as np

from scheduling.forecast.axis import DAYS, FIRST_DAY, Floats, Kind, day_of, season_of
from scheduling.forecast.records import Event

COLDEST, WARMEST = -60.0, 55.0
"""Degrees Celsius; beyond them a reading is a fault of the instrument or of its unit."""
LATEST_EVENT = 150
"""Days into the year; what is noted later is an autumn rebloom or a slip of the pen."""
EARLIEST_EVENT = -31
MEASURED, OPTIONAL = ("tmin_c", "tmax_c"), ("rain_mm", "wind_ms")
WEATHER = (*MEASURED, *OPTIONAL)


class NotPhenology(ValueError):
    """A folder or file that does not hold what it should."""


@dataclass(frozen=True, slots=True)
class Places:
    """Places, season by season.

    :ivar first_season: the season in the first column
    :ivar dates: [place, season, kind] days from 1 January, nan where nothing was noted
    :ivar minimum: [place, season, day] degC, nan in a hole; `maximum` likewise
    :ivar rain: [place, season, day] mm, nan where none is noted; `wind` m/s, mean of the day
    """

    names: tuple[str, ...]
    first_season: int
    kinds: tuple[Kind, ...]
    dates: Floats
    minimum: Floats
    maximum: Floats
    rain: Floats
    wind: Floats

    def only(self, chosen: Sequence[int]) -> Places:
        """Return some of the places, in the order given."""
        rows = list(chosen)
        cut = {name: getattr(self, name)[rows] for name in ("dates", "minimum", "maximum", "rain", "wind")}
        return replace(self, names=tuple(self.names[row] for row in rows), **cut)

    def for_kinds(self, kinds: Sequence[Kind]) -> Places:
        """Return the same places with the kinds of a fit, in its order; a kind that nobody noted is empty."""
        empty = np.full((*self.dates.shape[:2], 1), np.nan)
        at = {kind: row for row, kind in enumerate(self.kinds)}
        columns = [self.dates[:, :, [at[kind]]] if kind in at else empty for kind in kinds]
        return replace(self, kinds=tuple(kinds), dates=np.concatenate(columns, axis=2))


def day_bounds_hold(low: Floats, high: Floats) -> Floats:
    """Return 1 where both readings of a day can be true, nan elsewhere."""
    fine = (low >= COLDEST) & (high <= WARMEST) & (low <= high)
    return np.where(fine, 1.0, np.nan)


def read(folder: Path) -> Places:
    """Return what a folder holds.

    :raises NotPhenology: where a file is missing or a column is
    """
    observations = list(_observations(folder / "observations.csv"))
    weather = folder / "daily_weather.csv.gz"
    if not weather.exists():
        weather = folder / "daily_weather.csv"
    if not observations:
        raise NotPhenology(f"{folder / 'observations.csv'} holds no observation that can be read")
    kinds = tuple(sorted({kind for _, _, kind, _ in observations}))
    names = tuple(sorted({name for name, *_ in observations}))
    seasons = [season for _, season, _, _ in observations]
    first, many = min(seasons), max(seasons) - min(seasons) + 1
    place_at = {name: row for row, name in enumerate(names)}
    kind_at = {kind: row for row, kind in enumerate(kinds)}
    dates = np.full((len(names), many, len(kinds)), np.nan)
    for name, season, kind, day in observations:
        cell = (place_at[name], season - first, kind_at[kind])
        if not dates[cell] <= day:  # of two dates of one event the first counts
            dates[cell] = day
    temperatures = _weather(weather, place_at, first, many)
    return Places(names, first, kinds, dates, *temperatures)


def _observations(path: Path) -> Iterator[tuple[str, int, Kind, int]]:
    for name, year, species, event, on in _rows(path, ("station", "year", "species", "event", "date")):
        try:
            season, kind = int(year), Kind(species.strip(), Event(event))
            day = day_of(date.fromisoformat(on.strip()), season)
        except ValueError:
            continue
        if EARLIEST_EVENT <= day <= LATEST_EVENT and name and kind.species:
            yield name.strip(), season, kind, day


def _weather(path: Path, place_at: Mapping[str, int], first: int, many: int) -> tuple[Floats, ...]:
    held = np.full((len(WEATHER), len(place_at), many, DAYS), np.nan)
    new_year = {season: date(season, 1, 1).toordinal() for season in range(first, first + many)}
    for name, day_said, *readings in _rows(path, ("station", "date", *MEASURED), OPTIONAL):
        place = place_at.get(name.strip())
        try:
            on = date.fromisoformat(day_said)
        except ValueError:
            continue
        season = season_of(on)
        if place is None or season not in new_year:
            continue
        day = on.toordinal() - new_year[season] - FIRST_DAY
        if 0 <= day < DAYS:
            held[:, place, season - first, day] = [_number(raw) for raw in readings]
    low, high, rain, wind = held
    sound = day_bounds_hold(low, high)
    return low * sound, high * sound, rain, wind


def _number(raw: str) -> float:
    try:
        return float(raw) if raw else np.nan
    except ValueError:
        return np.nan


def _rows(path: Path, wanted: Sequence[str], optional: Sequence[str] = ()) -> Iterator[list[str]]:
    """Yield the wanted columns of each row, then the optional ones; what a row lacks is empty."""
    opener = gzip.open if path.suffix == ".gz" else open
    try:
        file = cast(TextIO, opener(path, "rt", encoding="utf-8-sig", newline=""))
    except OSError as fault:
        raise NotPhenology(f"{path} cannot be read: {fault.strerror or fault}") from fault
    with file:
        rows = csv.reader(file)
        head = next(rows, [])
        missing = [name for name in wanted if name not in head]
        if missing:
            raise NotPhenology(f"{path} has no column {', '.join(missing)}")
        at = [head.index(name) if name in head else len(head) for name in (*wanted, *optional)]
        for row in rows:
            padded = row + [""] * (len(head) + 1 - len(row))
            yield [padded[column] for column in at]
