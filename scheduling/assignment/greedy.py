"""A first plan, job by job: the spell of least risk in which somebody is free. A start, not the best."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from scheduling.assignment.problem import (
    DAY,
    Crew,
    Job,
    Placed,
    Problem,
    Span,
    Spell,
    Tool,
    Way,
    moved_day,
    overlap,
    risk_of,
)

Busy = dict[tuple[str, int], list[Span]]
"""Who or what is taken when, by id and day."""


@dataclass(slots=True)
class Board:
    """Who and what is taken when, as jobs are put on it."""

    problem: Problem
    guess: Mapping[str, Spell] = field(default_factory=dict)
    crews: Busy = field(default_factory=lambda: defaultdict(list))
    tools: Busy = field(default_factory=lambda: defaultdict(list))
    blocks: dict[str, list[tuple[Job, Placed]]] = field(default_factory=lambda: defaultdict(list))
    placed: dict[str, Placed] = field(default_factory=dict)
    taken: list[tuple[int, Job]] = field(default_factory=list)

    _sharing: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._sharing = {crew.id: crew.shares for crew in self.problem.crews}
        for crew in self.problem.crews:
            _mark(self.crews, crew)
        for tool in self.problem.tools:
            _mark(self.tools, tool)

    def put(self, job: Job, placed: Placed) -> None:
        """Put a job on the board."""
        span, day = (placed.start, placed.end), placed.start // DAY
        for crew in (placed.crew, *self._sharing.get(placed.crew, ())):
            self.crews[crew, day].append(span)
        if placed.tool is not None:
            self.tools[placed.tool, day].append(span)
        self.blocks[job.block].append((job, placed))
        self.placed[job.id] = placed
        self.taken.append((placed.start, job))

    def place(self, job: Job) -> Placed | None:
        """Return the best place that is left for a job: least risk, then least road, then the earliest."""
        guess = self.guess.get(job.id)
        by_risk = sorted(
            job.spells,
            key=lambda spell: (spell != guess, spell.risk + moved_day(self.problem, job, spell)),
        )
        for spell in by_risk:
            if not self._stocked(job, spell):
                continue
            found = min(self._places(job, spell), key=self._preference(job), default=None)
            if found is not None:
                return found
        return None

    def _preference(self, job: Job) -> Callable[[Placed], tuple[object, ...]]:
        was = job.was

        def key(placed: Placed) -> tuple[object, ...]:
            stays = was is not None and (placed.crew, placed.tool) == (was.crew, was.tool)
            taken = len(self.crews[placed.crew, placed.start // DAY])
            return (not stays, placed.road, placed.start, taken, placed.crew, placed.tool or "")

        return key

    def _places(self, job: Job, spell: Spell) -> Iterator[Placed]:
        """Yield the places in a spell; of crews and of sprayers that are alike that day only the first."""
        day, was = spell.start // DAY, job.was
        crews = [crew.id for crew in self.problem.crews if crew.may(job, spell)]
        alike = {(tuple(self.crews[id, day]), was is not None and id == was.crew): id for id in crews[::-1]}
        ways = {
            (way.minutes, way.road, self._taken(way, day), was is not None and way.tool == was.tool): way
            for way in job.ways[::-1]
        }
        blocked = self._blocked(job)
        for way in ways.values():
            for crew in alike.values():
                busy = [*blocked, *self.crews[crew, day], *self._taken(way, day)]
                start = _earliest(job, spell, way, busy)
                if start is not None:
                    yield Placed(job.id, crew, way.tool, start, start + way.minutes, spell.risk, way.road)

    def _taken(self, way: Way, day: int) -> tuple[Span, ...]:
        return () if way.tool is None else tuple(self.tools[way.tool, day])

    def _blocked(self, job: Job) -> list[Span]:
        """Return when the job may not be on its block: other jobs there, and the waits about them."""
        beside = [self.placed[id] for id in self.problem.near.get(job.id, ()) if id in self.placed]
        return [
            (there.start - self.problem.gap(job, other), there.end + self.problem.gap(other, job))
            for other, there in self.blocks[job.block]
        ] + [(there.start, there.end) for there in beside]

    def _stocked(self, job: Job, spell: Spell) -> bool:
        for stock in self.problem.stocks:
            wanted = job.needs.get(stock.product, 0)
            if wanted and stock.counts(spell.start):
                used = sum(
                    other.needs.get(stock.product, 0) for start, other in self.taken if stock.counts(start)
                )
                if used + wanted > stock.amount:
                    return False
        return True


def _mark(busy: Busy, one: Crew | Tool) -> None:
    for span in one.busy:
        for day in range(span[0] // DAY, (span[1] - 1) // DAY + 1):
            busy[one.id, day].append(span)


def _earliest(job: Job, spell: Spell, way: Way, busy: Sequence[Span]) -> int | None:
    near = [span for span in busy if overlap(span, (spell.start, spell.end))]
    starts = [spell.start, *sorted(end for _, end in near)]
    if job.was is not None and spell.start <= job.was.start < spell.end:
        starts.insert(0, job.was.start)
    for start in starts:
        span = (start, start + way.minutes)
        if spell.start <= start and span[1] <= spell.end and not any(overlap(span, one) for one in near):
            return start
    return None


def greedy(problem: Problem, *, guess: Mapping[str, Spell] | None = None) -> dict[str, Placed]:
    """Return the best of a few plans made job by job, each in another order of the jobs.

    :param guess: a spell for jobs that may be right for them, tried before the others
    """
    plans = [_in_order(problem, sorted(problem.jobs, key=order), {}) for order in _ORDERS]
    for order in _ORDERS if guess else ():
        jobs = sorted(problem.jobs, key=order)
        guessed = [job for job in jobs if job.id in (guess or {})]
        plans.append(
            _in_order(problem, [*guessed, *(job for job in jobs if job not in guessed)], guess or {})
        )
    return min(plans, key=lambda placed: total_risk(problem, placed))


Order = Callable[[Job], tuple[object, ...]]


def _slack(job: Job) -> float:
    return sum(spell.end - spell.start for spell in job.spells) / job.shortest


def _last(job: Job) -> int:
    return max((spell.end for spell in job.spells), default=0)


_ORDERS: tuple[Order, ...] = (
    lambda job: (job.was is None, _slack(job), job.id),
    lambda job: (_last(job), -job.shortest, job.id),
    lambda job: (-job.shortest, _slack(job), job.id),
)


def _in_order(problem: Problem, jobs: Sequence[Job], guess: Mapping[str, Spell]) -> dict[str, Placed]:
    board = Board(problem, guess)
    for job in jobs:
        found = board.place(job)
        if found is not None:
            board.put(job, found)
    return board.placed


def total_risk(problem: Problem, placed: Mapping[str, Placed]) -> int:
    """Return the risk of a plan, in a thousand."""
    return sum(risk_of(problem, job, placed.get(job.id)) for job in problem.jobs)
