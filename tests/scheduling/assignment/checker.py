"""Looks a plan over by the words of the contract, with nothing of the code that made it but its rows."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from scheduling.assignment import Answer, Problem


def faults(problem: Problem, answer: Answer) -> list[str]:
    """Return all that is wrong with a plan."""
    return [
        *_each_job_once(problem, answer),
        *_each_in_its_hours(problem, answer),
        *_one_at_a_time(problem, answer),
        *_between_sprays(problem, answer),
        *_store(problem, answer),
    ]


def _each_job_once(problem: Problem, answer: Answer) -> Iterator[str]:
    seen = [one.job for one in answer.placed] + list(answer.left_out)
    if sorted(seen) != sorted(job.id for job in problem.jobs):
        yield f"jobs in and out of the plan are {sorted(seen)}"


def _each_in_its_hours(problem: Problem, answer: Answer) -> Iterator[str]:
    jobs = {job.id: job for job in problem.jobs}
    for one in answer.placed:
        job = jobs[one.job]
        if not any(spell.start <= one.start and one.end <= spell.end for spell in job.spells):
            yield f"{one.job} stands outside its open hours"
        if (one.tool, one.end - one.start) not in {(way.tool, way.minutes) for way in job.ways}:
            yield f"{one.job} takes {one.end - one.start} minutes with {one.tool}"


def _one_at_a_time(problem: Problem, answer: Answer) -> Iterator[str]:
    shares = {crew.id: crew.shares for crew in problem.crews}
    for one, other in combinations(answer.placed, 2):
        if one.start < other.end and other.start < one.end:
            if one.crew == other.crew or other.crew in shares[one.crew]:
                yield f"{one.crew} is in two places: {one.job}, {other.job}"
            if one.tool is not None and one.tool == other.tool:
                yield f"{one.tool} is in two places: {one.job}, {other.job}"
    jobs = {job.id: job for job in problem.jobs}
    for crew in problem.crews:
        for one in answer.placed:
            if one.crew == crew.id:
                job = jobs[one.job]
                lacking = crew.unqualified + crew.lacking.get(job.asks, ()) if job.handled else ()
                closed = crew.busy + lacking
                if any(one.start < end and start < one.end for start, end in closed):
                    yield f"{crew.id} may not do {one.job} then"
    for tool in problem.tools:
        for one in answer.placed:
            if one.tool == tool.id and any(one.start < end and start < one.end for start, end in tool.busy):
                yield f"{tool.id} is in use during {one.job}"


def _between_sprays(problem: Problem, answer: Answer) -> Iterator[str]:
    jobs = {job.id: job for job in problem.jobs}
    for one, other in combinations(sorted(answer.placed, key=lambda one: (one.start, one.end)), 2):
        if other.job in problem.near.get(one.job, ()) and other.start < one.end:
            yield f"{other.job} is on while people are in {one.job}, or the other way round"
        if jobs[one.job].block == jobs[other.job].block:
            wait = problem.gaps.get((one.job, other.job), 0)
            if other.start < one.end + wait:
                yield f"{other.job} comes {other.start - one.end} minutes after {one.job}, {wait} are wanted"


def _store(problem: Problem, answer: Answer) -> Iterator[str]:
    jobs = {job.id: job for job in problem.jobs}
    for stock in problem.stocks:
        used = sum(
            jobs[one.job].needs.get(stock.product, 0)
            for one in answer.placed
            if stock.since <= one.start and (stock.until is None or one.start < stock.until)
        )
        if used > stock.amount:
            yield f"{used} of {stock.product} are planned, {stock.amount} are there"
