"""What the weather and the notes of places say by the clocks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scheduling.forecast.axis import FIRST_DAY, Flags, Floats, Ints, column
from scheduling.forecast.climate import Climate, Weather, filled
from scheduling.forecast.clock import Clock, Hands, at_day, hands, reading
from scheduling.forecast.places import Places
from scheduling.forecast.pooling import Readings

COUNTED_FROM = column(-10)
"""Holes before 22 December hurt no reading."""
HOLES = 12
"""Days without weather from then on, beyond which a season counts as not measured (our choice)."""
WHOLE = slice(column(20), column(120))
WHOLE_SHARE = 0.9
"""Share of the days from 21 January to 30 April that a season needs to stand for a possible future."""


@dataclass(frozen=True, slots=True)
class Told:
    """One set of places, read by the clocks of a fit; each array is [place, season, ...].

    :ivar hands: for each kind
    :ivar gains: [kind] what a reading gains in a day
    :ivar holes: [place, season, day] days without weather up to a day
    :ivar whole: [place, season] seasons that may stand for a possible future
    """

    places: Places
    weather: Weather
    hands: tuple[Hands, ...]
    gains: Floats
    readings: Readings
    holes: Ints
    whole: Flags


def all_hands(clocks: Sequence[Clock], weather: Weather) -> tuple[Hands, ...]:
    """Return the hands of the clocks; kinds that share a clock share its hands."""
    made = {clock: hands(clock, weather) for clock in dict.fromkeys(clocks)}
    return tuple(made[clock] for clock in clocks)


def tell(
    places: Places,
    *,
    climate: Climate,
    clocks: Sequence[Clock],
    gains: Floats,
    off: Floats,
    start: Floats | None = None,
) -> Told:
    """Return what places say.

    :param off: [kind] how much later a date reads by the usual weather alone
    :param start: [place] how much warmer than the fitted places a place is, where no season was before
    """
    weather = filled(places, climate, start=start)
    turned = all_hands(clocks, weather)
    measured, usual = both_readings(places, turned, gains)
    holes: Ints = np.cumsum(~weather.known, axis=-1, dtype=np.int64)
    unmeasured = _unmeasured(places.dates, holes)
    return Told(
        places=places,
        weather=weather,
        hands=turned,
        gains=gains,
        readings=Readings(np.where(unmeasured, usual - off, measured), unmeasured),
        holes=holes,
        whole=weather.known[:, :, WHOLE].mean(-1) > WHOLE_SHARE,
    )


def both_readings(places: Places, turned: Sequence[Hands], gains: Floats) -> tuple[Floats, Floats]:
    """Return the readings of all dates, by the weather and by the usual weather: [place, season, kind]."""
    measured = [reading(one.sums, places.dates[:, :, kind]) for kind, one in enumerate(turned)]
    usual = [reading(one.usual, places.dates[:, :, kind]) for kind, one in enumerate(turned)]
    return np.stack(measured, axis=2) / gains, np.stack(usual, axis=2) / gains


def _unmeasured(dates: Floats, holes: Ints) -> Flags:
    columns = np.nan_to_num(dates).astype(np.int64) - FIRST_DAY
    counted = holes.astype(float)
    missing = np.stack([at_day(counted, columns[:, :, kind]) for kind in range(dates.shape[2])], axis=2)
    flags: Flags = missing - counted[:, :, [COUNTED_FROM]] > HOLES
    return flags & ~np.isnan(dates)


def only_measured(readings: Readings, values: Floats) -> Floats:
    """Return values with nan where the weather was not measured."""
    return np.where(readings.unmeasured, np.nan, values)
