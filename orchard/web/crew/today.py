"""Today's work in order: what is under way first, then what was to begin by now, then the next days."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from dataclasses import dataclass

from django.http import HttpResponse
from django.utils.translation import gettext as _

from orchard.farms.actors import Role
from orchard.tasks import crew_queries
from orchard.tasks.models import WorkOrder
from orchard.tasks.papers import wording
from orchard.web.crew import labels
from orchard.web.doors import Visit, farm_page

AHEAD = dt.timedelta(days=7)
SEES_ALL = frozenset({Role.OWNER, Role.MANAGER, Role.ADVISER, Role.STOREKEEPER})


@dataclass(frozen=True, slots=True)
class Card:
    """One order as a card shows it."""

    order: WorkOrder
    when: str
    state: str
    look: str


@farm_page("work_order")
def today(visit: Visit) -> HttpResponse:
    """Show what this person is to do."""
    zone = zoneinfo.ZoneInfo(visit.farm.zone)
    midnight = visit.now.astimezone(zone).replace(hour=0, minute=0, second=0, microsecond=0)
    tomorrow = midnight + dt.timedelta(days=1)
    rows = list(
        crew_queries.work_of(
            farm=visit.farm,
            worker=None if visit.by.role in SEES_ALL else visit.by.worker,
            since=midnight,
            until=tomorrow + AHEAD,
        )
    )
    papers = labels.to_keep((row for row in rows if row.status != "done"), farm=visit.farm)
    return visit.show(
        "web/crew/today.html",
        papers=papers,
        version=f"{tomorrow} {papers} {' '.join(f'{row.id}{row.etag}' for row in rows)}",
        day=wording.day(visit.now.astimezone(zone).date()),
        now=[_card(row, visit) for row in rows if row.status != "done" and row.starts_at < tomorrow],
        later=[_card(row, visit) for row in rows if row.status != "done" and row.starts_at >= tomorrow],
        done=[_card(row, visit) for row in rows if row.status == "done"],
    )


def _card(order: WorkOrder, visit: Visit) -> Card:
    look = {"under_way": "now", "done": "off", "held": "off"}.get(order.status, "")
    return Card(order, wording.moment(order.starts_at, farm=visit.farm), state(order.status), look)


def state(status: str) -> str:
    """Return a state in words."""
    return {
        "issued": _("to accept"),
        "accepted": _("to start"),
        "under_way": _("under way"),
        "held": _("held"),
        "done": _("done"),
        "cancelled": _("cancelled"),
        "draft": _("draft"),
    }.get(status, status)
