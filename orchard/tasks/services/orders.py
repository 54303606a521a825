"""Making and changing work orders."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext as _

from orchard.api.refusals import Conflict, Fault, Unprocessable
from orchard.api.spoken import listed, spoken
from orchard.crews.models import Worker
from orchard.farms import bulk, journal
from orchard.farms.actors import Actor
from orchard.farms.models import Farm
from orchard.farms.rows import new_id
from orchard.tasks import titles
from orchard.tasks.models import WorkOrder
from orchard.tasks.services import checking, demands, moves, people
from orchard.tasks.states import IN_A_BLOCK, WITH_A_SPRAYER

OF_A_SPRAY = ("products", "spray", "targets", "water", "measures")
AFTER_ISSUE = frozenset({"crew", "handlers", "starts_at", "ends_at", "instructions"})


def add_order(
    *, farm: Farm, by: Actor, now: dt.datetime, id: uuid.UUID | None = None, **values: Any
) -> WorkOrder:
    """Make a draft with the next number of the farm, and its loads where it is a spray.

    :raises Unprocessable: with every fault of what it names; those of the mix as a mix check gives them
    """
    handlers = values.pop("handlers", None) or []
    _refuse(_faults({**values, "handlers": handlers}))
    with transaction.atomic():
        order = WorkOrder(farm=farm, **values)
        columns = {**values, "title": values.get("title") or title(order), **_planned(order, by=by, now=now)}
        columns["number"] = _next_number(farm)
        order = journal.insert(WorkOrder, farm=farm, by=by, now=now, id=id, **columns)
        order.handlers.set(handlers)
        journal.created(order, by=by, now=now)
    return order


@dataclass(frozen=True, slots=True)
class Draft:
    """A draft to be made: its columns as `add_order` takes them, and the report that its loads come from.

    :ivar report: of the mix check for its sprayer; None for what is no spray
    """

    values: Mapping[str, Any]
    report: Mapping[str, Any] | None


def add_orders(*, farm: Farm, drafts: Sequence[Draft], by: Actor, now: dt.datetime) -> list[WorkOrder]:
    """Make many drafts with the next numbers of the farm, by one statement a table.

    :raises Unprocessable: with every fault of what any of them names; nothing is made then
    """
    _refuse(fault for draft in drafts for fault in _faults(draft.values))
    with transaction.atomic():
        first = _next_number(farm)
        made = [_made(farm, draft, first + place) for place, draft in enumerate(drafts)]
        bulk.create(made, by=by, now=now)
    return made


def faults_of(draft: Draft) -> list[Fault]:
    """Return what `add_orders` would refuse a draft for."""
    return list(_faults(draft.values))


def _made(farm: Farm, draft: Draft, number: int) -> WorkOrder:
    id, report = new_id(), draft.report or {}
    order = WorkOrder(farm=farm, key=id, id=id, number=number, **draft.values)
    order.title = order.title or title(order)
    order.loads_planned, order.totals = report.get("loads", []), report.get("totals", [])
    return order


def _next_number(farm: Farm) -> int:
    Farm.objects.select_for_update(no_key=True).get(id=farm.id)
    last = WorkOrder.objects.for_farm(farm).aggregate(last=Max("number"))["last"]
    return (last or 0) + 1


def title(order: WorkOrder) -> str:
    """Return the title of an order that was given none: its kind, and where or with what."""
    where = order.block or order.sprayer
    return titles.AUTOMATIC[order.kind] + (f", {where}" if where else "")


def _planned(order: WorkOrder, *, by: Actor, now: dt.datetime) -> dict[str, Any]:
    """Return the loads and totals of a spray, from a check that is not kept."""
    if order.kind != "spray":
        return {"loads_planned": [], "totals": []}
    check = checking.check_order(order=order, at=order.starts_at, dry_run=True, by=by, now=now)
    return {"loads_planned": check.report["loads"], "totals": check.report["totals"]}


def change_order(*, order: WorkOrder, by: Actor, now: dt.datetime, **values: Any) -> WorkOrder:
    """Change a draft in anything, an issued order in who and when. The caller holds its lock.

    What has been issued is a new revision and issued again: those who accepted the old one are asked anew.

    :raises Conflict: `state_conflict` past the start or for another field; the faults of the new crew
    :raises Unprocessable: as `add_order`
    """
    _may_change(order, values)
    handlers = values.pop("handlers", None)
    crew_changed = "crew" in values and values["crew"] != order.crew
    _refuse(_faults(_after(order, values, handlers, crew_changed)))
    if order.status == "draft":
        return _change_draft(order, handlers, crew_changed, by=by, now=now, values=values)
    for name, value in values.items():
        setattr(order, name, value)
    _set_handlers(order, handlers, crew_changed)
    day = demands.day_of(order, at=demands.moment_of(order, now=now))
    faults = [*people.crew_of(order), *people.faults(order, on=day)]
    if faults:
        raise Conflict(*faults)
    order.refresh_from_db(fields=list(values))
    journal.change(order, by=by, now=now, status="issued", revision=order.revision + 1, **values)
    return order


def _may_change(order: WorkOrder, values: Mapping[str, Any]) -> None:
    if order.status == "draft":
        return
    if order.status not in ("issued", "accepted"):
        raise Conflict(moves.state_conflict(order))
    others = sorted(set(values) - AFTER_ISSUE)
    if others:
        detail = _("after issue only %(after_issue)s may be changed") % {
            "after_issue": listed(sorted(AFTER_ISSUE))
        }
        raise Conflict(*(Fault("state_conflict", detail, f"/{name}") for name in others))


def _after(
    order: WorkOrder, values: Mapping[str, Any], handlers: Sequence[Worker] | None, crew_changed: bool
) -> dict[str, Any]:
    names = ("kind", "block", "sprayer", "crew", "starts_at", "ends_at", "programme", "line", *OF_A_SPRAY)
    now_in = list(order.handlers.all()) if handlers is None and not crew_changed else handlers or []
    return {**{name: getattr(order, name) for name in names}, **values, "handlers": now_in}


def _set_handlers(order: WorkOrder, handlers: Sequence[Worker] | None, crew_changed: bool) -> None:
    """Set who handles; another crew without its handlers named falls back to all of it who may."""
    if handlers is not None or crew_changed:
        order.handlers.set(handlers or [])
        order._prefetched_objects_cache = {}  # type: ignore[attr-defined]


def _change_draft(
    order: WorkOrder,
    handlers: Sequence[Worker] | None,
    crew_changed: bool,
    *,
    by: Actor,
    now: dt.datetime,
    values: dict[str, Any],
) -> WorkOrder:
    made_title = title(order) == order.title
    before = {name: getattr(order, name) for name in values}
    for name, value in values.items():
        setattr(order, name, value)
    columns = {**values, **_planned(order, by=by, now=now)}
    if values.get("title") is None and ("title" in values or made_title):
        columns["title"] = title(order)
    for name, value in before.items():
        setattr(order, name, value)
    _set_handlers(order, handlers, crew_changed)
    if not journal.change(order, by=by, now=now, **columns) and handlers is not None:
        journal.touch(order, now=now)
    return order


def locked_draft(order: WorkOrder) -> WorkOrder:
    """Return a work order with its row locked, as `change_order` wants it."""
    return (
        WorkOrder.objects.select_related("farm", "block__farm", "sprayer__farm", "crew", "programme")
        .select_for_update(of=("self",), no_key=True)
        .get(key=order.key)
    )


def _refuse(faults: Iterator[Fault]) -> None:
    found = list(faults)
    if found:
        raise Unprocessable(*found)


def _faults(values: Mapping[str, Any]) -> Iterator[Fault]:
    kind = values["kind"]
    for name, kinds in (("block", IN_A_BLOCK), ("sprayer", WITH_A_SPRAYER)):
        if kind in kinds and values.get(name) is None:
            yield Fault(
                "required",
                _("work of kind %(kind)s names its %(name)s") % {"kind": spoken(kind), "name": spoken(name)},
                f"/{name}",
            )
    for name in OF_A_SPRAY:
        if kind == "spray" and name in ("products", "spray") and not values.get(name):
            yield Fault("required", _("a spray says its %(name)s") % {"name": spoken(name)}, f"/{name}")
        elif kind != "spray" and values.get(name):
            yield Fault("invalid", _("only a spray has %(name)s") % {"name": spoken(name)}, f"/{name}")
    ends_at = values.get("ends_at")
    if ends_at is not None and ends_at <= values["starts_at"]:
        yield Fault("out_of_range", _("the end lies before the start"), "/ends_at")
    yield from _crew_faults(values)
    yield from _line_faults(values)


def _crew_faults(values: Mapping[str, Any]) -> Iterator[Fault]:
    handlers, crew = values.get("handlers") or [], values.get("crew")
    members = set(crew.members.all()) if crew is not None and handlers else set()
    for at, worker in enumerate(handlers):
        if worker not in members:
            yield Fault(
                "invalid",
                _("%(worker)s is not in the crew of this order") % {"worker": worker.name},
                f"/handlers/{at}",
            )


def _line_faults(values: Mapping[str, Any]) -> Iterator[Fault]:
    programme, line = values.get("programme"), values.get("line")
    if line is None:
        return
    if programme is None:
        yield Fault("required", _("a line belongs to a programme: name it"), "/programme")
    elif str(line) not in [str(one.get("id")) for one in programme.lines]:
        yield Fault("not_found", _("the programme has no such line"), "/line")
