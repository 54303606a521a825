"""People and what they may do: trainings, tests and licences with the day they end; sprayers when due."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from typing import Any

from django.http import HttpResponse
from django.utils.translation import gettext as _

from orchard.crews import queries
from orchard.crews.models import Qualification
from orchard.web.doors import Visit, farm_page

SOON = dt.timedelta(days=30)


@farm_page("qualification", "create")
def people(visit: Visit) -> HttpResponse:
    """Show who is trained until when, the crews, and the sprayers."""
    today = visit.now.astimezone(zoneinfo.ZoneInfo(visit.farm.zone)).date()
    workers = queries.workers(farm=visit.farm).filter(archived=False).order_by("name", "id")
    latest = _latest(visit)
    return visit.show(
        "web/office/people.html",
        workers=[
            {"worker": one, "papers": [_paper(paper, today) for paper in latest.get(one.pk, [])]}
            for one in workers
        ],
        crews=list(queries.crews(farm=visit.farm).filter(archived=False).order_by("name", "id")),
        sprayers=[
            {"sprayer": one, "look": _look(getattr(one, "due_on", None), today)}
            for one in queries.sprayers(farm=visit.farm).filter(archived=False).order_by("name", "id")
        ],
    )


def _latest(visit: Visit) -> dict[Any, list[Qualification]]:
    rows = Qualification.objects.for_farm(visit.farm).select_related("worker")
    found: dict[Any, list[Qualification]] = {}
    for one in rows.order_by("worker_id", "kind", "-expires_on", "-id").distinct("worker", "kind"):
        found.setdefault(one.worker.pk, []).append(one)
    return found


def _paper(one: Qualification, today: dt.date) -> dict[str, Any]:
    names = {
        "handler_training": _("Handler training"),
        "respirator_fit_test": _("Respirator fit test"),
        "licence": _("Licence"),
    }
    name = names.get(one.kind, one.kind.replace("_", " "))
    return {"name": name, "until": one.expires_on, "look": _look(one.expires_on, today)}


def _look(until: dt.date | None, today: dt.date) -> str:
    """Return `over`, `soon` or nothing."""
    if until is None or until < today:
        return "over"
    return "soon" if until <= today + SOON else ""
