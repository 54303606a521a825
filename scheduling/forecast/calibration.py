"""Setting the odds on places that were not fitted: eight in ten shall lie between the two edges."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from scheduling.forecast.asking import Cases
from scheduling.forecast.axis import Flags, Floats, Ints, Kind

ONE_IN_TEN = 0.9
LEANS_ON_ALL = 150.0
"""Cases that the other kinds at the same lead count for."""
NARROWEST, WIDEST = 0.3, 3.0
BOUNDED = 6.0
"""Days; no kind is shifted further."""


@dataclass(frozen=True, slots=True)
class Calibration:
    """For each lead and kind: days to add to the date, and factors on the distance to each edge.

    :ivar table: [lead, kind, 3]: shift, factor towards the early edge, factor towards the late edge
    """

    leads: tuple[int, ...]
    table: Floats

    @classmethod
    def none(cls, leads: Sequence[int], kinds: int) -> Calibration:
        """Return odds as they stand."""
        return cls(tuple(leads), np.tile([0.0, 1.0, 1.0], (len(leads), kinds, 1)))


@dataclass(frozen=True, slots=True)
class _Rows:
    """All cases tried; `kind` by the fit that is calibrated, -1 for one that it has not."""

    kind: Ints
    lead: Ints
    came: Floats
    dates: Floats


Tried = tuple[tuple[Kind, ...], Cases, Floats]
"""Kinds of a fit, cases at places that it does not know, and the dates that it gave."""


def calibrated_on(tries: Iterable[Tried], *, kinds: Sequence[Kind], leads: Sequence[int]) -> Calibration:
    """Return the calibration that makes the odds hold on the cases tried."""
    at = {kind: row for row, kind in enumerate(kinds)}
    kind, lead, came, dates = [], [], [], []
    for known, cases, made in tries:
        kind.append(np.array([at.get(one, -1) for one in known])[cases.asked.kind])
        lead.append(cases.lead)
        came.append(cases.came)
        dates.append(made)
    rows = _Rows(np.concatenate(kind), np.concatenate(lead), np.concatenate(came), np.concatenate(dates))
    table = Calibration.none(leads, len(kinds)).table
    for row, one in enumerate(leads):
        of_lead = rows.lead == one
        if not of_lead.any():
            continue
        shifts = [_shift(rows, of_lead & (rows.kind == column)) for column in range(len(kinds))]
        shifted = rows.dates + np.array([*shifts, 0.0])[rows.kind, None]
        every = _factors(rows, shifted, of_lead)
        for column in range(len(kinds)):
            mine = of_lead & (rows.kind == column)
            own = _factors(rows, shifted, mine) if mine.any() else every
            weight = mine.sum() / (mine.sum() + LEANS_ON_ALL)
            table[row, column] = [shifts[column], *(weight * own + (1 - weight) * every)]
    return Calibration(tuple(leads), table)


def _shift(rows: _Rows, mine: Flags) -> float:
    if not mine.any():
        return 0.0
    weight = mine.sum() / (mine.sum() + LEANS_ON_ALL / 3)
    return float(np.clip(np.median(rows.came[mine] - rows.dates[mine, 1]) * weight, -BOUNDED, BOUNDED))


def _factors(rows: _Rows, shifted: Floats, mine: Flags) -> Floats:
    """Return the factors with which one in ten falls out to each side; edges are whole days."""
    came, dates, middle = rows.came[mine], rows.dates[mine], shifted[mine, 1]
    early = (middle - (came + 0.5)) / np.maximum(dates[:, 1] - dates[:, 0], 0.5)
    late = (came - 0.5 - middle) / np.maximum(dates[:, 2] - dates[:, 1], 0.5)
    factors = np.array([np.quantile(early, ONE_IN_TEN), np.quantile(late, ONE_IN_TEN)])
    held: Floats = np.clip(factors, NARROWEST, WIDEST)
    return held


def applied(dates: Floats, row: Floats) -> Floats:
    """Return the dates with their calibration: [row, 3].

    :param row: [row, 3] of the table
    """
    middle = dates[:, 1] + row[:, 0]
    early = middle - row[:, 1] * np.maximum(dates[:, 1] - dates[:, 0], 0.5)
    late = middle + row[:, 2] * np.maximum(dates[:, 2] - dates[:, 1], 0.5)
    return np.stack([early, middle, late], axis=1)
