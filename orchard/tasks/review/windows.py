"""Was each line of the season plan done, and inside its stage window?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from mixing.stages import Window
from orchard.blocks.models import Block, StageObservation
from orchard.tasks.models import ApplicationRecord, Programme, WorkOrder
from orchard.tasks.states import OPEN

BEFORE_LEAF_FALL = 90
"""The BBCH stage that a season is counted from: leaf fall (93) is its beginning, ripe fruit (89) its end."""
EVERY_STAGE = {"from": 0, "to": 99}
SAYS = {
    "done": gettext_lazy("done at %(at)s; the plan wanted %(wanted)s"),
    "done_outside": gettext_lazy("done outside its window: at %(at)s, and the plan wanted %(wanted)s"),
    "planned": gettext_lazy("an order is open; the plan wants %(wanted)s"),
    "open": gettext_lazy("not done yet, and its time is now: the block was at BBCH %(bbch)s on %(on)s"),
    "not_yet": gettext_lazy(
        "its time has not come: the block was at BBCH %(bbch)s on %(on)s, and the plan wants %(wanted)s"
    ),
    "missed": gettext_lazy(
        "never done, and its time is over: the block was at BBCH %(bbch)s on %(on)s, and the plan wanted"
        " %(wanted)s"
    ),
    "unknown": gettext_lazy("nobody looked at the stage: whether %(wanted)s has passed is not known"),
}


@dataclass(frozen=True, slots=True)
class Spray:
    """One application on the block.

    :ivar bbch: stage on record, None where none was
    :ivar in_window: None where no line says when, or no stage was on record
    """

    record: ApplicationRecord
    bbch: int | None
    line: Mapping[str, Any] | None
    in_window: bool | None


@dataclass(frozen=True, slots=True)
class LineDone:
    """One line of a season plan on one block.

    :ivar state: `done`, `done_outside`, `planned`, `open` (its window is now), `not_yet`, `missed`, `unknown`
    :ivar seen: the observation that says so, where one does
    """

    programme: Programme
    line: Mapping[str, Any]
    state: str
    work_orders: tuple[WorkOrder, ...]
    sprays: tuple[Spray, ...]
    seen: StageObservation | None
    says: str


def window(line: Mapping[str, Any]) -> Window:
    """Return the stages of a line, which may pass through dormancy."""
    stage = line.get("stage") or EVERY_STAGE
    return Window(stage["from"], stage["to"])


def is_on(line: Mapping[str, Any], block: Block) -> bool:
    """Say whether a line is for a block."""
    return str(block.id) in (line.get("blocks") or []) or block.crop in (line.get("crops") or [])


def sprays_of(block: Block, records: Iterable[ApplicationRecord], plans: Sequence[Programme]) -> list[Spray]:
    """Return the applications on a block, each with its line: by its order, else by target and stage."""
    made = []
    for record in records:
        line = _line_of(record, block, plans)
        bbch = (record.body.get("stage") or {}).get("bbch")
        known = bbch is not None and line is not None and bool(line.get("stage"))
        made.append(Spray(record, bbch, line, (bbch in window(line)) if known and line else None))
    return made


def _line_of(record: ApplicationRecord, block: Block, plans: Sequence[Programme]) -> Mapping[str, Any] | None:
    order = record.work_order
    if order is not None and order.line is not None:
        lines = [line for plan in plans for line in plan.lines if str(line["id"]) == str(order.line)]
        return next(iter(lines), None)
    targets, bbch = set(record.body.get("targets") or []), (record.body.get("stage") or {}).get("bbch")
    fitting = [
        line
        for plan in plans
        for line in plan.lines
        if line["kind"] == "spray" and is_on(line, block) and targets & set(line.get("targets") or [])
    ]
    inside = [line for line in fitting if bbch is not None and bbch in window(line)]
    return next(iter(inside or fitting), None)


def lines_of(
    block: Block,
    plans: Sequence[Programme],
    orders: Iterable[WorkOrder],
    sprays: Sequence[Spray],
    seen: Sequence[StageObservation],
) -> list[LineDone]:
    """Return what became of each line on a block.

    :param seen: what was observed there in the season, earliest first
    """
    mine = list(orders)
    return [
        _line_done(plan, line, mine, sprays, seen)
        for plan in plans
        for line in plan.lines
        if is_on(line, block)
    ]


def _line_done(
    plan: Programme,
    line: Mapping[str, Any],
    orders: Sequence[WorkOrder],
    sprays: Sequence[Spray],
    seen: Sequence[StageObservation],
) -> LineDone:
    mine = tuple(order for order in orders if str(order.line) == str(line["id"]))
    done = tuple(one for one in sprays if one.line is not None and one.line["id"] == line["id"])
    state, by = _state(line, mine, done, seen)
    return LineDone(plan, line, state, mine, done, by, _says(line, state, done, by))


def _state(
    line: Mapping[str, Any],
    orders: Sequence[WorkOrder],
    done: Sequence[Spray],
    seen: Sequence[StageObservation],
) -> tuple[str, StageObservation | None]:
    if done:
        outside = all(one.in_window is False for one in done)
        return ("done_outside" if outside else "done"), None
    if any(order.status == "done" for order in orders) and line["kind"] != "spray":
        return "done", None
    passed, by = _passed(window(line), seen)
    if any(order.status in OPEN for order in orders) and passed != "missed":
        return "planned", by
    return passed, by


def _passed(stages: Window, seen: Sequence[StageObservation]) -> tuple[str, StageObservation | None]:
    if not seen:
        return "unknown", None
    latest = seen[-1]
    if latest.bbch in stages:
        return "open", latest
    if any(one.bbch in stages for one in seen) or _place(latest.bbch) > _place(stages.end):
        return "missed", latest
    return "not_yet", latest


def _place(bbch: int) -> int:
    return (bbch - BEFORE_LEAF_FALL) % 100


def _says(line: Mapping[str, Any], state: str, done: Sequence[Spray], seen: StageObservation | None) -> str:
    stages = window(line)
    facts = {
        "wanted": _("BBCH %(first)s to %(last)s") % {"first": stages.start, "last": stages.end},
        "bbch": seen.bbch if seen else "",
        "on": seen.observed_on if seen else "",
        "at": ", ".join(f"BBCH {one.bbch}" for one in done if one.bbch is not None),
    }
    if state == "done" and not facts["at"]:
        return _("done; the plan wanted %(wanted)s") % facts
    return str(SAYS[state]) % facts
