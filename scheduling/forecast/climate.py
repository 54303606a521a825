"""What the weather of a place usually is, and the weather with its holes filled by that.

Only seasons before the one in hand are looked at, so that nothing later than a day of issue can reach
a forecast.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scheduling.forecast.axis import DAYS, Flags, Floats
from scheduling.forecast.places import Places

SMOOTHED_OVER = 15
"""Days; a mean of few seasons is rough from day to day."""
WEIGHT_OF_THE_USUAL = 5.0
"""Seasons that the course of the year of all fitted places counts for (our choice, by held-out error)."""


@dataclass(frozen=True, slots=True)
class Climate:
    """The usual course of the year over the fitted places: [day] degC."""

    minimum: Floats
    maximum: Floats


@dataclass(frozen=True, slots=True)
class Weather:
    """Weather of places, holes filled: [place, season, day] degC.

    :ivar known: where it was measured
    :ivar usual_minimum: what seasons before let expect; `usual_maximum` likewise
    """

    minimum: Floats
    maximum: Floats
    known: Flags
    usual_minimum: Floats
    usual_maximum: Floats


def climate_of(places: Places) -> Climate:
    """Return the usual course of the year over all places and seasons."""
    return Climate(_course(places.minimum), _course(places.maximum))


def _course(readings: Floats) -> Floats:
    known = ~np.isnan(readings)
    many = known.sum((0, 1))
    mean = np.where(known, readings, 0.0).sum((0, 1)) / np.maximum(many, 1)
    if not many.any():
        raise ValueError("no weather at all")
    there = np.flatnonzero(many)
    return smoothed(np.interp(np.arange(DAYS), there, mean[there]))


def smoothed(days: Floats) -> Floats:
    """Return a running mean over the last axis; the ends are drawn on."""
    half = SMOOTHED_OVER // 2
    edges = [(0, 0)] * (days.ndim - 1) + [(half + 1, half)]
    sums = np.cumsum(np.pad(days, edges, mode="edge"), axis=-1)
    mean: Floats = (sums[..., SMOOTHED_OVER:] - sums[..., :-SMOOTHED_OVER]) / SMOOTHED_OVER
    return mean


def usual(readings: Floats, course: Floats, *, start: Floats | None = None) -> Floats:
    """Return what the seasons before let expect of each season: [place, season, day].

    :param course: the usual course over the fitted places
    :param start: [place] how much warmer than the course a place is known to be, where no season was before
    """
    known = ~np.isnan(readings)
    off = np.where(known, readings - course, 0.0)
    before = np.cumsum(off, axis=1) - off
    many = np.cumsum(known, axis=1) - known
    whole, days = before.sum(-1), many.sum(-1)
    shift = whole / np.maximum(days, 1)
    if start is not None:
        shift = np.where(days > 0, shift, start[:, None])
    pulled = (before + WEIGHT_OF_THE_USUAL * shift[..., None]) / (many + WEIGHT_OF_THE_USUAL)
    return course + smoothed(pulled)


def filled(places: Places, climate: Climate, *, start: Floats | None = None) -> Weather:
    """Return the weather with what was usual in its holes."""
    low = usual(places.minimum, climate.minimum, start=start)
    high = np.maximum(usual(places.maximum, climate.maximum, start=start), low)
    known = ~(np.isnan(places.minimum) | np.isnan(places.maximum))
    return Weather(
        minimum=np.where(known, places.minimum, low),
        maximum=np.where(known, places.maximum, high),
        known=known,
        usual_minimum=low,
        usual_maximum=high,
    )
