"""The end of the work: the record, what became of the rest of the tank, and what follows from it."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from mixing.quantities import Quantity
from orchard.api.refusals import Conflict, Fault, Unprocessable
from orchard.blocks.models import Block
from orchard.crews import services as crew_services
from orchard.crews.models import Worker
from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.inventory import services as stock
from orchard.tasks import queries
from orchard.tasks.models import Incident, Load, WorkOrder
from orchard.tasks.services import (
    applications,
    checking,
    claims,
    flags,
    follow_up,
    loads,
    moves,
    people,
)
from orchard.tasks.services import mixed as mixing_up
from orchard.tasks.services import rest as rests
from orchard.tasks.services.mixed import Mixed
from orchard.tasks.services.rest import FATES, Leftover
from orchard.tasks.services.told import Application

__all__ = ["FATES", "Leftover", "PossibleDuplicate", "finish", "finished_before", "keep_duplicate"]


class PossibleDuplicate(Conflict):
    """The order is done already and somebody else says so again: what they sent is kept with the order."""


def finish(
    *,
    order: WorkOrder,
    by: Actor,
    now: dt.datetime,
    id: uuid.UUID | None = None,
    finished_at: dt.datetime | None = None,
    nothing_unusual: bool | None = None,
    incidents: Sequence[Incident] = (),
    leftover: Leftover | None = None,
    sprayed: Quantity | None = None,
    sprayed_by: Sequence[Worker] | None = None,
    note: str | None = None,
) -> WorkOrder:
    """End the work; of a spray make the record. The same id again does nothing. The caller holds the lock.

    :param sprayed: what left the nozzles on the order's block; all that was mixed where absent
    :raises Unprocessable: `required`, `leftover_fate_required`, an end before the start
    :raises Conflict: `state_conflict`, `possible_duplicate`, `loads_missing`, `mix_stop` (a leftover)
    """
    if finished_before(order=order, id=id):
        return order
    finished_at = _after_the_start(order, finished_at or now)
    told = _Told(nothing_unusual, incidents, leftover, sprayed, sprayed_by, note)
    if order.status == "done":
        raise _duplicate(order)
    _refuse(_content_faults(order, told, finished_at))
    moves.demand(order, action="finish")
    columns: dict[str, Any] = {}
    if order.kind == "spray":
        columns["re_entry_until"] = _record(order, told, id=id, finished_at=finished_at, by=by, now=now)
        stock.release(farm=order.farm, work_order=order.id, by=by, now=now)
    if order.kind == "equipment_wash" and order.sprayer is not None:
        crew_services.washed(sprayer=order.sprayer, at=finished_at, now=now)
    mine = claims.of_body(order, action="finish", id=id)
    columns["conflicts"] = claims.settled(order, ids=mine, by=by, now=now)
    moves.make(
        order, action="finish", by=by, now=now, reason=note, finished_at=finished_at, finish_id=id, **columns
    )
    follow_up.after(order, sprayed=sprayed, at=finished_at, now=now)
    journal.later("work_order.done", farm=order.farm, subject=order.id, by=by, now=now)
    return order


def _after_the_start(order: WorkOrder, finished_at: dt.datetime) -> dt.datetime:
    """Return the end, moved to the start where a phone's clock puts it a little before that."""
    if (
        order.started_at is not None
        and order.started_at - moves.CLOCKS_DIFFER <= finished_at < order.started_at
    ):
        return order.started_at
    return finished_at


def finished_before(*, order: WorkOrder, id: uuid.UUID | None) -> bool:
    """Return whether this very finish was done already."""
    return order.status == "done" and id is not None and order.finish_id == id


@dataclass(frozen=True, slots=True)
class _Told:
    nothing_unusual: bool | None
    incidents: Sequence[Incident]
    leftover: Leftover | None
    sprayed: Quantity | None
    sprayed_by: Sequence[Worker] | None
    note: str | None


def _duplicate(order: WorkOrder) -> PossibleDuplicate:
    record = queries.records_of(farm=order.farm, orders=[order]).get(order.id)
    refers = ("application_record", str(record.id)) if record else ("work_order", str(order.id))
    detail = _(
        "this order was finished already: what you sent is kept beside it for the crew lead to compare"
    )
    return PossibleDuplicate(Fault("possible_duplicate", detail, refers_to=refers))


def keep_duplicate(*, order: WorkOrder, body: Any, by: Actor, now: dt.datetime) -> None:
    """Keep the body of a refused finish with its order, once for each body and sender.

    For after the refusal has rolled its own transaction back.
    """
    with transaction.atomic():
        row = queries.locked_order(farm=order.farm, id=order.id)
        if row is None:
            return
        sent = (by.as_json(), body)
        if any((kept["by"], kept["body"]) == sent for kept in row.possible_duplicates):
            return
        claim = {
            "id": body.get("id") if isinstance(body, dict) else None,
            "received_at": now.isoformat(),
            "by": by.as_json(),
            "body": body,
        }
        journal.touch(row, now=now, possible_duplicates=[*row.possible_duplicates, claim])


def _refuse(faults: Iterable[Fault]) -> None:
    found = list(faults)
    if found:
        raise Unprocessable(*found)


def _content_faults(order: WorkOrder, told: _Told, finished_at: dt.datetime) -> Iterator[Fault]:
    if order.started_at is not None and finished_at < order.started_at:
        yield Fault(
            "out_of_range",
            _("this lies before the start, %(started_at)s") % {"started_at": order.started_at.isoformat()},
            "/finished_at",
        )
    yield from moves.not_before_issue(order, finished_at, pointer="/finished_at")
    if order.kind != "spray":
        return
    if not told.nothing_unusual and not told.incidents:
        yield Fault(
            "required", _("say that nothing unusual happened, or name the incidents"), "/nothing_unusual"
        )
    mixed = mixing_up.volume(queries.loads(order=order))
    if mixed is not None:
        yield from rests.faults(order, told.sprayed, told.leftover, mixed)


def _record(
    order: WorkOrder,
    told: _Told,
    *,
    id: uuid.UUID | None,
    finished_at: dt.datetime,
    by: Actor,
    now: dt.datetime,
) -> dt.datetime | None:
    """Make the record, or two where the rest was sprayed out elsewhere; return the end of re-entry."""
    rows = list(queries.loads(order=order).order_by("number", "id"))
    if not rows:
        detail = _("no load is recorded: record what was mixed first")
        raise Conflict(Fault("loads_missing", detail, refers_to=("work_order", str(order.id))))
    mixed = mixing_up.of_loads(rows)
    rest = told.leftover if told.leftover and told.leftover.volume.value > 0 else None
    if rest is not None and rest.fate == "sprayed_out":
        rests.may_be_sprayed_out(order, rest, mixed.volume, at=finished_at, by=by, now=now)
    deducted = loads.deduct_loads(order=order, by=by, now=now)
    own, other = rests.shares(order, told.sprayed, rest, mixed.volume)
    said = _application(order, told, mixed, own, rows, deducted, finished_at=finished_at)
    record = applications.write(farm=order.farm, said=said, by=by, now=now, id=id)
    if other is not None and rest is not None and rest.block is not None:
        second = _elsewhere(said, rest.block, mixed, other, started_at=rows[-1].at, finished_at=finished_at)
        applications.write(farm=order.farm, said=second, by=by, now=now)
    return record.re_entry_until


def _application(
    order: WorkOrder,
    told: _Told,
    mixed: Mixed,
    own: Quantity,
    rows: Sequence[Load],
    deducted: Sequence[Load],
    *,
    finished_at: dt.datetime,
) -> Application:
    assert order.block is not None and order.started_at is not None
    day = checking.local_day(order.farm, finished_at)
    return Application(
        block=order.block,
        started_at=order.started_at,
        finished_at=finished_at,
        spray={
            "total": own.as_json(),
            "area": mixing_up.area(order, rows),
            "trees": mixing_up.trees(order, rows),
        },
        lines=tuple(mixing_up.lines(order, mixed, own)),
        sprayer=order.sprayer,
        crew=order.crew,
        sprayed_by=tuple(told.sprayed_by if told.sprayed_by is not None else people.handlers(order, on=day)),
        targets=tuple(order.targets),
        observed=order.observed,
        loads=tuple(str(row.id) for row in rows),
        incidents=tuple(told.incidents),
        nothing_unusual=bool(told.nothing_unusual),
        leftover=rests.as_json(told.leftover),
        note=told.note,
        pauses=tuple(order.pauses),
        work_order=order,
        mix_check=order.mix_check,
        flags=(*flags.of_plan(rows), *flags.of_book(deducted)),
        taken={"loads": [str(row.id) for row in rows]},
    )


def _elsewhere(
    said: Application,
    block: Block,
    mixed: Mixed,
    share: Quantity,
    *,
    started_at: dt.datetime,
    finished_at: dt.datetime,
) -> Application:
    """Return the record of the rest that went on another block; the store's ledger stays with the first."""
    assert said.work_order is not None
    area = block.area.as_json() if block.area else None
    return Application(
        block=block,
        started_at=min(started_at, finished_at),
        finished_at=finished_at,
        spray={"total": share.as_json(), "area": area, "trees": None},
        lines=tuple(mixing_up.lines(said.work_order, mixed, share)),
        sprayer=said.sprayer,
        crew=said.crew,
        sprayed_by=said.sprayed_by,
        targets=said.targets,
        observed=said.observed,
        loads=said.loads,
        incidents=said.incidents,
        nothing_unusual=said.nothing_unusual,
        note=f"rest of order {said.work_order.number} on {said.block}",
        work_order=said.work_order,
        mix_check=said.mix_check,
    )
