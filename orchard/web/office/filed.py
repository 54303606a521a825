"""What is on file: the records of what was sprayed, to print and to take along, and the notice to post."""

from __future__ import annotations

import zoneinfo

from django.http import HttpResponse
from django.utils.translation import gettext as _

from orchard.tasks import queries
from orchard.tasks.papers import wording
from orchard.web.doors import Visit, farm_page

MOST = 100


@farm_page("application_record")
def filed(visit: Visit) -> HttpResponse:
    """Show the newest records, each with its page to print."""
    rows = queries.records(farm=visit.farm).order_by("-started_at", "-id")[: MOST + 1]
    year = visit.now.astimezone(zoneinfo.ZoneInfo(visit.farm.zone)).year
    names = {"current": _("in force"), "corrected": _("corrected by a newer one"), "void": _("void")}
    shown = [
        {
            "record": one,
            "when": wording.moment(one.started_at, farm=visit.farm),
            "status": names[one.status],
        }
        for one in rows[:MOST]
    ]
    return visit.show(
        "web/office/filed.html",
        records=shown,
        more=len(rows) > MOST,
        most=MOST,
        year=year,
        api=visit.farm.path,
    )
