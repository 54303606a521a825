"""Plans: ask for one, see what it came to and why something was left out, issue its drafts or drop them."""

from __future__ import annotations

import datetime as dt
import uuid
import zoneinfo
from collections.abc import Mapping
from typing import Any

from django.http import HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.translation import gettext as _
from uuid6 import uuid7

from orchard.api import wording as short_words
from orchard.blocks import queries as block_queries
from orchard.farms import fence
from orchard.tasks import programme_queries, queries, titles, told
from orchard.tasks.models import PlanningRun, WorkOrder
from orchard.tasks.papers import wording
from orchard.web import acting, fields
from orchard.web.crew.work import Form
from orchard.web.doors import Visit, farm_page
from orchard.web.fields import Field
from orchard.web.office import hours

FORTNIGHT = dt.timedelta(days=14)
RUNS = 3
MOVES = ("issue", "cancel", "move")
WHEN = "%Y-%m-%d %H:%M"


@farm_page("planning_run", "create", acts=True)
def plan(visit: Visit) -> HttpResponse:
    """Show the drafts and the last plans, and ask for a new one."""
    if visit.request.method != "POST":
        return _page(visit)
    answer = acting.call(
        visit.request, f"{visit.farm.path}/planning-runs", _asked(visit), headers=_key(visit)
    )
    if answer.status_code < 400:
        return HttpResponseRedirect(reverse("plan", args=[visit.farm.id]))
    return _page(visit, faults=acting.problem(answer)["errors"], status=answer.status_code)


@farm_page("work_order", "issue", acts=True)
def decide(visit: Visit, order: uuid.UUID, move: str) -> HttpResponse:
    """Issue a draft, or drop it; what stands against it is told on the page."""
    if visit.request.method != "POST" or move not in MOVES:
        return HttpResponseRedirect(reverse("plan", args=[visit.farm.id]))
    with fence.opened(visit.farm.id):
        row = queries.work_orders(farm=visit.farm).filter(id=order, status="draft").first()
    if row is None:
        return visit.missing()
    answer = _do(visit, row, move)
    if answer.status_code < 400:
        return HttpResponseRedirect(reverse("plan", args=[visit.farm.id]))
    wrong = [fields.words_of(one) for one in acting.problem(answer)["errors"]]
    return _page(visit, refused={"order": order, "wrong": wrong}, status=answer.status_code)


def _do(visit: Visit, order: WorkOrder, move: str) -> HttpResponse:
    headers = {**_key(visit), "If-Match": order.etag}
    if move == "move":
        body = {"starts_at": _moment(visit, visit.request.POST.get("starts_at", ""))}
        return acting.call(visit.request, order.path, body, headers=headers, method="PATCH")
    body = {"reason": _("not wanted")} if move == "cancel" else {}
    return acting.call(visit.request, f"{order.path}/actions/{move}", body, headers=headers)


def _moment(visit: Visit, text: str) -> str:
    """Return what was typed in the farm's time; left as it is where it is no moment, to be refused so."""
    try:
        typed = dt.datetime.strptime(text.strip(), WHEN)  # noqa: DTZ007  (the zone comes next)
    except ValueError:
        return text
    return typed.replace(tzinfo=zoneinfo.ZoneInfo(visit.farm.zone)).isoformat()


def _key(visit: Visit) -> dict[str, str]:
    return {"Idempotency-Key": visit.request.POST.get("key") or str(uuid7())}


def _asked(visit: Visit) -> dict[str, Any]:
    """Return the body of a planning run: whole days of the farm."""
    zone = zoneinfo.ZoneInfo(visit.farm.zone)
    body = acting.body_of(visit.request.POST)
    for name, after in (("from", dt.timedelta()), ("until", dt.timedelta(days=1))):
        try:
            on = dt.date.fromisoformat(str(body[name])) + after
            body[name] = dt.datetime.combine(on, dt.time(), tzinfo=zone).isoformat()
        except (KeyError, ValueError, OverflowError):
            pass  # left as it is: the address says what is wrong with it
    return body


def _page(
    visit: Visit, *, faults: Any = (), refused: dict[str, Any] | None = None, status: int = 200
) -> HttpResponse:
    with fence.opened(visit.farm.id):
        programmes = list(programme_queries.programmes(farm=visit.farm).exclude(status="closed"))
        drafts = list(queries.work_orders(farm=visit.farm).filter(status="draft").order_by("starts_at", "id"))
        runs = list(programme_queries.planning_runs(farm=visit.farm).order_by("-created_at", "-id")[:RUNS])
        stale_from = hours.stale_from(visit)
        names: dict[str | None, str] = {
            str(one.id): one.name for one in block_queries.blocks(farm=visit.farm)
        }
    today = visit.now.astimezone(zoneinfo.ZoneInfo(visit.farm.zone)).date()
    asked = [
        Field(
            "programme",
            _("Season plan"),
            "choice",
            required=True,
            choices=tuple((str(one.id), titles.said(one.name)) for one in programmes),
        ),
        Field("from", _("From (year-month-day)"), required=True, value=today.isoformat()),
        Field("until", _("To (year-month-day)"), required=True, value=(today + FORTNIGHT).isoformat()),
    ]
    typed = fields.typed(asked, visit.request.POST.dict()) if faults else asked
    known, wrong = fields.judged(typed, faults)
    wrong = fields.on_top(known, wrong)
    return visit.show(
        "web/office/plan.html",
        status=status,
        form=Form("plan", known, [], wrong, str(uuid7())),
        programmes=programmes,
        drafts=[_draft(one, visit, refused) for one in drafts],
        runs=[_run(one, names, visit) for one in runs],
        key=str(uuid7()),
        stale_from=stale_from,
    )


def _run(run: PlanningRun, blocks: Mapping[str | None, str], visit: Visit) -> dict[str, Any]:
    lines = {one.get("id"): titles.said(one["title"]) for one in run.programme.lines}
    left_out = [
        {
            "stands": one["code"] == "planned_already",
            "what": ", ".join(filter(None, (lines.get(one.get("line")), blocks.get(one.get("block"))))),
            "why": _why(one),
        }
        for one in (run.result or {}).get("left_out", ())
    ]
    when = wording.moment(run.created_at, farm=visit.farm)
    return {
        "run": run,
        "name": titles.said(run.programme.name),
        "when": when,
        "left_out": [one for one in left_out if not one["stands"]],
        "stand": [one for one in left_out if one["stands"]],
    }


def _why(one: dict[str, Any]) -> str:
    """Return why a line was left out; what a check or a refusal said stands in the words of that day."""
    if "told" in one:
        return told.said_of(one)
    return " ".join(filter(None, (short_words.sentence(one["code"]), one["says"])))


def _draft(order: WorkOrder, visit: Visit, refused: dict[str, Any] | None) -> dict[str, Any]:
    return {
        "order": order,
        "when": wording.moment(order.starts_at, farm=visit.farm),
        "because": told.why(order.window),
        "starts_at": order.starts_at.astimezone(zoneinfo.ZoneInfo(visit.farm.zone)).strftime(WHEN),
        "wrong": refused["wrong"] if refused and refused["order"] == order.id else [],
    }
