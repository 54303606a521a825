"""From the reading at which an event is awaited to dates, along the weather that the place has had before.

After the day of issue each of the place's own earlier seasons is tried in turn, a little warmer or cooler
than it was where the last weeks were; for every possible reading of the event that gives a date. Where a
place has too few measured seasons, what is usual there stands in.
"""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr, ndtri

from scheduling.forecast.axis import DAYS, FIRST_DAY, Flags, Floats, Ints
from scheduling.forecast.so_far import Asked, Awaited
from scheduling.forecast.told import Told

SEASONS = 20
"""Seasons tried, the latest; older ones were colder."""
FEWEST = 4
LEVELS = 7
"""Possible readings tried of each event, at equal odds."""
SHARES = (0.1, 0.5, 0.9)
LOOKED_BACK, LOOKED_AHEAD = 20, 21
"""Days over which the weather of late is compared, and days ahead over which it is fitted."""
LEAST = 1e-6
SMALL = 0.1
"""Added to both sides of a ratio, so that a frozen fortnight does not make it boundless."""


def possible_dates(
    told: Told, asked: Asked, awaited: Awaited, off: Floats, hastened: Floats, known_until: Ints | None = None
) -> Floats:
    """Return the dates that one in ten, half, and nine in ten come before: [row, 3], days from 1 January.

    :param off: [kind] how much later a date reads by the usual weather alone
    :param hastened: [row] log of how much faster than in earlier seasons the clock will run
    :param known_until: [row] last day whose weather is known or forecast; the day of issue if absent
    """
    readings = _possible_readings(awaited)
    shift = np.where(awaited.unmeasured, off[asked.kind], 0.0)
    gain = told.gains[asked.kind]
    wanted = (np.maximum(readings + shift[:, None], 0) * gain[:, None]) ** 2
    wanted = wanted - ((np.maximum(awaited.now + shift, 0) * gain) ** 2)[:, None]
    until = asked.issued if known_until is None else np.maximum(known_until, asked.issued)
    until = np.where(awaited.unmeasured, asked.issued, until)
    wanted = np.maximum(wanted, LEAST)
    tried = futures_tried(told, asked) & ~awaited.unmeasured[:, None]
    tried &= (tried.sum(1) >= FEWEST)[:, None]
    days = np.full((len(asked), tried.shape[1] + 1, LEVELS), np.nan)
    for place, kind in sorted(set(zip(asked.place.tolist(), asked.kind.tolist(), strict=True))):
        rows = np.flatnonzero((asked.place == place) & (asked.kind == kind))
        one, columns = told.hands[kind], until[rows] - FIRST_DAY
        own = one.sums[place, asked.season[rows]]
        begun = own[np.arange(len(rows)), asked.issued[rows] - FIRST_DAY]
        gained = own[np.arange(len(rows)), columns] - begun
        left = np.maximum(wanted[rows] - gained[:, None], 0) * np.exp(-hastened[rows])[:, None]
        for season in np.flatnonzero(tried[rows].any(0)):
            mine = tried[rows, season]
            days[rows[mine], season] = _reached(one.sums[place, season], columns[mine], left[mine])
        for at, row in enumerate(rows):
            if not tried[row].any():
                usual = one.usual[place, asked.season[row]]
                days[row, -1] = _reached(usual, columns[[at]], left[[at]])[0]
            if gained[at] > 0:
                within = wanted[row] <= gained[at]
                sooner = _reached(own[at], asked.issued[[row]] - FIRST_DAY, wanted[[row]])[0]
                days[row] = np.where(within & ~np.isnan(days[row]), sooner, days[row])
    return shares(days.reshape(len(asked), -1))


def _possible_readings(awaited: Awaited) -> Floats:
    """Return readings at equal odds, all beyond where the clock stands: [row, level]."""
    middles = (np.arange(LEVELS) + 0.5) / LEVELS
    passed = np.minimum(ndtr((awaited.now - awaited.mean) / awaited.spread), 1 - 1e-6)[:, None]
    levels = ndtri(np.minimum(passed + (1 - passed) * middles, 1 - 1e-9))
    readings = awaited.mean[:, None] + awaited.spread[:, None] * levels
    beyond: Floats = np.maximum(readings, awaited.now[:, None] + LEAST)
    return beyond


def futures_tried(told: Told, asked: Asked) -> Flags:
    """Return which earlier seasons of the place may stand for what comes: [row, season]."""
    earlier = told.whole[asked.place] & (np.arange(told.whole.shape[1]) < asked.season[:, None])
    rank = np.cumsum(earlier[:, ::-1], axis=1)[:, ::-1]
    tried: Flags = earlier & (rank <= SEASONS)
    return tried


def _reached(sums: Floats, columns: Ints, wanted: Floats) -> Floats:
    """Return the day on which the sum has gained what is wanted: [row, level], with its fraction."""
    goal = np.minimum(sums[columns][:, None] + wanted, sums[-1] - 1e-9)
    day = np.clip(np.searchsorted(sums, goal), 1, DAYS - 1)
    below, above = sums[day - 1], sums[day]
    part = np.clip((goal - below) / np.maximum(above - below, 1e-9), 0, 1)
    reached: Floats = day - 1 + part + FIRST_DAY + 0.5  # a date reads at its noon
    return reached


def shares(days: Floats) -> Floats:
    """Return the quantiles of each row, nan left out: [row, share]."""
    ordered = np.sort(days, axis=1)  # nan stands last
    last = (~np.isnan(ordered)).sum(1) - 1
    at = np.array(SHARES) * last[:, None]
    low = np.floor(at).astype(np.int64)
    rows = np.arange(len(days))[:, None]
    below, above = ordered[rows, low], ordered[rows, np.minimum(low + 1, last[:, None])]
    made: Floats = below + (above - below) * (at - low)
    return made


def ran_faster(told: Told, asked: Asked, first: Ints, last: Ints) -> Floats:
    """Return the log of how much faster than in earlier seasons the clocks ran between two columns: [row].

    Nothing where too few earlier seasons are there to compare with.
    """
    tried = futures_tried(told, asked)
    enough = tried.sum(1) >= FEWEST
    faster = np.zeros(len(asked))
    for place, kind in sorted(set(zip(asked.place.tolist(), asked.kind.tolist(), strict=True))):
        rows = np.flatnonzero((asked.place == place) & (asked.kind == kind) & enough)
        sums = told.hands[kind].sums[place]
        gained = (sums[:, last[rows]] - sums[:, first[rows]]).T  # [row, season]
        weights = tried[rows] / tried[rows].sum(1, keepdims=True)
        own = gained[np.arange(len(rows)), asked.season[rows]]
        faster[rows] = np.log((own + SMALL) / ((gained * weights).sum(1) + SMALL))
    return faster


def of_late(told: Told, asked: Asked) -> Floats:
    """Return how much faster than in earlier seasons the clocks ran up to the day of issue."""
    issued = asked.issued - FIRST_DAY
    return ran_faster(told, asked, np.maximum(issued - LOOKED_BACK, 0), issued)


def just_ahead(told: Told, asked: Asked) -> Floats:
    """Return how much faster the clocks then ran; for fitting only, since it looks past the day of issue."""
    issued = asked.issued - FIRST_DAY
    return ran_faster(told, asked, issued, np.minimum(issued + LOOKED_AHEAD, DAYS - 1))
