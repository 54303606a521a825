"""When a work order may be done: the hours of a fortnight, drawn, in numbers, and each with its reasons."""

from __future__ import annotations

import datetime as dt
import itertools
import uuid
import zoneinfo
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from django.conf import settings
from django.http import HttpResponse
from django.utils.module_loading import import_string
from django.utils.safestring import mark_safe

from orchard.api.spoken import short_day
from orchard.tasks import queries, windows
from orchard.web.doors import Visit, farm_page

HOUR = dt.timedelta(hours=1)


@farm_page("work_order", "read")
def hours(visit: Visit, order: uuid.UUID) -> HttpResponse:
    """Show the hours of an order."""
    row = queries.work_orders(farm=visit.farm).filter(id=order).first()
    if row is None:
        return visit.missing()
    drawn: Any = import_string(settings.ORDER_PICTURE)(order=row, now=visit.now)
    zone = zoneinfo.ZoneInfo(visit.farm.zone)
    return visit.show(
        "web/office/hours.html",
        order=row,
        # Our own drawing, its texts escaped where they are written.
        picture={"svg": mark_safe(drawn.svg), "heads": drawn.heads, "rows": drawn.rows},
        days=list(_days(windows.of_order(order=row, now=visit.now), zone)),
        stale_from=stale_from(visit),
    )


def stale_from(visit: Visit) -> str | None:
    """Return the first hour of the fortnight whose forecast is old, as people read it; None where none is."""
    since = windows.forecast_seen(farm=visit.farm, now=visit.now).stale_from
    if since is None:
        return None
    here = since.astimezone(zoneinfo.ZoneInfo(visit.farm.zone))
    return short_day(here, weekday=True, more=", H:i")


def _days(windows: Sequence[Mapping[str, Any]], zone: zoneinfo.ZoneInfo) -> Iterator[dict[str, Any]]:
    """Yield each day with its spells and how many of its hours are open."""
    pieces = (piece for one in _with_gaps(windows) for piece in _by_day(one, zone))
    for on, mine in itertools.groupby(pieces, key=lambda piece: piece["on"]):
        spells = list(mine)
        hours = sum(one["hours"] for one in spells if one["known"] and not one["says"])
        yield {"on": short_day(on, weekday=True), "open": hours, "spells": spells}


def _with_gaps(windows: Sequence[Mapping[str, Any]]) -> Iterator[Mapping[str, Any]]:
    """Yield the windows, and what lies between them where no hours are stored."""
    before: dt.datetime | None = None
    for one in windows:
        if before is not None and before < one["since"]:
            yield {"since": before, "until": one["since"], "closed_by": None}
        yield one
        before = one["until"]


def _by_day(window: Mapping[str, Any], zone: zoneinfo.ZoneInfo) -> Iterator[dict[str, Any]]:
    """Yield the parts of a window, cut at midnight where the farm lies."""
    since, until = (window[name].astimezone(dt.UTC) for name in ("since", "until"))
    while since < until:
        here = since.astimezone(zone)
        tomorrow = dt.datetime.combine(here.date() + dt.timedelta(days=1), dt.time(), tzinfo=zone)
        ends = min(until, tomorrow.astimezone(dt.UTC))
        yield {
            "on": here.date(),
            "since": f"{here:%H:%M}",
            "until": "24:00" if ends == tomorrow else f"{ends.astimezone(zone):%H:%M}",
            "hours": round((ends - since) / HOUR),
            "known": window["closed_by"] is not None,
            "says": [reason["says"] for reason in window["closed_by"] or ()],
        }
        since = ends
