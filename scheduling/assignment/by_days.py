"""A plan from a good guess of days: each day's jobs are laid out by CP-SAT, one day after the other."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import replace

from scheduling.assignment.exact import Model, Watch
from scheduling.assignment.improve import Clock, put_back, without_the_rest
from scheduling.assignment.problem import DAY, LEFT_OUT, Job, Placed, Problem, Spell

WORK = 1.0
"""Deterministic seconds for one day."""


def by_days(
    problem: Problem, guess: Mapping[str, Spell], *, left: Clock, watch: Watch
) -> tuple[dict[str, Placed], bool]:
    """Return a plan with jobs on the days of the guess, and whether somebody ended the search.

    A job that does not find room on its day is not in the plan.
    """
    placed: dict[str, Placed] = {}
    neighbours: dict[str, list[Job]] = defaultdict(list)
    for job in problem.jobs:
        neighbours[job.block].append(job)
    for day in sorted({spell.start // DAY for spell in guess.values()}):
        if left() <= 0:
            break
        here = {name for name, spell in guess.items() if spell.start // DAY == day}
        part = without_the_rest(problem, placed, here)
        jobs = [
            replace(job, spells=tuple(_on(day, job, neighbours[job.block], problem, guess)))
            for job in part.jobs
        ]
        model = Model(replace(part, jobs=tuple(jobs)))
        least = sum(min((spell.risk for spell in job.spells), default=LEFT_OUT) for job in jobs)
        seconds = max(0.1, left() / 2)  # so that something is left for the days to come
        solved = model.least(model.risk, at_least=least, work=WORK, seconds=seconds, watch=watch)
        if solved.found:
            placed = put_back(problem, placed, here, solved)
        if solved.stopped:
            return placed, True
    return placed, False


def _on(
    day: int, job: Job, neighbours: list[Job], problem: Problem, guess: Mapping[str, Spell]
) -> list[Spell]:
    """Return a job's spells of a day, cut so that what comes later on its block has its wait and room."""
    later = [
        (guess[other.id], other)
        for other in neighbours
        if other.id in guess and guess[other.id].start // DAY > day
    ]
    rooms = [spell.end - other.shortest - problem.gap(job, other) for spell, other in later]
    spells = [
        replace(spell, end=min([spell.end, *rooms])) for spell in job.spells if spell.start // DAY == day
    ]
    return [spell for spell in spells if spell.end - spell.start >= job.shortest]
