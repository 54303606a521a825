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
    """Wet hours in a row, or hours of which nobody knows whether they were wet.

    :ivar wet_hours: hours wet; dry ones in between are not counted
    :ivar unknown_hours: further hours that may have been wet in one spell with these, in it or beside it
    :ivar rain: in all [mm], as far as it is known; `rain_unknown_hours` are those without it
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
    rain_unknown_hours: int = 0


def wet_hours(sky: Sky) -> tuple[Truths, Truths]:
    """Return which hours are wet, and of which nothing tells: no sensor, no rain, no humidity.

    Rain wets, whatever a sensor says; then a sensor speaks; else a relative humidity at which leaves count
    as wet.
    """
    told = ~np.isnan(sky.leaf_wet)
    rainy = sky.rain >= float(MEASURABLE_RAIN)
    wet = rainy | np.where(told, sky.leaf_wet > 0, sky.humidity >= wet_from())
    return wet, ~told & ~rainy & np.isnan(sky.humidity)


def wet_spells(sky: Sky) -> Iterator[WetSpell]:
    """Yield the wet spells of a sky in order of time, and stretches without rain or wetness on record."""
    wet, unknown = wet_hours(sky)
    for run in _runs(np.flatnonzero(wet | unknown)):
        soaked = run[wet[run]]
        if len(soaked):
            for part in _runs(soaked):
                yield _spell(sky, wet, unknown, part, may_be=len(run))
        elif np.isnan(sky.rain[run]).any():
            yield _spell(sky, wet, unknown, run, may_be=len(run))


def _runs(places: np.ndarray) -> list[np.ndarray]:
    """Return places in parts, cut where a gap is too long for one spell."""
    parts = np.split(places, np.flatnonzero(np.diff(places) > LONGEST_GAP + 1) + 1)
    return [part for part in parts if len(part)]


def _spell(sky: Sky, wet: Truths, unknown: Truths, part: np.ndarray, *, may_be: int) -> WetSpell:
    first, last = int(part[0]), int(part[-1]) + 1
    soaked = part[wet[part]]
    warm = sky.temperature[soaked]
    known = warm[~np.isnan(warm)]
    around = slice(*_with_unknown(unknown, first, last))
    return WetSpell(
        sky.at(first),
        sky.at(last),
        len(soaked),
        may_be - len(soaked),
        float(np.nansum(sky.rain[first:last])),
        float(known.mean()) if len(known) else None,
        sum(1 for row in sky.rows[first:last] if row is not None and row.kind == "forecast"),
        int(np.isnan(sky.rain[around]).sum()),
    )


def _with_unknown(unknown: Truths, first: int, last: int) -> tuple[int, int]:
    """Return the ends of a spell with the unknown hours that lie directly before and after it."""
    while first > 0 and unknown[first - 1]:
        first -= 1
    while last < len(unknown) and unknown[last]:
        last += 1
    return first, last
