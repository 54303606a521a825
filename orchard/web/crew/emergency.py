"""The emergency card: whom to call, where the blocks lie, what is sprayed today. It names no farm and nobody.

It is all that a phone still shows when nobody is signed in, so nothing else may ever stand on it.
"""

from __future__ import annotations

import datetime as dt
import zoneinfo
from typing import Any

from django.http import HttpResponse

from mixing import catalogue
from orchard.api.spoken import ingredient
from orchard.blocks import queries as blocks
from orchard.blocks.models import Block
from orchard.inventory import queries as store
from orchard.tasks import crew_queries
from orchard.tasks.papers import wording
from orchard.web.doors import Visit, farm_page

PLACES = 5
"""Decimals of a degree: about a metre."""


@farm_page("emergency_list")
def emergency(visit: Visit) -> HttpResponse:
    """Show the card."""
    zone = zoneinfo.ZoneInfo(visit.farm.zone)
    midnight = visit.now.astimezone(zone).replace(hour=0, minute=0, second=0, microsecond=0)
    places = [
        _place(one) for one in blocks.blocks(farm=visit.farm).filter(archived=False).order_by("name", "id")
    ]
    products = _products_of(visit, midnight)
    return visit.show(
        "web/crew/emergency.html",
        version=f"{midnight} {visit.farm.etag} {places} {products}",
        places=[one for one in places if one["at"]],
        products=products,
        as_of=wording.moment(visit.now, farm=visit.farm),
    )


def _place(block: Block) -> dict[str, str]:
    """Return a block with the middle of its outline as latitude and longitude."""
    ring = block.outline["coordinates"][0] if block.outline else []
    if not ring:
        return {"name": block.name, "at": ""}
    east, north = ([point[axis] for point in ring] for axis in (0, 1))
    middle = [(min(one) + max(one)) / 2 for one in (north, east)]
    return {"name": block.name, "at": ", ".join(f"{one:.{PLACES}f}" for one in middle)}


def _products_of(visit: Visit, midnight: dt.datetime) -> list[dict[str, Any]]:
    """Return what today's orders take, as the labels in force name it."""
    rows = crew_queries.work_of(
        farm=visit.farm, worker=None, since=midnight, until=midnight + dt.timedelta(days=1)
    )
    wanted = {one["product"] for row in rows for one in row.products}
    found: Any = store.with_label(store.products(farm=visit.farm), on=midnight.date())
    labels = [
        (row, row.in_force[0].label if row.in_force else {})
        for row in found.filter(id__in=wanted).order_by("name", "id")
    ]
    return [
        {
            "name": row.name,
            "registration": label.get("registration") or "",
            "ingredients": [ingredient(one["name"]) for one in label.get("active_ingredients") or ()],
            "hazards": [
                *_signal(label.get("signal_word")),
                *(label.get("hazards") or ()),
            ],
        }
        for row, label in labels
    ]


def _signal(code: str | None) -> list[str]:
    return [catalogue.word("signal_word", code, wording.language())] if code else []
