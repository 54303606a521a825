"""Odds of a place that has too few winters of its own to try what may come.

`futures` then takes what is usual at the fitted places, which has no good and bad years in it. What the odds
lack was measured on 219 springs of peach at the fitted stations, as if only one or three of their winters
were known and none of their dates: four months ahead one spring in four came before the early edge, where one
in ten should. The early side lacks more, since what is usual is of years that were colder.
"""

from __future__ import annotations

import numpy as np

from scheduling.forecast import futures
from scheduling.forecast.axis import Floats
from scheduling.forecast.places import Places
from scheduling.forecast.told import WHOLE, WHOLE_SHARE

AHEAD = (3, 7, 14, 28, 60, 120)
EARLIER = (2.0, 3.5, 4.5, 6.5, 9.0, 10.0)
LATER = (1.0, 2.0, 2.0, 2.0, 2.0, 3.0)
"""Days that the two sides lack so many days ahead; added as the root of the sum of squares."""


def too_few(place: Places) -> bool:
    """Say whether the seasons before the last are too few to try."""
    known = ~np.isnan(place.minimum[0, :-1] + place.maximum[0, :-1])
    return int((known[:, WHOLE].mean(-1) > WHOLE_SHARE).sum()) < futures.FEWEST


def widened(edges: Floats, lead: Floats) -> Floats:
    """Return early edge, date and late edge with what the odds lack: [row, 3].

    :param lead: [row] days from the day of issue to the date
    """
    early, middle, late = edges.T
    before, after = np.interp(lead, AHEAD, EARLIER), np.interp(lead, AHEAD, LATER)
    sides = [middle - np.hypot(middle - early, before), middle, middle + np.hypot(late - middle, after)]
    return np.stack(sides, axis=1)
