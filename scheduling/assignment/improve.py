"""A better plan from a plan: a part of it is taken out and put back in the best way, again and again.

The part is what stands on a few days, with what was left out of them; the rest stays where it is and closes
its crews, sprayers and blocks. Each part is a problem of its own for CP-SAT, small enough to be solved.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from dataclasses import replace

from scheduling.assignment.exact import SEED, Model, Solved, Watch
from scheduling.assignment.problem import (
    DAY,
    Job,
    Placed,
    Problem,
    Span,
    Spell,
    Stock,
    moved_day,
    risk_of,
    road_of,
    spell_at,
    without,
)

MOST = 36
"""Jobs in one part."""
WORK = 1.0
"""Deterministic seconds for one part."""

Clock = Callable[[], float]
"""The real seconds that are left."""


def less_risk(
    problem: Problem, placed: dict[str, Placed], *, floor: int, work: float, left: Clock, watch: Watch
) -> tuple[dict[str, Placed], bool]:
    """Return a plan of less risk where one is found, and whether somebody ended the search."""
    chance = random.Random(SEED)
    for _ in range(round(work / WORK)):
        risks = {job.id: risk_of(problem, job, placed.get(job.id)) for job in problem.jobs}
        if sum(risks.values()) <= floor or left() <= 0:
            break
        free = _about_the_worst(problem, placed, risks, chance)
        part = without_the_rest(problem, placed, free)
        model = Model(part)
        model.hint({name: placed[name] for name in free if name in placed})
        solved = model.least(model.risk, at_least=0, work=WORK, seconds=max(0.1, left()), watch=watch)
        if solved.stopped:
            return placed, True
        before = sum(risks[name] for name in free)
        if solved.value is not None and solved.value < before:
            placed = put_back(problem, placed, free, solved)
    return placed, False


def less_road(
    problem: Problem, placed: dict[str, Placed], *, floor: int, work: float, left: Clock, watch: Watch
) -> tuple[dict[str, Placed], bool]:
    """Return a plan of the same risk with less road, day by day, and whether somebody ended the search."""
    days = sorted({one.start // DAY for one in placed.values()})
    each = min(WORK, work / max(1, len(days)))
    for day in days:
        roads = {job.id: road_of(problem, job, placed[job.id]) for job in problem.jobs if job.id in placed}
        if sum(roads.values()) <= floor or left() <= 0:
            break
        free = {name for name, one in placed.items() if one.start // DAY == day}
        part = without_the_rest(problem, placed, free)
        model = Model(part)
        model.hint({name: placed[name] for name in free})
        risks = {job.id: risk_of(problem, job, placed[job.id]) for job in problem.jobs if job.id in free}
        model.cp.add(model.risk <= sum(risks.values()))
        solved = model.least(model.road, at_least=0, work=each, seconds=max(0.1, left()), watch=watch)
        if solved.stopped:
            return placed, True
        if solved.value is not None and solved.value < sum(roads[name] for name in free):
            placed = put_back(problem, placed, free, solved)
    return placed, False


def _about_the_worst(
    problem: Problem, placed: Mapping[str, Placed], risks: Mapping[str, int], chance: random.Random
) -> set[str]:
    """Return a job that stands worse than it could, and the others on a few of its days."""
    worse = [job for job in problem.jobs if job.spells and risks[job.id] > _least(problem, job)]
    job = chance.choices(worse, [risks[one.id] - _least(problem, one) for one in worse])[0]
    days = sorted({spell.start // DAY for spell in job.spells})
    chance.shuffle(days)
    free = {job.id}
    for day in days:
        there = [name for name, one in placed.items() if one.start // DAY == day]
        chance.shuffle(there)
        free |= set(there[: max(0, MOST - len(free))])
    out = [
        other.id
        for other in problem.jobs
        if other.id not in placed and any(spell.start // DAY in days for spell in other.spells)
    ]
    return free | set(out[: MOST // 4])


def _least(problem: Problem, job: Job) -> int:
    return min(spell.risk + moved_day(problem, job, spell) for spell in job.spells)


def without_the_rest(problem: Problem, placed: Mapping[str, Placed], free: set[str]) -> Problem:
    """Return the problem of the free jobs alone, where all others stay where they are.

    The price of a day that a draft gives up is in the risk of its spells already.
    """
    jobs = {job.id: job for job in problem.jobs}
    fixed = [one for name, one in placed.items() if name not in free]
    crews = tuple(
        replace(
            crew,
            busy=crew.busy
            + tuple((one.start, one.end) for one in fixed if one.crew in (crew.id, *crew.shares)),
        )
        for crew in problem.crews
    )
    tools = tuple(
        replace(tool, busy=tool.busy + tuple((one.start, one.end) for one in fixed if one.tool == tool.id))
        for tool in problem.tools
    )
    part = tuple(_between(problem, job, fixed, jobs) for job in problem.jobs if job.id in free)
    stocks = tuple(_rest_of(stock, fixed, jobs) for stock in problem.stocks)
    return replace(problem, jobs=part, crews=crews, tools=tools, stocks=stocks, keep=0)


def _between(problem: Problem, job: Job, fixed: list[Placed], jobs: Mapping[str, Job]) -> Job:
    closed: list[Span] = [
        (one.start - problem.gap(job, jobs[one.job]), one.end + problem.gap(jobs[one.job], job))
        for one in fixed
        if problem.meet(job, jobs[one.job])
    ]
    spells = tuple(
        Spell(start, end, spell.risk + moved_day(problem, job, spell))
        for spell in job.spells
        for start, end in without((spell.start, spell.end), tuple(closed))
        if end - start >= job.shortest
    )
    return replace(job, spells=spells)


def _rest_of(stock: Stock, fixed: list[Placed], jobs: Mapping[str, Job]) -> Stock:
    used = sum(jobs[one.job].needs.get(stock.product, 0) for one in fixed if stock.counts(one.start))
    return replace(stock, amount=stock.amount - used)


def put_back(
    problem: Problem, placed: Mapping[str, Placed], free: set[str], solved: Solved
) -> dict[str, Placed]:
    """Return the plan with the part in its new places, each with the risk of its own spell."""
    jobs = {job.id: job for job in problem.jobs}
    rest = {name: one for name, one in placed.items() if name not in free}
    back = {
        name: replace(one, risk=spell_at(jobs[name], one.start).risk) for name, one in solved.placed.items()
    }
    return rest | back
