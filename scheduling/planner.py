"""Whole days for a programme, one job after the other: draft jobs, and what was left out with the reason.

Where crews, sprayers and hours are to be shared out, `assignment` does it. A line with a leaf-drop condition
is a leaf-fall spray: it takes the earliest fit day. A line that ends at a bud stage takes the best open day
that still lies before the last safe day. The same input gives the same plan.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from mixing.quantities import plain
from scheduling.forecast import LastSafeDay
from scheduling.lines import BlockSeen, LeftOut, ProgrammeLine, barred, not_before
from scheduling.reasons import shown
from scheduling.spray_days import DayVerdict

BUD_SWELL_LEAD = timedelta(days=28)
"""How long before the forecast budburst a spray counts as one at bud swell (our estimate, no source)."""


@dataclass(frozen=True, slots=True)
class DraftJob:
    """A job that may be issued: line, block and day, with the reasons that led to the day."""

    line: str
    block: str
    on: date
    because: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """Jobs in order of day, line and block; what was left out in the order of lines and blocks."""

    jobs: tuple[DraftJob, ...]
    left_out: tuple[LeftOut, ...]


def plan(
    *,
    lines: Sequence[ProgrammeLine],
    blocks: Iterable[BlockSeen],
    days: Mapping[str, Sequence[DayVerdict]],
    last_safe: LastSafeDay | None,
    on: date,
    loads_a_day: int | None = None,
    loads: Mapping[str, int] | None = None,
) -> Plan:
    """Return the draft jobs that can be made on the day `on`.

    :param days: verdicts on the days ahead for each line id, each with the limits of that line's products
    :param last_safe: last day before bud colour; wanted by lines that end at a bud stage
    :param loads_a_day: tank loads that the crew can do in a day; `loads` says how many each block takes
    """
    seen = {block.block: block for block in blocks}
    room = _Room(loads_a_day, dict(loads or {}), {})
    jobs: list[DraftJob] = []
    left_out: list[LeftOut] = []
    for line in lines:
        for name in line.blocks:
            block = seen.get(name, BlockSeen(name))
            ahead = [verdict for verdict in days.get(line.id, ()) if verdict.day.on >= on]
            made = _job(line, block, ahead, last_safe, room)
            (jobs if isinstance(made, DraftJob) else left_out).append(made)  # type: ignore[arg-type]
    order = {line.id: place for place, line in enumerate(lines)}
    return Plan(tuple(sorted(jobs, key=lambda job: (job.on, order[job.line], job.block))), tuple(left_out))


@dataclass(slots=True)
class _Room:
    """Loads already planned for each day."""

    a_day: int | None
    loads: dict[str, int]
    used: dict[date, int]

    def has(self, on: date, block: str) -> bool:
        planned, wanted = self.used.get(on, 0), self.loads.get(block, 1)
        return self.a_day is None or planned == 0 or planned + wanted <= self.a_day

    def take(self, on: date, block: str) -> None:
        self.used[on] = self.used.get(on, 0) + self.loads.get(block, 1)


def _job(
    line: ProgrammeLine,
    block: BlockSeen,
    ahead: Sequence[DayVerdict],
    last_safe: LastSafeDay | None,
    room: _Room,
) -> DraftJob | LeftOut:
    reason = barred(line, block)
    if reason is not None:
        return reason
    earliest = not_before(line, block)
    if line.leaf_drop_minimum_percent is not None:
        fit, why = _leaf_fall_days(ahead, earliest), "the earliest fit day"
    elif last_safe is None:
        return LeftOut(
            line.id, block.block, "no_forecast", "no forecast of budburst: no last safe day is known"
        )
    else:
        fit, why = _bud_swell_days(ahead, earliest, last_safe), f"the best open day before {last_safe.on}"
    if not fit:
        return _no_day(line, block, ahead, last_safe)
    free = [verdict for verdict in fit if room.has(verdict.day.on, block.block)]
    if not free:
        return _no_crew(line, block, fit, room)
    chosen = free[0]
    room.take(chosen.day.on, block.block)
    return DraftJob(line.id, block.block, chosen.day.on, _because(line, block, chosen, why, last_safe))


def _leaf_fall_days(ahead: Sequence[DayVerdict], earliest: date) -> list[DayVerdict]:
    return [verdict for verdict in ahead if verdict.open and verdict.day.on >= earliest]


def _bud_swell_days(ahead: Sequence[DayVerdict], earliest: date, last_safe: LastSafeDay) -> list[DayVerdict]:
    opens = max(earliest, last_safe.rests_on.predicted - BUD_SWELL_LEAD)
    fit = [v for v in ahead if v.open and opens <= v.day.on <= last_safe.on]
    return sorted(fit, key=lambda v: (-min(v.dry_days_after, 2), _wind(v), v.day.on))


def _wind(verdict: DayVerdict) -> Decimal:
    return verdict.day.wind.in_base() if verdict.day.wind is not None else Decimal(0)


def _no_day(
    line: ProgrammeLine, block: BlockSeen, ahead: Sequence[DayVerdict], last_safe: LastSafeDay | None
) -> LeftOut:
    bounded = line.leaf_drop_minimum_percent is None and last_safe is not None
    looked = [v for v in ahead if not bounded or v.day.on <= last_safe.on]  # type: ignore[union-attr]
    if not looked:
        says = f"no weather is known for a day before {last_safe.on}" if bounded else "no weather is known"  # type: ignore[union-attr]
        return LeftOut(line.id, block.block, "no_open_day", says)
    closed = [v for v in looked if not v.open]
    says = f"{len(closed)} of {len(looked)} days from {looked[0].day.on} to {looked[-1].day.on} are closed"
    limits = sorted({reason.limit.value for v in closed for reason in v.closed_by})
    if limits:
        says += f" by {', '.join(limits)}"
    if len(closed) < len(looked):
        says += "; the open ones are not among the line's days"
    return LeftOut(line.id, block.block, "no_open_day", says)


def _no_crew(line: ProgrammeLine, block: BlockSeen, fit: Sequence[DayVerdict], room: _Room) -> LeftOut:
    open_days = ", ".join(str(verdict.day.on) for verdict in fit)
    says = (
        f"open on {open_days}, but {block.block} takes {room.loads.get(block.block, 1)} loads and the crew's "
        f"{room.a_day} a day are taken: add a crew, or wait for another open day"
    )
    return LeftOut(line.id, block.block, "no_crew", says)


def _because(
    line: ProgrammeLine, block: BlockSeen, chosen: DayVerdict, why: str, last_safe: LastSafeDay | None
) -> tuple[str, ...]:
    found = [f"{chosen.day.on} is {why}"]
    if line.leaf_drop_minimum_percent is not None and block.leaf_drop_percent is not None:
        found.append(f"{plain(block.leaf_drop_percent)} % of the leaves were down on {block.observed_on}")
    elif last_safe is not None:
        found.append(last_safe.says)
    if chosen.day.wind is not None:
        found.append(f"mean wind of the day {shown(chosen.day.wind, 'mph')}")
    found.append(f"{chosen.dry_days_after} dry day{'' if chosen.dry_days_after == 1 else 's'} after it")
    return tuple(found)
