"""Wet spells from hourly weather: hours in which leaves and buds are wet, joined over short dry gaps."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from scheduling.bounds import wet_from
from scheduling.sky import Sky, Truths
from scheduling.weather import MEASURABLE_RAIN

LONGEST_GAP = 4
"""Dry hours that do not end a spell. Source: Rossi, Bolognesi, Giosuè, Influence of weather conditions on
infection of peach fruit by Taphrina deformans, Phytopathology 97:1625-1633, 2007 (told of fruit; for shoots
it is taken over)."""


@dataclass(frozen=True, slots=True)
class WetSpell:
    """Wet hours in a row.

    :ivar wet_hours: hours wet; dry ones in between are not counted
    :ivar unknown_hours: hours within it of which nothing is known; they are not counted as wet
    :ivar rain: in all [mm]
    :ivar mean: mean temperature of the wet hours [degC]; None where none is known
    :ivar forecast_hours: how many of its hours are forecast
    """

    starts_at: datetime
    ends_at: datetime
    wet_hours: int
    unknown_hours: int
    rain: float
    mean: float | None
    forecast_hours: int


def wet_hours(sky: Sky) -> tuple[Truths, Truths]:
    """Return which hours are wet, and of which nothing tells: no sensor, no rain, no humidity.

    A sensor speaks first; else rain of the hour, or a relative humidity at which leaves count as wet.
    """
    told = ~np.isnan(sky.leaf_wet)
    rainy = sky.rain >= float(MEASURABLE_RAIN)
    wet = np.where(told, sky.leaf_wet > 0, rainy | (sky.humidity >= wet_from()))
    unknown = ~told & ~rainy & np.isnan(sky.humidity)
    return wet & ~unknown, unknown


def wet_spells(sky: Sky) -> Iterator[WetSpell]:
    """Yield the wet spells of a sky in order of time."""
    wet, unknown = wet_hours(sky)
    places = np.flatnonzero(wet)
    if not len(places):
        return
    breaks = np.flatnonzero(np.diff(places) > LONGEST_GAP + 1)
    for part in np.split(places, breaks + 1):
        first, last = int(part[0]), int(part[-1]) + 1
        warm = sky.temperature[part]
        known = warm[~np.isnan(warm)]
        yield WetSpell(
            sky.at(first),
            sky.at(last),
            len(part),
            int(unknown[first:last].sum()),
            float(np.nansum(sky.rain[first:last])),
            float(known.mean()) if len(known) else None,
            sum(1 for row in sky.rows[first:last] if row is not None and row.kind == "forecast"),
        )
