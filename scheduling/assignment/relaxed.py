"""What no plan can go below: the same jobs with the minutes of a day added up, not laid out.

A plan that keeps every limit also keeps these sums, so the least that they allow is a bound for all plans.
Solved as a mixed-integer programme by HiGHS (scipy.optimize.milp), whose own dual bound holds even where its
time runs out.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice, permutations
from math import ceil
from operator import mul

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

from scheduling.assignment.problem import (
    DAY,
    LEFT_OUT,
    Crew,
    Job,
    Problem,
    Span,
    Spell,
    Tool,
    moved_day,
    without,
)

MOST_DAYS = 300
"""So many ways to fill a day are written out; where there are more, days are counted by number and share."""
LENGTHS = 6
"""So many lengths of jobs a day are counted by number as well as by minutes."""


@dataclass(frozen=True, slots=True)
class Choice:
    """A job in a spell, by a kind of way: sprayers that take as long are one kind."""

    job: Job
    spell: Spell
    minutes: int
    road: int
    tools: tuple[str, ...]

    @property
    def day(self) -> int:
        """The day of the plan, from 0 on."""
        return self.spell.start // DAY


PARTS = (1, 2, 3, 4, 5)
"""A job above half, a third … of a crew's day counts as that much of it."""


class Rows:
    """The rows of the programme: sums of columns with an upper and a lower end; and each column's own."""

    def __init__(self, columns: int) -> None:
        self.most: list[float] = [1.0] * columns
        self.entries: list[tuple[int, int, float]] = []
        self.low: list[float] = []
        self.high: list[float] = []

    def add(self, terms: dict[int, float], *, low: float = -np.inf, high: float = np.inf) -> None:
        """Add one row."""
        row = len(self.low)
        self.entries += [(row, column, value) for column, value in terms.items()]
        self.low.append(low)
        self.high.append(high)

    def column(self, most: int) -> int:
        """Add a column of whole numbers from 0 to `most`."""
        self.most.append(most)
        return len(self.most) - 1

    def constraint(self) -> LinearConstraint:
        """Return the rows as scipy takes them."""
        rows, places, values = zip(*self.entries, strict=True)
        matrix = csr_array((values, (rows, places)), shape=(len(self.low), len(self.most)))
        return LinearConstraint(matrix, self.low, self.high)


@dataclass(frozen=True, slots=True)
class Relaxed:
    """A bound, and the spell that each job had where it was reached: a good guess for a plan."""

    bound: int
    spells: Mapping[str, Spell]


def least_risk(problem: Problem, *, seconds: float) -> Relaxed:
    """Return a risk, in a thousand, that no plan goes below."""
    choices = list(_choices(problem))
    return _least(problem, choices, _risks(problem, choices), seconds=seconds)


def least_road(problem: Problem, *, risk: int, seconds: float) -> int:
    """Return minutes on the road that no plan of at most that risk goes below."""
    choices = list(_choices(problem))
    solved = _least(problem, choices, _roads(choices, len(problem.jobs)), seconds=seconds, risk=risk)
    return max(solved.bound, _least_by_number(problem, risk))


def _least_by_number(problem: Problem, risk: int) -> int:
    """Return the least road of as many jobs as that risk lets nobody leave out, each by its shortest way."""
    roads = sorted(min(way.road for way in job.ways) for job in problem.jobs if job.fits)
    never = len(problem.jobs) - len(roads)
    return sum(roads[: max(0, len(roads) - (risk // LEFT_OUT - never))])


def _choices(problem: Problem) -> Iterator[Choice]:
    for job in problem.jobs:
        kinds: dict[tuple[int, int], list[str]] = defaultdict(list)
        for way in job.ways:
            kinds[way.minutes, way.road] += [] if way.tool is None else [way.tool]
        for spell in job.spells:
            for (minutes, road), tools in kinds.items():
                if minutes <= spell.end - spell.start:
                    yield Choice(job, spell, minutes, road, tuple(tools))


def _risks(problem: Problem, choices: list[Choice]) -> np.ndarray:
    costs = [choice.spell.risk + moved_day(problem, choice.job, choice.spell) for choice in choices]
    return np.array(costs + [problem.missed(job) for job in problem.jobs], dtype=float)


def _roads(choices: list[Choice], jobs: int) -> np.ndarray:
    return np.array([choice.road for choice in choices] + [0] * jobs, dtype=float)


def _least(
    problem: Problem, choices: list[Choice], costs: np.ndarray, *, seconds: float, risk: int | None = None
) -> Relaxed:
    if not choices:
        return Relaxed(0 if risk is not None else sum(map(problem.missed, problem.jobs)), {})
    rows = Rows(len(costs))
    _each_job_once(problem, choices, rows)
    _minutes_of_crews(problem, choices, rows)
    _minutes_of_tools(problem, choices, rows)
    _stocks(problem, choices, rows)
    _blocks(problem, choices, rows)
    if risk is not None:
        rows.add(dict(enumerate(_risks(problem, choices))), high=risk)
    found = milp(
        np.pad(costs, (0, len(rows.most) - len(costs))),
        constraints=rows.constraint(),
        bounds=Bounds(0, rows.most),
        integrality=np.ones(len(rows.most)),
        options={"time_limit": seconds},
    )
    bound = getattr(found, "mip_dual_bound", None)
    known = 0 if bound is None or not np.isfinite(bound) else max(0, ceil(bound - 1e-4))
    taken: list[int] = [] if found.x is None else np.flatnonzero(found.x[: len(choices)] > 0.5).tolist()
    return Relaxed(known, {choices[place].job.id: choices[place].spell for place in taken})


def _each_job_once(problem: Problem, choices: list[Choice], rows: Rows) -> None:
    """A job is in one spell by one way, or left out: the last columns."""
    terms: dict[str, dict[int, float]] = {
        job.id: {len(choices) + place: 1.0} for place, job in enumerate(problem.jobs)
    }
    for column, choice in enumerate(choices):
        terms[choice.job.id][column] = 1.0
    for one in terms.values():
        rows.add(one, low=1, high=1)


def _minutes_of_crews(problem: Problem, choices: list[Choice], rows: Rows) -> None:
    """The minutes of a day's jobs fit into the minutes of the crews; of those that may handle, likewise."""
    groups: dict[tuple[int, bool], list[int]] = defaultdict(list)
    for column, choice in enumerate(choices):
        groups[choice.day, False].append(column)
        if choice.job.handled:
            groups[choice.day, True].append(column)
    for (_, handled), columns in groups.items():
        spans = [(choices[column].spell.start, choices[column].spell.end) for column in columns]
        free = [_free(crew, spans, handled=handled) for crew in problem.crews]
        _fits(choices, columns, free, rows)


def _minutes_of_tools(problem: Problem, choices: list[Choice], rows: Rows) -> None:
    """The same for the sprayers of each kind."""
    tools = {tool.id: tool for tool in problem.tools}
    by_day: dict[int, list[int]] = defaultdict(list)
    for column, choice in enumerate(choices):
        if choice.tools:
            by_day[choice.day].append(column)
    for columns in by_day.values():
        for names in sorted({choices[column].tools for column in columns}):
            within = [column for column in columns if set(choices[column].tools) <= set(names)]
            spans = [(choices[column].spell.start, choices[column].spell.end) for column in within]
            _fits(choices, within, [_free(tools[name], spans) for name in names], rows)


def _fits(choices: list[Choice], columns: list[int], free: list[int], rows: Rows) -> None:
    """Add up minutes, and number the jobs of each length: two above half a day need two crews."""
    total = sum(free)
    if not total:
        rows.add(dict.fromkeys(columns, 1.0), high=0)
        return
    if sum(choices[column].minutes for column in columns) > total:
        rows.add({column: float(choices[column].minutes) for column in columns}, high=total)
    lengths = sorted({choices[column].minutes for column in columns}, reverse=True)
    full = {minutes: list(islice(_full_days(minutes, lengths), MOST_DAYS + 1)) for minutes in set(free)}
    if sum(map(len, full.values())) <= MOST_DAYS:
        _days_of_jobs(choices, columns, free, full, lengths, rows)
        return
    for length in lengths[:: max(1, len(lengths) // LENGTHS)]:
        long = [column for column in columns if choices[column].minutes >= length]
        fit = sum(minutes // length for minutes in free)
        if len(long) > fit:
            rows.add(dict.fromkeys(long, 1.0), high=fit)
    for parts in PARTS:
        shares = {column: _share(choices[column].minutes, max(free), parts) for column in columns}
        some = {column: share for column, share in shares.items() if share}
        whole = sum(1 for minutes in free if minutes)
        if sum(some.values()) > whole:
            rows.add(some, high=whole)


def _full_days(minutes: int, lengths: Sequence[int]) -> Iterator[tuple[int, ...]]:
    """Yield how many jobs of each length, the longest first, fill a day so that not one more goes in."""
    if len(lengths) == 1:
        yield (minutes // lengths[0],)
        return
    for number in range(minutes // lengths[0], -1, -1):
        for rest in _full_days(minutes - number * lengths[0], lengths[1:]):
            left = minutes - number * lengths[0] - sum(map(mul, rest, lengths[1:]))
            if left < lengths[0]:
                yield (number, *rest)


def _days_of_jobs(
    choices: list[Choice],
    columns: list[int],
    free: list[int],
    full: Mapping[int, list[tuple[int, ...]]],
    lengths: Sequence[int],
    rows: Rows,
) -> None:
    """Each day of somebody is one of the ways to fill it, and the jobs of each length find their places.

    The patterns of P. Gilmore and R. Gomory, A linear programming approach to the cutting-stock problem,
    Operations Research 9:849-859, 1961 (from memory).
    """
    places: dict[int, dict[int, float]] = {length: {} for length in lengths}
    for minutes, days in full.items():
        taken = [(rows.column(free.count(minutes)), day) for day in days]
        rows.add({column: 1.0 for column, _ in taken}, high=free.count(minutes))
        for column, day in taken:
            for length, number in zip(lengths, day, strict=True):
                places[length][column] = -float(number)
    for length in lengths:
        jobs = {column: 1.0 for column in columns if choices[column].minutes == length}
        rows.add(jobs | places[length], high=0)


def _share(minutes: int, of: int, parts: int) -> float:
    """Return a share of one crew's day that shares of its jobs never add up to more than one of.

    The dual feasible function u(k) of S. Fekete and J. Schepers, New classes of fast lower bounds for bin
    packing problems, Mathematical Programming 91:11-31, 2001 (from memory).
    """
    times = minutes * (parts + 1)
    return minutes / of if times % of == 0 else (times // of) / parts


def _free(one: Crew | Tool, spans: list[Span], *, handled: bool = False) -> int:
    """Return the minutes that somebody is free within any of the spans."""
    busy = one.busy + (one.unqualified if handled and isinstance(one, Crew) else ())  # `lacking` forgotten
    return sum(end - start for span in _joined(spans) for start, end in without(span, busy))


def _joined(spans: list[Span]) -> list[Span]:
    joined: list[Span] = []
    for start, end in sorted(set(spans)):
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end))
        else:
            joined.append((start, end))
    return joined


def _stocks(problem: Problem, choices: list[Choice], rows: Rows) -> None:
    for stock in problem.stocks:
        terms = {
            column: float(choice.job.needs[stock.product])
            for column, choice in enumerate(choices)
            if stock.counts(choice.spell.start) and choice.job.needs.get(stock.product)
        }
        if terms and sum(terms.values()) > stock.amount:  # as shares, whatever the units are
            whole = max(1, stock.amount)
            shares = {column: amount / whole for column, amount in terms.items()}
            rows.add(shares, high=stock.amount / whole)


def _blocks(problem: Problem, choices: list[Choice], rows: Rows) -> None:
    """Two jobs of one block do not stand in spells that leave no room for the wait between them."""
    by_block: dict[str, dict[str, list[int]]] = defaultdict(lambda: defaultdict(list))
    for column, choice in enumerate(choices):
        by_block[choice.job.block][choice.job.id].append(column)
    for jobs in by_block.values():
        for one, other in permutations(jobs.values(), 2):
            for column in one:
                apart = [there for there in other if not _both_fit(problem, choices[column], choices[there])]
                if apart:
                    rows.add({column: 1.0, **dict.fromkeys(apart, 1.0)}, high=1)


def _both_fit(problem: Problem, one: Choice, other: Choice) -> bool:
    return _fits_before(problem, one, other) or _fits_before(problem, other, one)


def _fits_before(problem: Problem, first: Choice, then: Choice) -> bool:
    """Say whether one, begun as early as it can, leaves the other its wait and its minutes."""
    ready = first.spell.start + first.minutes + problem.gap(first.job, then.job)
    return max(ready, then.spell.start) + then.minutes <= then.spell.end
