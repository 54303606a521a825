"""A place whose own dates lie far from all the fitted places: where its notes must take over at once.

`pooling` cuts a note that no ordinary season can bring, so that one slip of the pen does no harm. At a place
far from the fitted ones, another country or a cultivar of another season, every note is such a one, and ten
years of them would move the dates half-way. Where the middle of two seasons or more lies beyond that cut, the
fit is moved there first; what is within it is left to the pooling.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from scheduling.forecast.axis import Floats
from scheduling.forecast.fit import Fitted
from scheduling.forecast.places import Places
from scheduling.forecast.pooling import PULLED_IN
from scheduling.forecast.records import Event
from scheduling.forecast.told import tell

FEWEST = 2
"""Seasons noted of a kind: one may be a slip of the pen (our choice, no source)."""


def moved(fitted: Fitted, place: Places, *, start: Floats | None) -> Fitted:
    """Return the fit, moved to where the place's own earlier dates read, if that is far away."""
    heard = tell(
        place,
        climate=fitted.climate,
        clocks=fitted.clocks,
        gains=fitted.gains,
        off=fitted.shared.off,
        start=start,
    )
    off = heard.readings.values[0, :-1] - fitted.shared.level
    noted = (~np.isnan(off)).sum(0) >= FEWEST
    if not noted.any():
        return fitted
    middle = np.array([np.nanmedian(off[:, kind]) if noted[kind] else np.nan for kind in range(len(noted))])
    bound = PULLED_IN * np.sqrt(np.diag(fitted.shared.lasting + fitted.shared.passing + fitted.shared.season))
    if not (np.abs(middle) > bound).any():
        return fitted
    shift = np.array([_nearest(fitted, middle, kind) for kind in range(len(noted))])
    return replace(fitted, shared=replace(fitted.shared, level=fitted.shared.level + shift))


def _nearest(fitted: Fitted, middle: Floats, kind: int) -> float:
    """Return the shift of a kind, else that of the event of its species next to it, else that of all."""
    own, order = fitted.kinds[kind], list(Event)
    near = sorted(
        (abs(order.index(other.event) - order.index(own.event)), at)
        for at, other in enumerate(fitted.kinds)
        if other.species == own.species and not np.isnan(middle[at])
    )
    return float(middle[near[0][1]] if near else np.nanmean(middle))
