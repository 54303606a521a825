"""One work order for the crew: where, what to wear, what to mix, and one button for what comes next.

All of an order is one page, so that a phone that has read it needs no signal any more. Without a script it is
one long page whose forms work; with it one part is shown at a time.
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.http import HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.translation import gettext as _
from uuid6 import uuid7

from orchard.api.refusals import Conflict
from orchard.blocks import queries as blocks
from orchard.blocks.models import Block
from orchard.crews.models import Worker
from orchard.farms import fence
from orchard.tasks import queries
from orchard.tasks.models import WorkOrder
from orchard.tasks.papers import sheets, wording
from orchard.tasks.papers.sheet_pdf import Alike, alike
from orchard.tasks.services import cautions
from orchard.tasks.states import MOVES
from orchard.web import acting, fields, outline
from orchard.web.crew import forms, labels
from orchard.web.crew.today import state
from orchard.web.doors import Visit, farm_page
from orchard.web.fields import Field

ACTIONS = ("accept", "start", "record_load", "finish", "hold", "resume")


@dataclass(frozen=True, slots=True)
class Form:
    """One form of the page: its fields, and what is wrong with the whole of it."""

    action: str
    fields: list[Field]
    more: list[Field]
    wrong: list[str]
    key: str


@farm_page("work_order")
def work(visit: Visit, order: uuid.UUID) -> HttpResponse:
    """Show a work order."""
    found = queries.work_orders(farm=visit.farm).filter(id=order).first()
    return visit.missing() if found is None else _page(visit, found)


@farm_page("work_order", acts=True)
def act(visit: Visit, order: uuid.UUID, action: str) -> HttpResponse:
    """Do what a form of the page says."""
    with fence.opened(visit.farm.id):
        found = queries.work_orders(farm=visit.farm).filter(id=order).first()
    if found is None or action not in ACTIONS:
        return visit.missing()
    here = reverse("work", args=[visit.farm.id, found.id])
    if visit.request.method != "POST":
        return HttpResponseRedirect(here)
    posted = visit.request.POST
    headers = {
        "If-Match": "*" if MOVES[action].happened else found.etag,
        "Idempotency-Key": posted.get("key") or str(uuid7()),
    }
    answer = acting.call(
        visit.request, f"{found.path}/actions/{action}", acting.body_of(posted), headers=headers
    )
    if answer.status_code < 400:
        return HttpResponseRedirect(f"{here}#next")
    faults = acting.problem(answer)["errors"]
    with fence.opened(visit.farm.id):
        return _page(
            visit, found, asked=action, typed=posted.dict(), faults=faults, status=answer.status_code
        )


def _page(
    visit: Visit,
    order: WorkOrder,
    *,
    asked: str = "",
    typed: Mapping[str, str] | None = None,
    faults: Any = (),
    status: int = 200,
) -> HttpResponse:
    sheet = _sheet(visit, order)
    groups = alike(sheet["loads"]) if sheet else []
    recorded = sorted(queries.loads(order=order).values_list("number", flat=True))
    good_to_know = [one.detail for one in cautions.of_order(order, now=visit.now)]
    made, step = _forms(visit, order, recorded), _next_step(order, recorded)
    if asked in made:
        told = fields.typed(made[asked].fields, typed or {})
        more = fields.typed(made[asked].more, typed or {})
        known, wrong = fields.judged([*told, *more], faults)
        key = (typed or {}).get("key") or made[asked].key
        made[asked] = Form(asked, known[: len(told)], known[len(told) :], fields.on_top(known, wrong), key)
    return visit.show(
        "web/crew/work.html",
        status=status,
        version=f"{order.etag} {recorded} {good_to_know}",
        order=order,
        sheet=sheet,
        good_to_know=good_to_know,
        state=state(order.status),
        when=wording.moment(order.starts_at, farm=visit.farm),
        crop=wording.crop(order.block.crop) if order.block else "",
        groups=[_group(one, place) for place, one in enumerate(groups, 1)],
        recorded=recorded,
        forms=made,
        refused=[] if _has_form(order, asked, step) else [fields.words_of(one) for one in faults],
        asked=asked,
        step=step,
        plan=json.dumps(_plan(order, groups, recorded)),
        map=_map(order),
        labels=labels.of_order(order),
        re_entry=wording.quantity(sheet["re_entry"]) if sheet else "",
        closed_until=wording.moment(order.re_entry_until, farm=visit.farm),
    )


def _has_form(order: WorkOrder, action: str, step: str) -> bool:
    """Say whether the page still has the form of an action, in the state that the order is in now."""
    of_states = {"accept": step == "accept", "resume": order.status == "held"}
    return of_states.get(action, order.status != "done")


def _sheet(visit: Visit, order: WorkOrder) -> dict[str, Any] | None:
    try:
        return sheets.of_order(order=order, address=visit.request.build_absolute_uri(sheets.page_of(order)))
    except Conflict:  # a draft or a cancelled order has no sheet
        return None


def _group(group: Alike, place: int) -> dict[str, Any]:
    """Return loads that are mixed alike, as the page shows them."""
    steps = [
        {
            **one,
            "amounts": [wording.quantity(part) for part in one["measure"] or [one["exact"]] if part],
            "exact": wording.quantity(one["exact"])
            if one["measure"] not in ([], None, [one["exact"]])
            else "",
            "time": wording.quantity(one["for"]),
            "doing": _doing(one),
        }
        for one in group.load["steps"]
    ]
    return {
        "place": place,
        "numbers": group.numbers,
        "spray": wording.quantity(group.load["spray"]),
        "steps": steps,
    }


def _doing(step: Mapping[str, Any]) -> str:
    told = {"agitate": _("Agitate"), "wait": _("Wait")}
    return told.get(step["action"], step["name"] or "")


def _forms(visit: Visit, order: WorkOrder, recorded: list[int]) -> dict[str, Form]:
    """Return the forms that this person may send for this order, whatever state it is in now."""
    people = _people(order)
    reserved = queries.reservations(farm=visit.farm, orders=[order])[order.id]
    names = {str(one.product.id): one.product.name for one in reserved}
    number = next((one["number"] for one in order.loads_planned if one["number"] not in recorded), 1)
    incidents = list(queries.incidents(farm=visit.farm, work_order=order))
    spray, near = order.kind == "spray", _near(order)
    offered = {
        "accept": forms.accept(order),
        "start": forms.start(order, near=near),
        "record_load": forms.record_load(order, number=number, people=people, worker=visit.by.worker)
        if spray
        else [],
        "finish": forms.finish(order, incidents=incidents, near=near),
        "hold": forms.hold(),
        "resume": forms.resume(),
    }
    more = {"record_load": forms.other_amounts(order, reserved=reserved, names=names)}
    return {
        action: Form(action, found, more.get(action, []), [], str(uuid7()))
        for action, found in offered.items()
        if found and visit.may("work_order", action)
    }


def _near(order: WorkOrder) -> list[Block]:
    """Return the blocks on which a rest may have gone, the order's own first."""
    rows = blocks.blocks(farm=order.farm).filter(archived=False).order_by("name", "id")[:60]
    others = [one for one in rows if order.block is None or one.pk != order.block.pk]
    return others if order.block is None else [order.block, *others]


def _people(order: WorkOrder) -> list[Worker]:
    named = list(order.handlers.all())
    if named or order.crew is None:
        return named
    return list(order.crew.members.order_by("name", "id"))


def _next_step(order: WorkOrder, recorded: list[int]) -> str:
    """Return the part of the page that comes next."""
    if order.status == "under_way" and order.kind == "spray":
        left = [one for one in order.loads_planned if one["number"] not in recorded]
        return "mix" if left else "finish"
    return {"issued": "accept", "accepted": "start", "under_way": "finish", "held": "resume"}.get(
        order.status, ""
    )


def _plan(order: WorkOrder, groups: list[Alike], recorded: list[int]) -> dict[str, Any]:
    """Return what the script needs to go through the page without a signal."""
    of = {number: place for place, group in enumerate(groups, 1) for number in group.numbers}
    return {
        "order": str(order.id),
        "title": order.called,
        "kind": order.kind,
        "status": order.status,
        "held_from": order.held_from,
        "recorded": recorded,
        "loads": [
            {"number": one["number"], "spray": one["spray"], "group": of.get(one["number"], 1)}
            for one in order.loads_planned
        ],
    }


def _map(order: WorkOrder) -> outline.Map | None:
    if order.block is None or not order.block.outline:
        return None
    near = blocks.blocks(farm=order.farm).filter(outline__isnull=False, archived=False)[:60]
    return outline.map_of(near, own=order.block)
