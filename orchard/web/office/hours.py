"""When a work order may be done: the hours of a fortnight, drawn, in numbers, and each with its reasons."""

from __future__ import annotations

import uuid
import zoneinfo
from typing import Any

from django.conf import settings
from django.http import HttpResponse
from django.utils.module_loading import import_string
from django.utils.safestring import mark_safe

from orchard.api.spoken import short_day
from orchard.tasks import queries, windows
from orchard.web.doors import Visit, farm_page


@farm_page("work_order", "read")
def hours(visit: Visit, order: uuid.UUID) -> HttpResponse:
    """Show the hours of an order."""
    row = queries.work_orders(farm=visit.farm).filter(id=order).first()
    if row is None:
        return visit.missing()
    drawn: Any = import_string(settings.ORDER_PICTURE)(order=row, now=visit.now)
    zone = zoneinfo.ZoneInfo(visit.farm.zone)
    spells = [
        {
            "since": short_day(one["since"].astimezone(zone), weekday=True, more=", H:i"),
            "until": short_day(one["until"].astimezone(zone), weekday=True, more=", H:i"),
            "says": [reason["says"] for reason in one["closed_by"]],
        }
        for one in windows.of_order(order=row, now=visit.now)
    ]
    return visit.show(
        "web/office/hours.html",
        order=row,
        # Our own drawing, its texts escaped where they are written.
        picture={"svg": mark_safe(drawn.svg), "heads": drawn.heads, "rows": drawn.rows},
        spells=spells,
        forecast=windows.forecast_seen(farm=visit.farm, now=visit.now),
    )
