"""A plan for a problem: a first one by hand, a bound for all, and CP-SAT in between, within a budget."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

from scheduling.assignment import improve
from scheduling.assignment.by_days import by_days
from scheduling.assignment.exact import Model
from scheduling.assignment.greedy import greedy, total_risk
from scheduling.assignment.problem import Answer, Job, Placed, Problem, Proof, road_of
from scheduling.assignment.relaxed import Relaxed, least_risk, least_road

Places = dict[str, Placed]
SMALL = 400
"""Jobs x (crews + sprayers) that the whole model is made for."""
Tell = Callable[[int], bool]
"""Told how far the work is [%], again and again; True ends it with the best plan so far."""


@dataclass(frozen=True, slots=True)
class Budget:
    """How much may be worked.

    :ivar work: deterministic seconds of CP-SAT for each of the two goals: the same on a slow machine
    :ivar seconds: real seconds for all of it, whatever the machine; where they run out first, a second run
        may differ
    """

    work: float = 8.0
    seconds: float = 24.0


def nobody_listens(_percent: int) -> bool:
    """Go on."""
    return False


def assign(problem: Problem, *, budget: Budget = Budget(), tell: Tell = nobody_listens) -> Answer:
    """Return a plan that keeps every hard limit: least risk first, then least road at that risk."""
    clock = _Clock(budget.seconds)
    relaxed = least_risk(problem, seconds=clock.share(0.2))
    placed, stopped = _first(problem, relaxed, clock.part(0.4), tell)
    risk = total_risk(problem, placed)
    floor = min(risk, relaxed.bound)
    if floor < risk and not stopped:
        placed, floor, stopped = _less_risk(problem, placed, floor, budget, clock.part(0.6), tell)
    proof = Proof(total_risk(problem, placed), floor)
    if stopped or tell(60):
        return _answer(problem, placed, proof, None, stopped=True)
    return _less_road(problem, placed, proof, budget, clock, tell)


def _first(problem: Problem, relaxed: Relaxed, clock: _Clock, tell: Tell) -> tuple[Places, bool]:
    """Return a plan to begin with, and whether somebody ended the search."""
    placed = greedy(problem, guess=relaxed.spells)
    stopped = tell(10)
    if stopped or _small(problem) or total_risk(problem, placed) <= relaxed.bound:
        return placed, stopped
    guessed, stopped = by_days(problem, relaxed.spells, left=clock.left, watch=_watch(tell, 20))
    return min(placed, guessed, key=lambda plan: total_risk(problem, plan)), stopped


def _less_risk(
    problem: Problem, placed: Places, floor: int, budget: Budget, clock: _Clock, tell: Tell
) -> tuple[Places, int, bool]:
    watch = _watch(tell, 30)
    if not _small(problem):
        better, stopped = improve.less_risk(
            problem, placed, floor=floor, work=budget.work, left=clock.left, watch=watch
        )
        return better, floor, stopped
    model = Model(problem)
    model.hint(placed)
    solved = model.least(model.risk, at_least=floor, work=budget.work, seconds=clock.share(1), watch=watch)
    found = solved.value is not None and solved.value < total_risk(problem, placed)
    return (solved.placed if found else placed), max(floor, solved.bound), solved.stopped


def _less_road(
    problem: Problem, placed: Places, risk: Proof, budget: Budget, clock: _Clock, tell: Tell
) -> Answer:
    road = total_road(problem, placed)
    floor = min(road, least_road(problem, risk=risk.value, seconds=clock.share(0.2)))
    stopped, watch = False, _watch(tell, 70)
    if floor < road and not _small(problem):
        placed, stopped = improve.less_road(
            problem, placed, floor=floor, work=budget.work, left=clock.left, watch=watch
        )
    elif floor < road:
        model = Model(problem)
        model.cp.add(model.risk <= risk.value)
        model.hint(placed)
        solved = model.least(
            model.road, at_least=floor, work=budget.work, seconds=clock.share(0.9), watch=watch
        )
        floor, stopped = max(floor, solved.bound), solved.stopped
        if solved.value is not None and solved.value < road:
            placed = solved.placed
    return _answer(problem, placed, risk, Proof(total_road(problem, placed), floor), stopped=stopped)


def _small(problem: Problem) -> bool:
    """Say whether the whole problem is one for CP-SAT; a larger one is improved part by part."""
    return len(problem.jobs) * (len(problem.crews) + len(problem.tools)) <= SMALL


def _watch(tell: Tell, percent: int) -> Callable[[], bool]:
    return lambda: tell(percent)


def total_road(problem: Problem, placed: dict[str, Placed]) -> int:
    """Return the minutes on the road of a plan, with what its drafts gave up."""
    return sum(road_of(problem, job, placed[job.id]) for job in problem.jobs if job.id in placed)


def _answer(
    problem: Problem, placed: dict[str, Placed], risk: Proof, road: Proof | None, *, stopped: bool
) -> Answer:
    early = earlier(problem, placed)
    value = total_road(problem, early)  # a draft may have come back to its hour
    floor = (
        sum(_least_road_of(job) for job in problem.jobs if job.id in early) if road is None else road.bound
    )
    road = Proof(value, min(value, floor))
    order = sorted(early.values(), key=lambda one: (one.start, one.crew, one.job))
    left_out = tuple(job.id for job in problem.jobs if job.id not in placed)
    return Answer(tuple(order), left_out, risk, road, stopped)


def _least_road_of(job: Job) -> int:
    return min(way.road for way in job.ways)


def earlier(problem: Problem, placed: dict[str, Placed]) -> dict[str, Placed]:
    """Return the same plan with each job begun as early in its spell as crew, sprayer and block allow.

    A draft that kept its hour keeps it.
    """
    jobs = {job.id: job for job in problem.jobs}
    crews = {crew.id: list(crew.busy) for crew in problem.crews}
    shares = {crew.id: crew.shares for crew in problem.crews}
    tools = {tool.id: list(tool.busy) for tool in problem.tools}
    done: dict[str, Placed] = {}
    for one in sorted(placed.values(), key=lambda one: (one.start, one.job)):
        job = jobs[one.job]
        spell = next(spell for spell in job.spells if spell.start <= one.start < spell.end)
        ends = [spell.start]
        if job.was is not None and job.was.start == one.start:
            ends.append(one.start)
        busy = crews[one.crew] + (tools[one.tool] if one.tool is not None else [])
        ends += [end for _, end in busy if end <= one.start]
        for other in done.values():
            if problem.meet(job, jobs[other.job]):
                ends.append(other.end + problem.gap(jobs[other.job], job))
        start = max(ends)
        moved = Placed(one.job, one.crew, one.tool, start, start + one.end - one.start, one.risk, one.road)
        done[one.job] = moved
        for crew in (one.crew, *shares[one.crew]):
            crews.setdefault(crew, []).append((start, moved.end))
        if one.tool is not None:
            tools[one.tool].append((start, moved.end))
    return done


class _Clock:
    """The real seconds that are left."""

    def __init__(self, seconds: float) -> None:
        self._end = time.monotonic() + seconds

    def left(self) -> float:
        """Return the seconds that are left."""
        return self._end - time.monotonic()

    def share(self, part: float) -> float:
        """Return a part of what is left, and never nothing."""
        return max(0.2, part * self.left())

    def part(self, part: float) -> _Clock:
        """Return a clock for a part of what is left."""
        return _Clock(self.share(part))
