"""What I have sent: what the farm has from this person; what still waits the phone adds itself."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.http import HttpResponse
from django.utils.translation import gettext as _

from orchard.farms import queries as farm_queries
from orchard.farms.models import AuditEntry
from orchard.tasks import queries
from orchard.tasks.papers import wording
from orchard.web.doors import Visit, farm_page

BACK = dt.timedelta(days=3)
MOST = 60


@farm_page("work_order", "record_load")
def sent(visit: Visit) -> HttpResponse:
    """Show what arrived of what this person told, the latest first."""
    rows = (
        farm_queries.audit(farm=visit.farm, by=visit.person.id, since=visit.now - BACK)
        .filter(outcome="done", resource__in=("work_order", "load", "incident"))
        .exclude(resource="work_order", action="record_load")
        .order_by("-at", "-id")[:MOST]
    )
    entries = list(rows)
    titles = _titles(visit, entries)
    lines = [_line(one, titles, visit) for one in entries]
    return visit.show("web/crew/sent.html", entries=lines, as_of=wording.moment(visit.now, farm=visit.farm))


def _titles(visit: Visit, entries: list[AuditEntry]) -> dict[str, str]:
    ids = {one.resource_id for one in entries if one.resource == "work_order"}
    ids |= {(one.after or {}).get("work_order") for one in entries}
    rows = queries.work_orders(farm=visit.farm).filter(id__in=[one for one in ids if one])
    return {str(row.id): row.called for row in rows}


def _line(entry: AuditEntry, titles: dict[str, str], visit: Visit) -> dict[str, Any]:
    order = (
        str(entry.resource_id)
        if entry.resource == "work_order"
        else str((entry.after or {}).get("work_order"))
    )
    return {
        "at": wording.moment(entry.at, farm=visit.farm),
        "what": _what(entry),
        "title": titles.get(order, ""),
        "order": order if order in titles else "",
    }


def _what(entry: AuditEntry) -> str:
    if entry.resource == "incident":
        return _("Danger or accident told")
    if entry.resource == "load":
        return _("Load {number} written down").format(number=(entry.after or {}).get("number", ""))
    return {
        "accept": _("Taken on"),
        "start": _("Started"),
        "finish": _("Finished"),
        "hold": _("Stopped"),
        "resume": _("Gone on"),
    }.get(entry.action, entry.action)
