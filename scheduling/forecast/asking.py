"""Which forecasts a folder's past lets one ask for, and what the running mean says of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scheduling.forecast.axis import DAYS, FIRST_DAY, Flags, Floats, Ints
from scheduling.forecast.places import Places
from scheduling.forecast.so_far import Asked

FEWEST = 5
"""Earlier seasons with the event noted, below which nothing is asked."""


@dataclass(frozen=True, slots=True)
class Cases:
    """Forecasts of the past, with what came.

    :ivar mean: [row] mean date of the seasons before, in days from 1 January
    :ivar came: [row] the date noted
    """

    asked: Asked
    lead: Ints
    mean: Floats
    came: Floats

    def __len__(self) -> int:
        return len(self.asked)

    def rows(self, chosen: Flags | Ints) -> Cases:
        """Return some of the rows."""
        return Cases(self.asked.rows(chosen), self.lead[chosen], self.mean[chosen], self.came[chosen])


def means_before(dates: Floats) -> tuple[Floats, Ints]:
    """Return the mean date of all seasons before, and of how many: [place, season, kind]."""
    noted = ~np.isnan(dates)
    zeroed = np.where(noted, dates, 0.0)
    many = np.cumsum(noted, axis=1) - noted
    sums = np.cumsum(zeroed, axis=1) - zeroed
    return np.where(many > 0, sums / np.maximum(many, 1), np.nan), many


def cases(places: Places, leads: Sequence[int]) -> Cases:
    """Return every forecast that could have been asked for while the event was still to come.

    :param leads: days counted back from the place's mean date over the seasons before
    """
    mean, many = means_before(places.dates)
    found = np.nonzero((many >= FEWEST) & ~np.isnan(places.dates))
    came = places.dates[found]
    parts = []
    for lead in leads:
        issued = np.floor(mean[found] - lead + 0.5).astype(np.int64)
        open_still = (came > issued) & (issued >= FIRST_DAY) & (issued < FIRST_DAY + DAYS)
        place, season, kind = (axis[open_still] for axis in found)
        parts.append(
            Cases(
                Asked(place, season, kind, issued[open_still]),
                np.full(int(open_still.sum()), lead),
                mean[found][open_still],
                came[open_still],
            )
        )
    return joined(parts)


def joined(parts: Sequence[Cases]) -> Cases:
    """Return the cases of all parts, one after the other."""
    asked = Asked(
        *(
            np.concatenate([getattr(part.asked, name) for part in parts])
            for name in ("place", "season", "kind", "issued")
        )
    )
    lead, mean, came = (
        np.concatenate([getattr(part, name) for part in parts]) for name in ("lead", "mean", "came")
    )
    return Cases(asked, lead, mean, came)
