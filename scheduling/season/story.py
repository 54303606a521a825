"""The season as a manager would live through it: looks, days asked for, outlooks, plans, and one wish too
late.

Only the visits of `story.toml` are invented. Which days are open, when the buds move and what is refused
for which reason comes out of the cut, the limits and the planner.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from enum import StrEnum
from functools import lru_cache
from typing import Any

from scheduling.bounds import Bound
from scheduling.forecast import (
    Event,
    Forecast,
    LastSafeDay,
    bud_colour_estimate,
    last_safe_day,
    running_mean,
    stored,
)
from scheduling.forecast.block import Note
from scheduling.forecast.block import outlook as outlook_of_block
from scheduling.forecast.records import BBCH
from scheduling.lines import BlockSeen, LeftOut, ProgrammeLine
from scheduling.planner import BUD_SWELL_LEAD, DraftJob, Plan, plan
from scheduling.season.cut import HERE, SPECIES
from scheduling.season.records import SeasonCut
from scheduling.spray_days import DayVerdict, judge_days

BUD_COLOUR = 57
DAY = timedelta(days=1)


class Told(StrEnum):
    """Where an observation comes from."""

    INVENTED = "invented for the demonstration"
    STATION = "observed at the station"
    ESTIMATE = "our estimate, half-way from budburst to first bloom"


@dataclass(frozen=True, slots=True)
class Look:
    """Somebody looks at a block."""

    on: date
    block: str
    bbch: int
    leaf_drop_percent: Decimal | None
    told: Told


@dataclass(frozen=True, slots=True)
class Try:
    """A day asked for: open, or refused with every reason."""

    on: date
    line: str
    block: str
    verdict: DayVerdict


@dataclass(frozen=True, slots=True)
class Waiting:
    """A block that a line leaves out, with the planner's reason."""

    on: date
    left_out: LeftOut


@dataclass(frozen=True, slots=True)
class Outlook:
    """What the season looks like on a planning day."""

    on: date
    forecasts: tuple[Forecast, ...]
    last_safe: LastSafeDay


@dataclass(frozen=True, slots=True)
class Planned:
    """What a planning day leads to."""

    on: date
    jobs: tuple[DraftJob, ...]
    left_out: tuple[LeftOut, ...]


@dataclass(frozen=True, slots=True)
class TooLate:
    """A spray asked for on a day with good weather, after bud colour."""

    on: date
    line: str
    block: str
    verdict: DayVerdict


Step = Look | Waiting | Try | Outlook | Planned | TooLate
_ORDER: dict[type, int] = {Look: 0, Outlook: 1, Planned: 2, Waiting: 3, Try: 4, TooLate: 5}


@dataclass(frozen=True, slots=True)
class Script:
    """`story.toml`, read."""

    lines: tuple[ProgrammeLine, ...]
    loads: Mapping[str, int]
    loads_a_day: int
    planning_weekday: int
    planning_days: int
    visits: tuple[Look, ...]
    leftover: Mapping[str, Any]
    """What is left in the tank after one job: line, block, volume, and the blocks asked about."""
    counts: tuple[Mapping[str, Any], ...]
    """What was counted after bloom: day, block, target, and `[ill, looked at]`, treated and untreated."""


@lru_cache(maxsize=1)
def script() -> Script:
    """Return what is invented."""
    told = tomllib.loads((HERE / "story.toml").read_text(encoding="utf-8"))
    blocks = tuple(row["name"] for row in told["block"])
    minimum = Decimal(told["leaf_drop_minimum_percent"])
    return Script(
        lines=tuple(_line(row, blocks, minimum) for row in told["line"]),
        loads={row["name"]: row["loads"] for row in told["block"]},
        loads_a_day=told["loads_a_day"],
        planning_weekday=told["planning_weekday"],
        planning_days=told["planning_days"],
        visits=tuple(look for row in told["visit"] for look in _visit(row, blocks)),
        leftover=told["leftover"],
        counts=tuple(told["count"]),
    )


def _line(row: Mapping[str, Any], blocks: tuple[str, ...], minimum: Decimal) -> ProgrammeLine:
    first, last = row["stage"]
    wanted = minimum if row["leaf_drop"] else None
    return ProgrammeLine(
        row["id"], row["title"], "spray", blocks, (first, last), leaf_drop_minimum_percent=wanted
    )


def _visit(row: Mapping[str, Any], blocks: tuple[str, ...]) -> Iterator[Look]:
    dropped = row.get("leaf_drop_percent", {})
    for block in blocks:
        percent = Decimal(dropped[block]) if block in dropped else None
        yield Look(row["on"], block, row["bbch"], percent, Told.INVENTED)


def season_days(cut: SeasonCut, *, bounds: Sequence[Bound]) -> tuple[Step, ...]:
    """Return the steps of the season in order of day: what the manager sees, tries, plans and is refused.

    :param bounds: the limits in force for the mix that is to be sprayed
    """
    verdicts = {verdict.day.on: verdict for verdict in judge_days(cut.weather, bounds=bounds)}
    leaf_fall, bud_swell = script().lines
    steps: list[Step] = [*script().visits, *_station_looks(cut)]
    steps += _tries(leaf_fall, verdicts)
    steps += _plans(cut, bud_swell, verdicts)
    steps += _too_late(cut, bud_swell, verdicts)
    return tuple(sorted(steps, key=lambda step: (step.on, _ORDER[type(step)])))


def outlook(cut: SeasonCut, *, issued_on: date) -> Outlook:
    """Return the forecasts as of a day; nothing later than that day goes into them."""
    watched = (Event.BUDBURST, Event.FIRST_BLOOM)
    means = [
        running_mean(cut.bud_dates, event=event, season=cut.season, issued_on=issued_on) for event in watched
    ]
    fitted = outlook_of_block(
        stored.load(),
        crop=SPECIES,
        notes=[Note(SPECIES, bud.event, bud.on) for bud in cut.bud_dates],
        observed=cut.days,
        issued_on=issued_on,
    ).forecasts
    forecasts = (*means, *(one for one in fitted if one.event in watched))
    return Outlook(issued_on, forecasts, last_safe_day(fitted))  # the means are shown to compare with


def _station_looks(cut: SeasonCut) -> Iterator[Look]:
    budburst, bloom = cut.observed(Event.BUDBURST), cut.observed(Event.FIRST_BLOOM)
    stages = (
        (budburst, BBCH[Event.BUDBURST], Told.STATION),
        (bud_colour_estimate(budburst=budburst, first_bloom=bloom), BUD_COLOUR, Told.ESTIMATE),
        (bloom, BBCH[Event.FIRST_BLOOM], Told.STATION),
        (cut.observed(Event.FULL_BLOOM), BBCH[Event.FULL_BLOOM], Told.STATION),
    )
    for on, bbch, told in stages:
        for block in script().loads:
            yield Look(on, block, bbch, None, told)


@dataclass(slots=True)
class _Orchard:
    """What is known and done, block by block, as the days go by."""

    looks: dict[str, Look] = field(default_factory=dict)
    done: dict[str, date] = field(default_factory=dict)

    def visited(self, on: date) -> bool:
        found = [look for look in script().visits if look.on == on]
        self.looks |= {look.block: look for look in found}
        return bool(found)

    def seen(self, line: ProgrammeLine) -> list[BlockSeen]:
        return [
            BlockSeen(
                look.block,
                look.bbch,
                look.leaf_drop_percent,
                look.on,
                {line.id: (self.done[look.block],)} if look.block in self.done else {},
            )
            for look in self.looks.values()
        ]


def _tries(line: ProgrammeLine, verdicts: Mapping[date, DayVerdict]) -> Iterator[Step]:
    """Ask for each day from the first visit on, until every block is done."""
    orchard, on = _Orchard(), script().visits[0].on
    while len(orchard.done) < len(line.blocks) and on in verdicts:
        visited = orchard.visited(on)
        made = _plan_for(line, orchard, [verdicts[on]], None, on)
        for job in made.jobs:
            orchard.done[job.block] = on
            yield Try(on, line.id, job.block, verdicts[on])
        for left in made.left_out:
            if left.code == "no_open_day":
                yield Try(on, line.id, left.block, verdicts[on])
            elif left.code == "no_crew" or (left.code != "done" and visited):
                yield Waiting(on, left)
        on += DAY


def _plans(cut: SeasonCut, line: ProgrammeLine, verdicts: Mapping[date, DayVerdict]) -> Iterator[Step]:
    """Plan on each planning day whose days ahead reach bud swell, until every block is done."""
    orchard, on = _Orchard(), date(cut.season, 1, 1)
    while len(orchard.done) < len(line.blocks) and on < cut.observed(Event.BUDBURST):
        orchard.visited(on)
        ahead = [verdicts[on + DAY * step] for step in range(script().planning_days)]
        if on.weekday() == script().planning_weekday:
            seen = outlook(cut, issued_on=on)
            if seen.last_safe.rests_on.predicted - BUD_SWELL_LEAD <= ahead[-1].day.on:
                made = _plan_for(line, orchard, ahead, seen.last_safe, on)
                orchard.done |= {job.block: job.on for job in made.jobs}
                yield seen
                yield Planned(on, made.jobs, tuple(left for left in made.left_out if left.code != "done"))
                yield from (Try(job.on, line.id, job.block, verdicts[job.on]) for job in made.jobs)
        on += DAY


def _plan_for(
    line: ProgrammeLine,
    orchard: _Orchard,
    ahead: Sequence[DayVerdict],
    last_safe: LastSafeDay | None,
    on: date,
) -> Plan:
    return plan(
        lines=[line],
        blocks=orchard.seen(line),
        days={line.id: ahead},
        last_safe=last_safe,
        on=on,
        loads_a_day=script().loads_a_day,
        loads=script().loads,
    )


def _too_late(cut: SeasonCut, line: ProgrammeLine, verdicts: Mapping[date, DayVerdict]) -> Iterator[TooLate]:
    colour = bud_colour_estimate(
        budburst=cut.observed(Event.BUDBURST), first_bloom=cut.observed(Event.FIRST_BLOOM)
    )
    good = (on for on in sorted(verdicts) if on >= colour and verdicts[on].open)
    for on in good:
        yield TooLate(on, line.id, line.blocks[0], verdicts[on])
        return
