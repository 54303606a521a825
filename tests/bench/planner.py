"""The planner: a fortnight for twenty crews, the open hours of a hundred blocks, and drafts written."""

from __future__ import annotations

import random
import time

from scheduling.assignment import assign
from scheduling.bounds import Basis, Bound, Measure, in_force
from scheduling.sky import sky_of
from scheduling.windows import Place, windows_of
from tests.bench import drafts
from tests.bench.measure import Result, measure
from tests.scheduling.assignment.checker import faults
from tests.scheduling.assignment.instances import large
from tests.scheduling.orchard_weather import hour, quantity

GOAL_PLAN_S, GOAL_WINDOWS_MS = 30.0, 1000.0
SEEDS = (2, 3, 1)
"""The first leaves room for every job, the others are too much for their crews."""
BLOCKS, HOURS = 100, 14 * 24


def results() -> list[Result]:
    """Return the rows of this family."""
    return [*drafts.results(), _windows(), *(_plan(seed) for seed in SEEDS)]


def _plan(seed: int) -> Result:
    problem = large(jobs=200, crews=20, days=14, tools=20, seed=seed)
    began = time.perf_counter()
    answer = assign(problem)
    took = time.perf_counter() - began
    wrong = faults(problem, answer)
    if wrong:
        raise AssertionError(wrong)
    return Result(
        work=f"plan, farm {seed}: {len(answer.placed)} planned, gap {answer.gap_percent:g} % (risk"
        f" {answer.risk.value} >= {answer.risk.bound}, road {answer.road.value} >= {answer.road.bound})",
        size="200 jobs x 20 crews x 14 days",
        floor_ms=None,
        ours_ms=took * 1000,
        ratios=None,
        spread=1.0,
        goal=f"<= {GOAL_PLAN_S:g} s",
        met=took <= GOAL_PLAN_S,
    )


def _windows() -> Result:
    chance = random.Random(1)
    hours = [
        hour(
            step,
            temperature=str(chance.randint(-2, 33)),
            wind=str(chance.randint(0, 14)),
            rain=str(chance.choice([0] * 20 + [1])),
            leaf_wet=None,
        )
        for step in range(HOURS)
    ]
    limits = [
        in_force(
            labels=[Bound(Measure.WIND_MAXIMUM, quantity(str(5 + block % 6), "mph"), Basis.LABEL, "label")]
        )
        for block in range(BLOCKS)
    ]

    def ours() -> int:
        sky = sky_of(hours)
        assert sky is not None
        return sum(len(windows_of(sky, bounds=bounds, place=Place())) for bounds in limits)

    return measure(
        "open and closed hours with every reason",
        "100 blocks x 14 days",
        ours,
        goal_ms=GOAL_WINDOWS_MS,
        calls=1,
    )
