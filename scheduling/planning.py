"""One planning run: taken up, gathered, solved in the open, and written in one transaction.

While it is solved no transaction is open, so that its progress can be seen and it can be called off. Who
works on it holds it until `taken_until` and moves that on; where a worker is lost, the time runs out and
another takes the run up again. A farm has one run at work at a time; the database sees to that.
"""

from __future__ import annotations

import datetime as dt
import time
import uuid
from dataclasses import dataclass, field
from typing import Any

from django.db import transaction
from django.utils import translation
from django.utils.translation import gettext_noop as noop

from orchard.api.refusals import Refusal, Unprocessable
from orchard.api.remembered import reading_once
from orchard.farms.actors import Actor
from orchard.tasks import choosing, programmes
from orchard.tasks.models import PlanningRun, WorkOrder
from orchard.tasks.services import orders
from orchard.tasks.told import Told, because_of
from scheduling import explain
from scheduling.assignment import Answer, Placed, assign
from scheduling.assignment.assign import Budget
from scheduling.gather import Gathered, gather
from scheduling.gather.ground import spray_of
from scheduling.gather.mixes import report_with
from scheduling.gather.wishes import Wish, because
from scheduling.lines import LeftOut

HELD_FOR = dt.timedelta(seconds=60)
"""How long a run is held without a sign of life; gathering a large farm takes less."""
USUAL = Budget()
TOLD_EVERY = 1.0
"""Seconds between two signs of life."""


class Later(Exception):
    """The run is at work elsewhere, or another of its farm is: it is to be tried again."""

    def __init__(self, *, at: dt.datetime) -> None:
        super().__init__("a planning run of this farm is at work")
        self.at = at


class Lost(Exception):
    """Another worker took the run up meanwhile: what was worked out here is not written."""


@dataclass(slots=True)
class Hold:
    """The hold of one worker on one run."""

    run: PlanningRun
    by: Actor
    began: dt.datetime
    _clock: float = field(default_factory=time.monotonic)
    _told: float = 0.0
    cancelled: bool = False

    @property
    def now(self) -> dt.datetime:
        """The moment that the work began at, and what has passed since."""
        return self.began + dt.timedelta(seconds=time.monotonic() - self._clock)

    def tell(self, percent: int) -> bool:
        """Write how far the run is; return True where it was called off."""
        if self.cancelled or time.monotonic() - self._told < TOLD_EVERY:
            return self.cancelled
        self._told = time.monotonic()
        kept = programmes.keep_at(
            run=self.run, progress_percent=percent, until=self.now + HELD_FOR, now=self.now
        )
        if kept is None:
            raise Lost
        self.run = kept
        self.cancelled = kept.cancel_asked_at is not None
        return self.cancelled


@dataclass(frozen=True, slots=True)
class Solved:
    """What a run came to, before it is written."""

    hold: Hold
    known: Gathered | None
    answer: Answer | None


def run_plan(*, run: PlanningRun, by: Actor, now: dt.datetime, budget: Budget = USUAL) -> PlanningRun:
    """Do a planning run that is asked for; one that was done is left as it is.

    :raises Later: where it has to wait for another
    """
    solved = solve(run=run, by=by, now=now, budget=budget)
    return run if solved is None else write(solved)


def solve(*, run: PlanningRun, by: Actor, now: dt.datetime, budget: Budget = USUAL) -> Solved | None:
    """Take a run up and work its plan out; nothing is written but how far it is. None where it is over.

    :raises Later: where it has to wait for another
    """
    taken = programmes.take_up(run=run, by=by, until=now + HELD_FOR, now=now)
    if isinstance(taken, dt.datetime):
        raise Later(at=taken)
    if taken is None:
        return None
    hold = Hold(taken, by, now)
    try:
        return _solve(hold, budget)
    except Exception:
        programmes.let_go(run=hold.run, by=by, now=hold.now)
        raise


@translation.override("en")
def _solve(hold: Hold, budget: Budget) -> Solved:
    if hold.tell(5):
        return Solved(hold, None, None)
    with reading_once():
        known = gather(run=hold.run, by=hold.by, now=hold.began)
    if hold.tell(15):
        return Solved(hold, None, None)
    answer = assign(known.problem, budget=budget, tell=hold.tell)
    return Solved(hold, known, answer)


@translation.override("en")  # what is kept of a plan is read by many
def write(solved: Solved) -> PlanningRun:
    """Write a plan: its drafts, and the result of its run, in one transaction.

    :raises Lost: where another worker took the run up meanwhile
    """
    hold, known, answer = solved.hold, solved.known, solved.answer
    with transaction.atomic():
        run = programmes.locked_run(run=hold.run)
        if run.status != "running" or run.taken_until != hold.run.taken_until:
            raise Lost
        if known is None or answer is None or run.cancel_asked_at is not None:
            off = {"status": "failed", "result": programmes.CALLED_OFF, "taken_until": None}
            return programmes.progress(run=run, by=hold.by, now=hold.now, **off)
        made, left_out = _drafts(run, known, answer, by=hold.by, now=hold.now)
        result = {
            "work_orders": [str(order.id) for order in made],
            "left_out": [
                _said(one, known) for one in (*known.left_out, *left_out, *explain.left_out(known, answer))
            ],
            "gap_percent": answer.gap_percent,
            "proof": {
                "risk_permille": _proof(answer.risk.value, answer.risk.bound),
                "road_minutes": _proof(answer.road.value, answer.road.bound),
            },
        }
        return programmes.progress(
            run=run,
            by=hold.by,
            now=hold.now,
            status="done",
            progress_percent=100,
            result=result,
            taken_until=None,
        )


def _proof(value: int, bound: int) -> dict[str, int]:
    return {"value": value, "no_plan_below": bound}


def _drafts(
    run: PlanningRun, known: Gathered, answer: Answer, *, by: Actor, now: dt.datetime
) -> tuple[list[WorkOrder], list[LeftOut]]:
    """Write the plan: new drafts, and drafts that move; one that stays is named among what is left out."""
    made: list[WorkOrder] = []
    new: list[orders.Draft] = []
    left_out: list[LeftOut] = []
    for placed in answer.placed:
        wish = known.wishes[placed.job]
        values = _values(run, known, wish, placed)
        try:
            if wish.draft is None:
                new.append(_new(known, wish, placed, values))
            elif _stands(wish.draft, values):
                left_out.append(LeftOut(wish.line.id, str(wish.block.id), "planned_already", _stays(wish)))
            else:
                made.append(_moved(wish.draft, values, by=by, now=now))
        except Refusal as refusal:
            code = refusal.faults[0].code
            left_out.append(LeftOut(wish.line.id, str(wish.block.id), code, str(refusal)))
    return [*orders.add_orders(farm=run.farm, drafts=new, by=by, now=now), *made], left_out


def _new(known: Gathered, wish: Wish, placed: Placed, values: dict[str, Any]) -> orders.Draft:
    """Return a draft with its loads.

    :raises Unprocessable: for what an order cannot be
    """
    report = None
    if wish.mix is not None:
        assert placed.tool is not None  # a spray has a sprayer
        report = report_with(wish.mix, known.sprayers[placed.tool], at=values["starts_at"])
    draft = orders.Draft(values, report)
    faults = orders.faults_of(draft)
    if faults:
        raise Unprocessable(*faults)
    return draft


def _stays(wish: Wish) -> Told:
    """Say that an order is open, and where its mix is not its line's."""
    if wish.own is not None:
        says = noop(
            "an order for it is open already, order %(number)s, with another mix than the line has now: "
            "change the one or the other, or cancel the order and plan anew"
        )
        return Told(says, number=wish.own.number)
    return Told(noop("an order for it is open already"))


WHERE_IT_STANDS = ("crew", "sprayer", "starts_at")
OF_ITS_MIX = ("products", "spray", "targets")


def _stands(draft: WorkOrder, values: dict[str, Any]) -> bool:
    """Say whether a draft stands where the plan has it."""
    mix = [name for name in OF_ITS_MIX if name in values]
    return all(getattr(draft, name) == values.get(name) for name in (*WHERE_IT_STANDS, *mix))


def _moved(draft: WorkOrder, values: dict[str, Any], *, by: Actor, now: dt.datetime) -> WorkOrder:
    moves = (*WHERE_IT_STANDS, "ends_at", "window", *OF_ITS_MIX)
    moved = {name: values[name] for name in moves if name in values}
    with transaction.atomic():
        return orders.change_order(order=orders.locked_draft(draft), by=by, now=now, **moved)


def _values(run: PlanningRun, known: Gathered, wish: Wish, placed: Placed) -> dict[str, Any]:
    starts_at = known.frame.moment(placed.start)
    stretch = next(one for one in wish.stretches if one.start <= starts_at < one.end)
    latest = wish.last_safe.on.isoformat() if wish.last_safe else None
    values: dict[str, Any] = {
        "kind": wish.kind,
        "title": wish.title or f"{wish.line.title}, {wish.block.name}",
        "block": wish.block,
        "crew": known.crews[placed.crew],
        "starts_at": starts_at,
        "ends_at": known.frame.moment(placed.end),
        "programme": run.programme,
        "line": None if wish.title else uuid.UUID(wish.line.id),
        "window": {
            "earliest": min(one.on for one in wish.stretches).isoformat(),
            "latest": latest,
            **because_of(because(wish, stretch)),
        },
    }
    if placed.tool is not None:
        values["sprayer"] = known.sprayers[placed.tool]
    if wish.mix is not None:
        values |= {
            "products": wish.mix.products,
            "spray": spray_of(wish.raw) if wish.own is None else wish.own.spray,
            "targets": (wish.raw.get("targets") if wish.own is None else wish.own.targets) or [],
        }
    return values


def with_mix(values: dict[str, Any], *, raw: dict[str, Any], by: Actor, now: dt.datetime) -> dict[str, Any]:
    """Return an order's values with the first mix of its line that will do; its window says why."""
    if values["kind"] != "spray" or not raw.get("alternatives") or values.get("sprayer") is None:
        return values
    choice = choosing.choose(
        line=raw,
        block=values["block"],
        sprayer=values["sprayer"],
        spray=values["spray"],
        at=values["starts_at"],
        by=by,
        now=now,
    )
    found = [Told("%(says)s", says=values["window"]["because"]), *choice.why()]
    return {**values, "products": choice.products, "window": {**values["window"], **because_of(found)}}


def _said(one: LeftOut, known: Gathered) -> dict[str, Any]:
    """Return what is kept of a line left out: its sentence in English, and what that is made of."""
    says = str(one.says)
    for id, block in known.blocks.items():
        says = says.replace(id, block.name)
    kept = {"line": one.line, "block": one.block, "code": one.code, "says": says}
    if not isinstance(one.says, Told):
        return kept
    return {**kept, "told": one.says.as_json({id: block.name for id, block in known.blocks.items()})}
