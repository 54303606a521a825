"""The whole model for CP-SAT: every job's spell, sprayer, crew and minute, with every hard limit.

Each spell, sprayer and crew of a job is a switch; a job is an interval that its crew's and its sprayer's
day holds only one of at a time. First the risk is made least, then the road at that risk.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from itertools import combinations
from typing import Any

from ortools.sat.python import cp_model

from scheduling.assignment.problem import (
    Job,
    Placed,
    Problem,
    moved_day,
    spell_at,
)

SEED = 7
LOOK = 0.25
"""Seconds between two looks at whether somebody wants the run to end."""

Watch = Callable[[], bool]
"""Asked again and again while a model is solved; True ends it, with the best plan so far."""


@dataclass(slots=True)
class Switches:
    """The variables of one job."""

    start: cp_model.IntVar
    size: Any
    end: Any
    spells: list[cp_model.IntVar]
    ways: list[cp_model.IntVar]
    crews: dict[str, cp_model.IntVar]
    planned: cp_model.IntVar
    kept: list[cp_model.IntVar] = field(default_factory=list)
    """What a draft keeps: its hour, its crew, its sprayer."""


class Model:
    """The model of one problem, and the plans it gives."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.cp = cp_model.CpModel()
        self.jobs = {job.id: self._switches(job) for job in problem.jobs if job.fits}
        self._by_id = {job.id: job for job in problem.jobs}
        self._one_at_a_time()
        self._blocks()
        self._stocks()
        self.risk = self._risk()
        self.road = self._road()

    def _switches(self, job: Job) -> Switches:
        cp, name = self.cp, job.id
        planned = cp.new_bool_var(f"{name} is planned")
        spans = [[spell.start, spell.end - job.shortest] for spell in job.spells]
        start = cp.new_int_var_from_domain(
            cp_model.Domain.from_intervals([span for span in spans if span[0] <= span[1]]), f"{name} starts"
        )
        spells = [cp.new_bool_var(f"{name} in {spell.start}") for spell in job.spells]
        ways = [cp.new_bool_var(f"{name} by {way.tool}") for way in job.ways]
        able = [crew for crew in self.problem.crews if any(crew.may(job, spell) for spell in job.spells)]
        crews = {crew.id: cp.new_bool_var(f"{name} of {crew.id}") for crew in able}
        lengths = {way.minutes for way in job.ways}
        size: Any = job.shortest
        end: Any = start + size
        if len(lengths) > 1:
            end = cp.new_int_var(0, max(spell.end for spell in job.spells), f"{name} ends")
            size = cp.new_int_var_from_domain(cp_model.Domain.from_values(sorted(lengths)), f"{name} takes")
            for way, chosen in zip(job.ways, ways, strict=True):
                cp.add(size == way.minutes).only_enforce_if(chosen)
            cp.add(end == start + size)
        for choice in (spells, ways, list(crews.values())):
            cp.add(sum(choice) == planned)
        made = Switches(start, size, end, spells, ways, crews, planned)
        for spell, chosen in zip(job.spells, spells, strict=True):
            cp.add(start >= spell.start).only_enforce_if(chosen)
            cp.add(made.end <= spell.end).only_enforce_if(chosen)
            for crew in able:
                if not crew.may(job, spell):
                    cp.add_bool_or(chosen.negated(), crews[crew.id].negated())
        self._draft(job, made)
        return made

    def _draft(self, job: Job, made: Switches) -> None:
        """Let a draft say what it keeps."""
        if job.was is None:
            return
        tools = [way.tool for way in job.ways]
        if job.was.crew in made.crews:
            made.kept.append(made.crews[job.was.crew])
        if job.was.tool in tools:
            made.kept.append(made.ways[tools.index(job.was.tool)])
        kept = self.cp.new_bool_var(f"{job.id} keeps its hour")
        self.cp.add(made.start == job.was.start).only_enforce_if(kept)
        self.cp.add_implication(kept, made.planned)
        made.kept.append(kept)

    def _one_at_a_time(self) -> None:
        days = {
            crew.id: [
                self._interval(job, made, made.crews[crew.id])
                for job, made in self.jobs.items()
                if crew.id in made.crews
            ]
            for crew in self.problem.crews
        }
        for crew in self.problem.crews:
            self.cp.add_no_overlap([*days[crew.id], *self._busy(crew.busy)])
            for other in crew.shares:
                if crew.id < other and other in days:
                    self.cp.add_no_overlap([*days[crew.id], *days[other]])
        for tool in self.problem.tools:
            held = [
                self._interval(job, made, chosen)
                for job, made in self.jobs.items()
                for way, chosen in zip(self._by_id[job].ways, made.ways, strict=True)
                if way.tool == tool.id
            ]
            self.cp.add_no_overlap([*held, *self._busy(tool.busy)])

    def _interval(self, job: str, made: Switches, chosen: cp_model.IntVar) -> cp_model.IntervalVar:
        return self.cp.new_optional_interval_var(made.start, made.size, made.end, chosen, job)

    def _busy(self, spans: Iterable[tuple[int, int]]) -> list[cp_model.IntervalVar]:
        return [self.cp.new_fixed_size_interval_var(start, end - start, "busy") for start, end in spans]

    def _blocks(self) -> None:
        """On one block one job at a time, and from one to the next what the labels want."""
        by_block: dict[str, list[Job]] = {}
        for job in self.problem.jobs:
            if job.id in self.jobs:
                by_block.setdefault(job.block, []).append(job)
        for jobs in by_block.values():
            for one, other in combinations(jobs, 2):
                self._one_before_the_other(one, other)
        for id, others in self.problem.near.items():
            for beside in others:
                if id < beside and id in self.jobs and beside in self.jobs:
                    self._one_before_the_other(self._by_id[id], self._by_id[beside])

    def _one_before_the_other(self, one: Job, other: Job) -> None:
        first, then = self.jobs[one.id], self.jobs[other.id]
        both = [first.planned, then.planned]
        order = self.cp.new_bool_var(f"{one.id} before {other.id}")
        self.cp.add(then.start >= first.end + self.problem.gap(one, other)).only_enforce_if([order, *both])
        self.cp.add(first.start >= then.end + self.problem.gap(other, one)).only_enforce_if(
            [order.negated(), *both]
        )

    def _stocks(self) -> None:
        for stock in self.problem.stocks:
            self.cp.add(
                sum(
                    self._by_id[job].needs.get(stock.product, 0) * chosen
                    for job, made in self.jobs.items()
                    for spell, chosen in zip(self._by_id[job].spells, made.spells, strict=True)
                    if stock.counts(spell.start)
                )
                <= stock.amount
            )

    def _risk(self) -> Any:
        found: Any = sum(self.problem.missed(job) for job in self.problem.jobs if job.id not in self.jobs)
        for name, made in self.jobs.items():
            job = self._by_id[name]
            found += self.problem.missed(job) * made.planned.negated()
            for spell, chosen in zip(job.spells, made.spells, strict=True):
                found += (spell.risk + moved_day(self.problem, job, spell)) * chosen
        return found

    def _road(self) -> Any:
        found: Any = 0
        for name, made in self.jobs.items():
            for way, chosen in zip(self._by_id[name].ways, made.ways, strict=True):
                found += way.road * chosen
            if self._by_id[name].was is not None:
                found += self.problem.stay * (3 * made.planned - sum(made.kept))
        return found

    def hint(self, placed: Mapping[str, Placed]) -> None:
        """Begin with a plan that is known."""
        self.cp.clear_hints()  # type: ignore[no-untyped-call]
        for name, made in self.jobs.items():
            job, there = self._by_id[name], placed.get(name)
            self.cp.add_hint(made.planned, there is not None)
            if there is None:
                for off in (*made.spells, *made.ways, *made.crews.values()):
                    self.cp.add_hint(off, False)
                continue
            self.cp.add_hint(made.start, there.start)
            spell = spell_at(job, there.start)
            for one, chosen in zip(job.spells, made.spells, strict=True):
                self.cp.add_hint(chosen, one == spell)
            for way, chosen in zip(job.ways, made.ways, strict=True):
                self.cp.add_hint(chosen, way.tool == there.tool)
            for crew, chosen in made.crews.items():
                self.cp.add_hint(chosen, crew == there.crew)

    def least(self, goal: Any, *, at_least: int, work: float, seconds: float, watch: Watch) -> Solved:
        """Make one goal least, for so much work [deterministic seconds] and at most so many real seconds."""
        self.cp.minimize(goal)
        solver = cp_model.CpSolver()
        parameters = solver.parameters
        parameters.num_workers = 1
        parameters.random_seed = SEED
        parameters.interleave_search = False
        parameters.max_deterministic_time = work
        parameters.max_time_in_seconds = seconds
        parameters.symmetry_level = 1
        status, stopped = _watched(solver, self.cp, watch)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return Solved({}, False, None, at_least, stopped)
        value = round(solver.objective_value)
        bound = value if status == cp_model.OPTIMAL else max(at_least, round(solver.best_objective_bound))
        return Solved(self._placed(solver), True, value, min(bound, value), stopped)

    def _placed(self, solver: cp_model.CpSolver) -> dict[str, Placed]:
        return {
            name: self._read(solver, self._by_id[name], made)
            for name, made in self.jobs.items()
            if solver.boolean_value(made.planned)
        }

    def _read(self, solver: cp_model.CpSolver, job: Job, made: Switches) -> Placed:
        start = solver.value(made.start)
        way = next(
            way for way, chosen in zip(job.ways, made.ways, strict=True) if solver.boolean_value(chosen)
        )
        crew = next(crew for crew, chosen in made.crews.items() if solver.boolean_value(chosen))
        risk = spell_at(job, start).risk
        return Placed(job.id, crew, way.tool, start, start + way.minutes, risk, way.road)


@dataclass(frozen=True, slots=True)
class Solved:
    """What one solve came to; `value` None where no plan was found in time."""

    placed: dict[str, Placed]
    found: bool
    value: int | None
    bound: int
    stopped: bool


def _watched(solver: cp_model.CpSolver, cp: cp_model.CpModel, watch: Watch) -> tuple[Any, bool]:
    """Solve in a thread of its own, and look in between whether somebody wants it to end."""
    status: list[Any] = []
    work = threading.Thread(target=lambda: status.append(solver.solve(cp)), daemon=True)
    work.start()
    stopped = False
    while work.is_alive():
        if not stopped and watch():
            stopped = True
        if stopped:
            solver.stop_search()
        work.join(LOOK)
    return (status[0] if status else cp_model.UNKNOWN), stopped
