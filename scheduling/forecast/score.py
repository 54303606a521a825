"""Forecasts of the past at places that were not fitted, and how far they were off.

Each is made from the fit, and from what its own place knew on the day of issue: its weather and its notes of
any species up to that day. Each place is worked alone (`fit.raw`).
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np

from scheduling.forecast import asking, calibration
from scheduling.forecast.asking import Cases
from scheduling.forecast.axis import Flags, Floats, Ints, Kind, date_of
from scheduling.forecast.fit import Fitted, at_lead, raw
from scheduling.forecast.places import Places
from scheduling.forecast.running_mean import ONE_IN_TEN
from scheduling.forecast.so_far import ALL, Uses

COLUMNS = (
    "station",
    "year",
    "species",
    "event",
    "lead_days",
    "issued_on",
    "predicted",
    "low80",
    "high80",
    "observed",
)
LEGEND = (
    "error: mean absolute error in days; mean: the same of the place's running mean; in 80 %: share of the "
    "dates between low80 and high80; leans: forecast less observed, in days."
)


@dataclass(frozen=True, slots=True)
class Scored:
    """Cases with the days forecast, whole days from 1 January: early edge, date, late edge: [row, 3]."""

    places: Places
    cases: Cases
    days: Floats

    def of(self, kind: Kind, lead: int) -> Flags:
        """Return which rows are of a kind at a lead."""
        at = {one: row for row, one in enumerate(self.places.kinds)}
        mine: Flags = (self.cases.asked.kind == at[kind]) & (self.cases.lead == lead)
        return mine


@dataclass(frozen=True, slots=True)
class Line:
    """How one kind was forecast at one lead.

    :ivar off: mean absolute error in days; `mean_off` of the place's running mean
    :ivar held: share of the dates between the two edges; `leans` mean of forecast less observed, in days
    """

    kind: Kind
    lead: int
    rows: int
    off: float
    mean_off: float
    held: float
    leans: float


def score(fitted: Fitted, test: Places, leads: Sequence[int], *, uses: Uses = ALL) -> Scored:
    """Return a forecast for every case in which the event was still to come on the day of issue."""
    others = [kind for kind in test.kinds if kind not in fitted.kinds]
    places = test.for_kinds((*fitted.kinds, *others))
    cases = asking.cases(places, leads)
    days = _by_the_mean(places, cases)
    known = cases.asked.kind < len(fitted.kinds)
    fits = cases.rows(known)
    modelled = raw(fitted, test.for_kinds(fitted.kinds), fits.asked, fits.lead.astype(float), uses=uses)
    table = fitted.calibration.table
    lead = fits.lead.astype(float)
    days[known] = calibration.applied(
        modelled, at_lead(table, fitted.calibration.leads, lead, fits.asked.kind)
    )
    return Scored(places, cases, whole_days(days, cases.asked.issued))


def whole_days(days: Floats, issued: Ints) -> Floats:
    """Return whole days in order, none before the day after the day of issue."""
    rounded: Floats = np.maximum(np.floor(days + 0.5), issued[:, None] + 1)
    rounded[:, 0] = np.minimum(rounded[:, 0], rounded[:, 1])
    rounded[:, 2] = np.maximum(rounded[:, 2], rounded[:, 1])
    return rounded


def _by_the_mean(places: Places, cases: Cases) -> Floats:
    """Return the running mean with its spread, for kinds without a model."""
    squares, _ = asking.means_before(places.dates**2)
    at = (cases.asked.place, cases.asked.season, cases.asked.kind)
    spread = np.sqrt(np.maximum(squares[at] - cases.mean**2, 1.0))
    days: Floats = cases.mean[:, None] + np.array([-ONE_IN_TEN, 0, ONE_IN_TEN]) * spread[:, None]
    return days


def lines(scored: Scored, leads: Sequence[int]) -> Iterator[Line]:
    """Yield how each kind was forecast at each lead."""
    cases = scored.cases
    for kind in scored.places.kinds:
        for lead in leads:
            mine = scored.of(kind, lead)
            if not mine.any():
                continue
            early, middle, late = scored.days[mine].T
            came, mean = cases.came[mine], np.floor(cases.mean[mine] + 0.5)
            yield Line(
                kind=kind,
                lead=lead,
                rows=int(mine.sum()),
                off=float(np.abs(middle - came).mean()),
                mean_off=float(np.abs(mean - came).mean()),
                held=float(((early <= came) & (came <= late)).mean()),
                leans=float((middle - came).mean()),
            )


def table(told: Iterable[Line]) -> Iterator[str]:
    """Yield the lines as text."""
    yield "species  event        lead   rows  error   mean  in 80 %  leans"
    for line in told:
        yield (
            f"{line.kind.species:8} {line.kind.event.value:12} {line.lead:4} {line.rows:6} {line.off:6.2f} "
            f"{line.mean_off:6.2f} {line.held:8.1%} {line.leans:+6.2f}"
        )


def rows(scored: Scored) -> Iterator[tuple[str | int | date, ...]]:
    """Yield one row a forecast, in the order of `COLUMNS`."""
    asked, places = scored.cases.asked, scored.places
    order = np.lexsort((-scored.cases.lead, asked.kind, asked.season, asked.place))
    for row in order:
        season = places.first_season + int(asked.season[row])
        kind = places.kinds[asked.kind[row]]
        early, middle, late = scored.days[row]
        days = (asked.issued[row], middle, early, late, scored.cases.came[row])
        yield (
            places.names[asked.place[row]],
            season,
            kind.species,
            kind.event.value,
            int(scored.cases.lead[row]),
            *(date_of(float(day), season) for day in days),
        )


def write(scored: Scored, path: Path) -> int:
    """Write the rows as CSV and return how many there are."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(COLUMNS)
        made = list(rows(scored))
        writer.writerows(made)
    return len(made)
