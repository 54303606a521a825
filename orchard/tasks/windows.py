"""The hours in which a work order may be done, from the weather hours of its farm.

What closes an hour is worked out in `scheduling`, which stands above this package; the settings name it.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.db.models import Min, Q
from django.utils.module_loading import import_string
from django.utils.translation import gettext as _

from orchard.blocks import outlines, weather_sense
from orchard.blocks import queries as blocks
from orchard.blocks.models import Block
from orchard.farms.models import Farm
from orchard.inventory import queries as store
from orchard.tasks import checks
from orchard.tasks.models import WorkOrder
from orchard.tasks.services import checking

AHEAD = dt.timedelta(days=14)
A_DAY = dt.timedelta(days=1)
BESIDE_M = 30


@dataclass(frozen=True, slots=True)
class ForecastSeen:
    """How fresh the weather forecast is that windows rest on.

    :ivar received_at: when the oldest hour of the day to come was posted, None where none of it is forecast
    :ivar stale_from: the first hour of the fortnight whose forecast is so old that a newer one is wanted
    """

    received_at: dt.datetime | None
    stale_from: dt.datetime | None

    @property
    def stale(self) -> bool:
        """Whether any hour is."""
        return self.stale_from is not None


def of_order(*, order: WorkOrder, now: dt.datetime) -> list[dict[str, Any]]:
    """Return the windows from this hour on; none where no weather hours are stored."""
    found: list[dict[str, Any]] = import_string(settings.SPRAY_WINDOWS)(**asked(order=order, now=now))
    return found


def forecast_seen(*, farm: Farm, now: dt.datetime) -> ForecastSeen:
    """Return how fresh the forecast of the fortnight is: a new one of tomorrow leaves next week's old."""
    hour = now.replace(minute=0, second=0, microsecond=0)
    rows = blocks.hours(farm=farm, since=hour, until=hour + AHEAD).filter(kind="forecast")
    found = rows.aggregate(
        oldest=Min("received_at", filter=Q(at__lte=now + A_DAY)),
        first_stale=Min("at", filter=Q(received_at__lt=weather_sense.stale_before(now))),
    )
    return ForecastSeen(found["oldest"], found["first_stale"])


def asked(*, order: WorkOrder, now: dt.datetime) -> dict[str, Any]:
    """Return what the windows of an order depend on, as plain values."""
    since = now.replace(minute=0, second=0, microsecond=0)
    spray = order.kind == "spray"
    rows = blocks.hours(farm=order.farm, since=since - A_DAY, until=since + AHEAD)
    return {
        "hours": rows.order_by("at", "kind", "station", "id"),
        "since": since,
        "zone": checking.zone(order.farm),
        "spray": spray,
        "labels": _labels(order) if spray else [],
        "crop": order.block.crop if order.block else "",
        "limits": order.farm.limits,
        "re_entry": closed_places(order.block, spray=spray, now=now) if order.block else [],
        "outlines": outlines_of(order.block, farm=order.farm),
    }


def closed_places(block: Block, *, spray: bool, now: dt.datetime) -> list[tuple[str, dt.datetime]]:
    """Return the name and the end of each re-entry interval that keeps people from a block.

    Its own does not keep those away who spray it again, in their protection; that of a block beside it does.

    Source of the distance: application exclusion zone of 100 ft, 40 CFR 170.405(a), US EPA, 2024.
    """
    found: list[tuple[str, dt.datetime]] = []
    if block.re_entry_until is not None and not spray:
        found.append(("", block.re_entry_until))
    if block.outline is None:
        return found
    others = blocks.blocks(farm=block.farm).filter(re_entry_until__gt=now, outline__isnull=False)
    for other in others.exclude(key=block.key).order_by("id"):
        near = other.outline is not None and outlines.apart(block.outline, other.outline) <= BESIDE_M
        if near and other.re_entry_until is not None:
            found.append((_("so near to %(block)s") % {"block": other.name}, other.re_entry_until))
    return found


def outlines_of(block: Block | None, *, farm: Farm) -> list[dict[str, Any]]:
    """Return the outline of a block, else all there are on its farm: where the sun is reckoned for."""
    if block is not None and block.outline is not None:
        return [block.outline]
    rows = blocks.blocks(farm=farm).filter(outline__isnull=False, archived=False).order_by("id")
    return [row.outline for row in rows if row.outline is not None]


def _labels(order: WorkOrder) -> list[dict[str, Any]]:
    day = checking.local_day(order.farm, order.starts_at)
    versions = [
        wanted.label or store.label_in_force(product=wanted.product, on=day)
        for wanted in checks.of_order(order=order)
    ]
    return [version.label for version in versions if version is not None]
