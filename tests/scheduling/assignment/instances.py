"""Orchards to plan for: a large one from a seed, and the best plan of a tiny one by trying them all."""

from __future__ import annotations

import random
from itertools import permutations, product

from scheduling.assignment import Crew, Job, Problem, Spell, Stock, Tool, Way
from scheduling.assignment.problem import LEFT_OUT

DAY = 24 * 60


def large(*, jobs: int = 200, crews: int = 20, days: int = 14, tools: int = 20, seed: int = 1) -> Problem:
    """Return jobs of two lines on half as many blocks, a fortnight with closed days, crews and sprayers."""
    chance = random.Random(seed)
    skies = [chance.choice(("fine", "fine", "morning", "closed")) for _ in range(days)]
    sprayers = [Tool(f"sprayer {n}") for n in range(tools)]
    blocks = max(1, jobs // 2)
    made = []
    for number in range(jobs):
        litres = chance.choice((300, 600, 1200, 1800))
        first, last = sorted(chance.sample(range(days), 2))
        made.append(
            Job(
                id=f"job {number}",
                block=f"block {number % blocks}",
                ways=tuple(_way(tool.id, rank, litres) for rank, tool in enumerate(sprayers)),
                spells=tuple(_spells(skies, first, max(last, min(first + 3, days - 1)))),
                needs={"copper": litres},
            )
        )
    gaps = {
        (one.id, other.id): 24 * 60 + 48 * 60
        for one, other in zip(made[:blocks], made[blocks:], strict=False)
        for one, other in ((one, other), (other, one))
    }
    people = tuple(Crew(f"crew {n}", unqualified=((0, 2 * DAY),) if n == 0 else ()) for n in range(crews))
    wanted = sum(job.needs["copper"] for job in made)
    stocks = (Stock("copper", 0, wanted), Stock("copper", 10 * DAY, wanted // 2))
    return Problem(tuple(made), people, tuple(sprayers), gaps, stocks)


def _way(tool: str, rank: int, litres: int) -> Way:
    tank, driving = (200, 20) if rank % 2 else (400, 15)
    loads = -(-litres // tank)
    return Way(tool, 15 * -(-(loads * (driving + 25) + 15) // 15), loads * driving)


def _spells(skies: list[str], first: int, last: int) -> list[Spell]:
    found = []
    for day in range(first, last + 1):
        if skies[day] != "closed":
            end = 17 if skies[day] == "fine" else 12
            found.append(Spell(day * DAY + 8 * 60, day * DAY + end * 60, risk=min(900, 4 * (day - first))))
    return found


def best_by_trying_all(problem: Problem) -> tuple[int, int]:
    """Return the least risk and the least road at it, over every order, spell, sprayer and crew.

    Each job is put as early as it goes in an order: some order gives every plan pushed to the left.
    """
    best = (10**9, 10**9)
    for order in permutations(problem.jobs):
        choices = [
            [
                None,
                *product(job.spells, job.ways, list(problem.crews)),
            ]
            for job in order
        ]
        for picks in product(*choices):
            best = min(best, _cost(problem, order, picks) or best)
    return best


def _cost(problem: Problem, order: tuple[Job, ...], picks: tuple) -> tuple[int, int] | None:
    risk = road = 0
    there: list[tuple[Job, str, str | None, int, int]] = []
    for job, pick in zip(order, picks, strict=True):
        if pick is None:
            risk += LEFT_OUT
            continue
        spell, way, crew = pick
        lacking = crew.unqualified + crew.lacking.get(job.asks, ())
        if job.handled and any(a < spell.end and spell.start < b for a, b in lacking):
            return None
        start = _start(problem, job, spell, way, crew, there)
        if start is None:
            return None
        there.append((job, crew.id, way.tool, start, start + way.minutes))
        risk, road = risk + spell.risk, road + way.road
    for stock in problem.stocks:
        if (
            sum(job.needs.get(stock.product, 0) for job, _, _, start, _ in there if start >= stock.since)
            > stock.amount
        ):
            return None
    return risk, road


def _start(problem: Problem, job: Job, spell: Spell, way: Way, crew: Crew, there: list) -> int | None:
    tools = {tool.id: tool for tool in problem.tools}
    closed = [*crew.busy, *(tools[way.tool].busy if way.tool else ())]
    for other, whose, tool, start, end in there:
        if whose == crew.id or whose in crew.shares or (tool is not None and tool == way.tool):
            closed.append((start, end))
        if other.id in problem.near.get(job.id, ()):
            closed.append((start, end))
        if other.block == job.block:
            closed.append(
                (
                    start - problem.gaps.get((job.id, other.id), 0),
                    end + problem.gaps.get((other.id, job.id), 0),
                )
            )
    for start in sorted([spell.start, *(end for _, end in closed)]):
        end = start + way.minutes
        if spell.start <= start and end <= spell.end and not any(a < end and start < b for a, b in closed):
            return start
    return None
