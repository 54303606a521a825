"""Read the cut: the winter's weather, the station's bud dates and the springs before."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import lru_cache
from pathlib import Path

from mixing.quantities import Quantity
from scheduling.forecast.records import BudDate, Event
from scheduling.forecast.sound import Day
from scheduling.season.cut import HERE, SEASON
from scheduling.weather import WeatherDay


@dataclass(frozen=True, slots=True)
class SeasonCut:
    """One winter of one station, with what was known of the place before.

    :ivar weather: every day of the winter, in order
    :ivar bud_dates: all years, the season's own among them
    :ivar days: days of the earlier springs, January to April, and of this winter from October on
    """

    season: int
    weather: tuple[WeatherDay, ...]
    bud_dates: tuple[BudDate, ...]
    days: tuple[Day, ...]

    def observed(self, event: Event) -> date:
        """Return the day of this season on which the event was observed."""
        return next(bud.on for bud in self.bud_dates if (bud.season, bud.event) == (self.season, event))


@lru_cache(maxsize=1)
def load(folder: Path = HERE) -> SeasonCut:
    """Return the cut that ships with the product."""
    weather = tuple(weather_day(row) for row in _rows(folder / "weather.csv"))
    days = [_day(row) for name in ("earlier_springs.csv", "weather.csv") for row in _rows(folder / name)]
    buds = (
        BudDate(int(row["year"]), Event(row["event"]), date.fromisoformat(row["date"]))
        for row in _rows(folder / "bud_dates.csv")
    )
    return SeasonCut(SEASON, weather, tuple(buds), tuple(days))


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def weather_day(row: dict[str, str]) -> WeatherDay:
    """Return one row of the daily weather."""
    return WeatherDay(
        on=date.fromisoformat(row["date"]),
        minimum=_quantity(row["tmin_c"], "degC"),
        maximum=_quantity(row["tmax_c"], "degC"),
        rain=Quantity(Decimal(row["rain_mm"] or "0"), "mm"),  # an empty cell means no rain
        wind=_quantity(row["wind_ms"], "m/s"),
        humidity_percent=Decimal(row["rh_pct"]) if row["rh_pct"] else None,
    )


def _quantity(raw: str, unit: str) -> Quantity | None:
    return Quantity(Decimal(raw), unit) if raw else None


def _day(row: dict[str, str]) -> Day:
    return Day(date.fromisoformat(row["date"]), float(row["tmin_c"]), float(row["tmax_c"]))
