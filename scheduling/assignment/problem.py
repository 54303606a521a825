"""What is to be assigned, in whole minutes from the first midnight of the plan, and the answer to it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise

Span = tuple[int, int]
"""From a minute, included, until a minute, not included."""
DAY = 24 * 60
LEFT_OUT = 1000
"""The risk, in a thousand, of a spray that is not in the plan: it is missed. A plan's own stays below."""


@dataclass(frozen=True, slots=True)
class Way:
    """One sprayer that a job may be done with; None for work without one.

    :ivar minutes: from the first filling to the last rinse
    :ivar road: minutes of them that go into filling and driving
    """

    tool: str | None
    minutes: int
    road: int = 0


@dataclass(frozen=True, slots=True)
class Spell:
    """Open minutes in a row of one day; `risk` is in a thousand, below `LEFT_OUT`."""

    start: int
    end: int
    risk: int = 0


@dataclass(frozen=True, slots=True)
class Was:
    """Where a draft stands now, so that it is moved only for a gain."""

    crew: str | None
    tool: str | None
    start: int


@dataclass(frozen=True, slots=True)
class Job:
    """One line on one block.

    :ivar spells: when it may be done, in order of time; they do not overlap
    :ivar needs: what it takes of each product, in whole units that `Stock` counts in
    :ivar handled: somebody must do it who may handle pesticides
    :ivar asks: what else they must hold: a licence, a fit test
    """

    id: str
    block: str
    ways: tuple[Way, ...]
    spells: tuple[Spell, ...]
    needs: Mapping[str, int] = field(default_factory=dict)
    handled: bool = True
    was: Was | None = None
    asks: tuple[str, ...] = ()

    @property
    def shortest(self) -> int:
        """The minutes that it takes at least."""
        return min(way.minutes for way in self.ways)

    @property
    def fits(self) -> bool:
        """Whether any of its spells is long enough for it."""
        return bool(self.ways) and any(spell.end - spell.start >= self.shortest for spell in self.spells)


@dataclass(frozen=True, slots=True)
class Crew:
    """People who go out together; `busy` with other work, `unqualified` where nobody of them may handle.

    :ivar lacking: when they do not hold what jobs ask for besides, by what those ask for
    :ivar shares: crews that somebody of this one belongs to as well: they are never out at the same time
    """

    id: str
    busy: tuple[Span, ...] = ()
    unqualified: tuple[Span, ...] = ()
    lacking: Mapping[tuple[str, ...], tuple[Span, ...]] = field(default_factory=dict)
    shares: tuple[str, ...] = ()

    def may(self, job: Job, spell: Spell) -> bool:
        """Say whether the crew may do a job in a spell."""
        return not any(overlap((spell.start, spell.end), span) for span in self.closed(job))

    def closed(self, job: Job) -> tuple[Span, ...]:
        """Return when nobody of the crew may do a job."""
        return self.unqualified + self.lacking.get(job.asks, ()) if job.handled else ()


@dataclass(frozen=True, slots=True)
class Tool:
    """A sprayer; `busy` in other work."""

    id: str
    busy: tuple[Span, ...] = ()


@dataclass(frozen=True, slots=True)
class Stock:
    """What jobs that begin from a minute on may take of a product: of lots that are still good by then.

    It begins and ends at night, so that no spell lies across its ends.

    :ivar until: from this minute on there can be as much as is wanted, since more can be bought by then
    """

    product: str
    since: int
    amount: int
    until: int | None = None

    def counts(self, start: int) -> bool:
        """Say whether a job that begins then takes of this."""
        return self.since <= start and (self.until is None or start < self.until)


@dataclass(frozen=True, slots=True)
class Problem:
    """Everything that an assignment depends on.

    :ivar gaps: minutes from the end of one job to the start of another on the same block, by (first, then);
        jobs on one block never overlap, with or without a gap
    :ivar near: jobs on other blocks that are never at the same time as a job, by the job
    :ivar keep: what a draft's day is worth, in a thousand: it is moved for a gain above that
    """

    jobs: tuple[Job, ...]
    crews: tuple[Crew, ...]
    tools: tuple[Tool, ...] = ()
    gaps: Mapping[tuple[str, str], int] = field(default_factory=dict)
    stocks: tuple[Stock, ...] = ()
    keep: int = 20
    stay: int = 30
    """Minutes on the road that it is worth to leave a draft its hour, its crew and its sprayer, each."""
    near: Mapping[str, frozenset[str]] = field(default_factory=dict)
    drop: int = 20
    """What it costs more to leave out a draft than what nobody has planned yet, in a thousand."""

    def missed(self, job: Job) -> int:
        """Return the risk of leaving a job out."""
        return LEFT_OUT + (self.drop if job.was is not None else 0)

    def meet(self, one: Job, other: Job) -> bool:
        """Say whether two jobs are never at the same time because of where they are."""
        return one.block == other.block or other.id in self.near.get(one.id, ())

    def gap(self, first: Job, then: Job) -> int:
        """Return the minutes from the end of one to the start of the other on its block."""
        return self.gaps.get((first.id, then.id), 0)


@dataclass(frozen=True, slots=True)
class Placed:
    """A job with its place: who, with what, from when to when."""

    job: str
    crew: str
    tool: str | None
    start: int
    end: int
    risk: int
    road: int


@dataclass(frozen=True, slots=True)
class Proof:
    """What a plan comes to beside what no plan can go below."""

    value: int
    bound: int

    @property
    def gap_percent(self) -> float:
        """How far, at most, the plan may be from the best there is [% of the plan's value]."""
        return 0.0 if self.value <= self.bound else round(100 * (self.value - self.bound) / self.value, 2)


@dataclass(frozen=True, slots=True)
class Answer:
    """A plan in order of time, the ids of the jobs left out in the order given, and what is proven of it.

    :ivar risk: risk of missing a limit, in a thousand, with what is left out and drafts that moved a day
    :ivar road: minutes of filling and driving, with what drafts gave up to stay; at that risk
    """

    placed: tuple[Placed, ...]
    left_out: tuple[str, ...]
    risk: Proof
    road: Proof
    stopped: bool = False

    @property
    def gap_percent(self) -> float:
        """The larger of the two gaps."""
        return max(self.risk.gap_percent, self.road.gap_percent)


def overlap(one: Span, other: Span) -> bool:
    """Say whether two spans share a minute."""
    return one[0] < other[1] and other[0] < one[1]


def without(span: Span, busy: tuple[Span, ...]) -> tuple[Span, ...]:
    """Return what of a span is free, in order of time."""
    edges = sorted(one for one in busy if overlap(one, span))
    cuts = [(span[0], span[0]), *edges, (span[1], span[1])]
    free, reached = [], span[0]
    for _, (start, end) in pairwise(cuts):
        if start > reached:
            free.append((reached, start))
        reached = max(reached, end)
    return tuple(free)


def risk_of(problem: Problem, job: Job, placed: Placed | None) -> int:
    """Return what a job's place costs in risk: its own, and a day given up by a draft."""
    if placed is None:
        return problem.missed(job)
    return placed.risk + moved_day(problem, job, spell_at(job, placed.start))


def moved_day(problem: Problem, job: Job, spell: Spell) -> int:
    """Return the price of a spell other than the one that a draft stands in."""
    if job.was is None:
        return 0
    stood = any(one.start <= job.was.start < one.end for one in job.spells)
    return problem.keep if stood and not spell.start <= job.was.start < spell.end else 0


def road_of(problem: Problem, job: Job, placed: Placed) -> int:
    """Return what a job's place costs on the road, and what a draft gave up of its hour, crew, sprayer."""
    if job.was is None:
        return placed.road
    was = job.was
    changes = (placed.start != was.start) + (placed.crew != was.crew) + (placed.tool != was.tool)
    return placed.road + problem.stay * changes


def spell_at(job: Job, minute: int) -> Spell:
    """Return the spell that holds a minute."""
    return next(spell for spell in job.spells if spell.start <= minute < spell.end)
