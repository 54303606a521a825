"""Chill and heat of single hours, and hours from a day's minimum and maximum.

The units and the models are published ones; `tests/published/test_chill_and_heat.py` holds them to their
sources. They did not win (see `trials`), but are what growers count in, and what a winter without chill is
told by.
"""

from __future__ import annotations

import numpy as np

from scheduling.forecast.axis import Floats

CHILL_HOUR = (0.0, 7.2)
"""Degrees Celsius, both included: an hour between them is a chill hour."""
UTAH = ((1.4, 0.0), (2.4, 0.5), (9.1, 1.0), (12.4, 0.5), (15.9, 0.0), (18.0, -0.5), (np.inf, -1.0))
"""Upper bound of a class of temperatures [degC, included], and the chill units of an hour in it.

Source: Richardson, Seeley and Walker, "A model for estimating the completion of rest for Redhaven and Elberta
peach trees", HortScience 9, 1974.
"""
BASE, BEST, CRITICAL = 4.0, 25.0, 36.0
"""Degrees Celsius of the growing degree hours, as fruit trees are given in Anderson et al. 1986."""


def chill_hours(hours: Floats) -> Floats:
    """Return 1 for each hour from 0 to 7.2 degC, both included; temperatures in degC."""
    low, high = CHILL_HOUR
    return np.where((hours >= low) & (hours <= high), 1.0, 0.0)


def utah_units(hours: Floats) -> Floats:
    """Return the Utah chill units of each hour; temperatures in degC."""
    bounds, units = (np.array(column) for column in zip(*UTAH, strict=True))
    given: Floats = units[np.searchsorted(bounds, hours, side="left")]
    return np.where(np.isnan(hours), np.nan, given)


def growing_degree_hours(hours: Floats) -> Floats:
    """Return the growing degree hours of each hour; temperatures in degC.

    Source: Anderson, Richardson and Kesner, "Validation of chill unit and flower bud phenology models for
    Montmorency sour cherry", Acta Horticulturae 184, 1986 (two half cosines between base, best and critical
    temperature).
    """
    rising = (BEST - BASE) / 2 * (1 + np.cos(np.pi + np.pi * (hours - BASE) / (BEST - BASE)))
    falling = (BEST - BASE) * (1 + np.cos(np.pi / 2 + np.pi / 2 * (hours - BEST) / (CRITICAL - BEST)))
    within = np.where(hours <= BEST, rising, falling)
    return np.where((hours >= BASE) & (hours <= CRITICAL), within, 0.0)


E0, E1, A0, A1 = 4153.5, 12888.8, 139500.0, 2.567e18
SLOPE, HALF_AT = 1.6, 277.0


def dynamic_portions(hours: Floats) -> Floats:
    """Return the chill portions that each hour completes, along the last axis; temperatures in degC.

    A precursor builds up and breaks down; once there is enough of it a share, the larger the cooler, is
    kept for good.

    Source: Fishman, Erez and Couvillon, "The temperature dependence of dormancy breaking in plants",
    Journal of Theoretical Biology 124, 1987; constants as Erez, Fishman, Linsley-Noakes and Allan give
    them, Acta Horticulturae 276, 1990.
    """
    kelvin = hours + 273.0
    share = 1 / (1 + np.exp(-SLOPE * HALF_AT * (kelvin - HALF_AT) / kelvin))
    ceiling = A0 / A1 * np.exp((E1 - E0) / kelvin)
    stays = np.exp(-A1 * np.exp(-E1 / kelvin))
    portions = np.zeros_like(hours)
    precursor = np.zeros(hours.shape[:-1])
    for hour in range(1, hours.shape[-1]):
        kept = np.where(precursor < 1, precursor, precursor * (1 - share[..., hour - 1]))
        precursor = ceiling[..., hour] - (ceiling[..., hour] - kept) * stays[..., hour]
        portions[..., hour] = np.where(precursor >= 1, precursor * share[..., hour], 0.0)
    return portions


def hours_of(minimum: Floats, maximum: Floats, *, each: int = 1) -> Floats:
    """Return temperatures of hours from daily ones: [..., day, hour]; a sine, lowest at 2 h, highest at 14 h.

    Common practice, no source: it knows neither sunrise nor cold fronts.

    :param each: every so many hours only
    """
    hour = np.arange(0, 24, each)
    swing = np.cos((hour - 14) / 24 * 2 * np.pi)
    middle, half = (maximum + minimum) / 2, (maximum - minimum) / 2
    made: Floats = middle[..., None] + half[..., None] * swing
    return made
