"""An invented country: places with weather and bud dates made by a rule, small enough to fit in a second."""

import csv
import gzip
from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from scheduling.forecast.axis import DAYS, FIRST_DAY, Kind, date_of
from scheduling.forecast.clock import Warmth
from scheduling.forecast.places import Places
from scheduling.forecast.records import Event

FIRST_SEASON, SEASONS = 1990, 18
KINDS = (Kind("peach", Event.BUDBURST), Kind("peach", Event.FIRST_BLOOM), Kind("pear", Event.FIRST_BLOOM))
NEEDS = np.array([9.0, 16.0, 19.0])
"""Sums of the clock at which the events come."""


def country(*, places=10, seed=1):
    rng = np.random.default_rng(seed)
    day = np.arange(DAYS) + FIRST_DAY
    course = 11 - 13 * np.cos((day - 15) / 365 * 2 * np.pi)
    height = rng.normal(0, 1.5, (places, 1, 1))
    season = rng.normal(0, 1.2, (1, SEASONS, 1))
    rough = rng.normal(0, 3, (places, SEASONS, DAYS))
    for _ in range(3):  # weather hangs together from day to day
        rough[..., 1:] = 0.6 * rough[..., :-1] + 0.4 * rough[..., 1:]
    mean = course + height + season + 2.5 * rough
    swing = rng.uniform(3, 7, mean.shape)
    low, high = mean - swing, mean + swing
    sums = np.cumsum(Warmth(0.1, 20.0).pace(low, high), axis=-1)
    of_place, of_season = rng.normal(0, 0.08, (places, 1, 3)), rng.normal(0, 0.08, (places, SEASONS, 3))
    wanted = NEEDS * np.exp(of_place + of_season + rng.normal(0, 0.05, (places, SEASONS, 1)))
    dates = (sums[..., None, :] < wanted[..., None]).sum(-1) + FIRST_DAY + 0.0
    dates[rng.random(dates.shape) < 0.05] = np.nan
    names = tuple(f"place {number:02}" for number in range(places))
    rain = np.where(rng.random(mean.shape) < 0.3, rng.exponential(6, mean.shape), np.nan).round(1)
    wind = rng.gamma(4, 0.7, mean.shape).round(1)
    return Places(names, FIRST_SEASON, KINDS, dates, low.round(1), high.round(1), rain, wind)


def poisoned(places, *, place, season, issued):
    """The place alone, all after the day of issue made absurd: weather, bud dates and later seasons."""
    alone = places.only([place])
    dates, low, high = alone.dates.copy(), alone.minimum.copy(), alone.maximum.copy()
    after = issued + 1 - FIRST_DAY
    low[0, season, after:], high[0, season, after:] = 30.0, 45.0
    low[0, season + 1 :], high[0, season + 1 :] = -40.0, -30.0
    dates[0, season] = np.where(dates[0, season] > issued, issued + 60.0, dates[0, season])
    dates[0, season + 1 :] = 1.0
    return replace(alone, dates=dates, minimum=low, maximum=high)


def write(places, folder):
    """Write a folder as `places.read` reads it."""
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / "observations.csv").open("w", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(("station", "year", "species", "event", "date"))
        for place, season, kind in zip(*np.nonzero(~np.isnan(places.dates)), strict=True):
            year = places.first_season + int(season)
            on = date_of(places.dates[place, season, kind], year)
            rows.writerow(
                (places.names[place], year, places.kinds[kind].species, places.kinds[kind].event.value, on)
            )
    with gzip.open(folder / "daily_weather.csv.gz", "wt", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(("station", "date", "tmin_c", "tmax_c", "rain_mm", "wind_ms", "rh_pct"))
        for place, name in enumerate(places.names):
            for season in range(places.minimum.shape[1]):
                new_year = date(places.first_season + season, 1, 1)
                for day in range(DAYS):
                    values = (
                        array[place, season, day]
                        for array in (places.minimum, places.maximum, places.rain, places.wind)
                    )
                    cells = ["" if np.isnan(value) else value for value in values]
                    rows.writerow((name, new_year + timedelta(days=day + FIRST_DAY), *cells, ""))
