"""Bud forecasts: every case of a country of stations scored, and one block's forecast of a day.

`PHENOLOGY` names a folder of observations to score; without it a country of the same size is made up.
"""

from __future__ import annotations

import os
import time
from datetime import date
from pathlib import Path

import numpy as np

from scheduling.forecast import fit, places, score, stored
from scheduling.forecast.block import Note, outlook
from scheduling.forecast.trials import halves
from scheduling.season import records
from tests.bench.measure import Result, measure
from tests.scheduling.forecast.country import country

GOAL_ALL_MS, GOAL_BLOCK_MS = 300_000.0, 50.0
LEADS = (28, 14, 7)
STATIONS = 54


def results() -> list[Result]:
    """Return the rows of the forecast family."""
    return [_scored(), _block()]


def _scored() -> Result:
    folder = os.environ.get("PHENOLOGY")
    began = time.perf_counter()
    found = places.read(Path(folder)) if folder else country(places=STATIONS)
    train, test = halves(found, 0)
    first = score.score(fit.fit(train, leads=LEADS), test, LEADS)
    second = score.score(fit.fit(test, leads=LEADS), train, LEADS)
    took = (time.perf_counter() - began) * 1000
    cases = len(first.cases) + len(second.cases)
    return Result(
        work="fit to half of the stations and score the rest, both ways",
        size=f"{len(found.names)} stations, {int((~np.isnan(found.dates)).sum())} dates, {cases} forecasts",
        floor_ms=None,
        ours_ms=took,
        ratios=None,
        spread=1.0,
        goal=f"<= {GOAL_ALL_MS:g} ms",
        met=took <= GOAL_ALL_MS,
    )


def _block() -> Result:
    cut, fitted = records.load(), stored.load()
    notes = [Note("peach", bud.event, bud.on) for bud in cut.bud_dates]

    def daily() -> object:
        return outlook(fitted, crop="peach", notes=notes, observed=cut.days, issued_on=date(2024, 3, 1))

    assert len(daily().forecasts) == 3  # type: ignore[attr-defined]
    return measure(
        "one block's forecast of a day, from its weather and notes",
        f"{len(cut.days)} days, {len(notes)} notes, 3 events",
        daily,
        goal_ms=GOAL_BLOCK_MS,
        calls=10,
    )
