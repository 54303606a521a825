"""The hours in which a work order may be done, from the weather hours of its farm.

What closes an hour is worked out in `scheduling`, which stands above this package; the settings name it.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.conf import settings
from django.utils.module_loading import import_string

from orchard.blocks import queries as blocks
from orchard.inventory import queries as store
from orchard.tasks import checks
from orchard.tasks.models import WorkOrder
from orchard.tasks.services import checking

AHEAD = dt.timedelta(days=14)


def of_order(*, order: WorkOrder, now: dt.datetime) -> list[dict[str, Any]]:
    """Return the windows from this hour on; none where no weather hours are stored."""
    since = now.replace(minute=0, second=0, microsecond=0)
    spray = order.kind == "spray"
    rows = blocks.hours(farm=order.farm, since=since, until=since + AHEAD)
    found: list[dict[str, Any]] = import_string(settings.SPRAY_WINDOWS)(
        hours=rows.order_by("at", "kind", "station", "id"),  # forecast before observed: the last one counts
        zone=checking.zone(order.farm),
        spray=spray,
        labels=_labels(order) if spray else [],
        crop=order.block.crop if order.block else "",
        limits=order.farm.limits,
        re_entry_until=order.block.re_entry_until if order.block and not spray else None,
    )
    return found


def _labels(order: WorkOrder) -> list[dict[str, Any]]:
    day = checking.local_day(order.farm, order.starts_at)
    versions = [
        wanted.label or store.label_in_force(product=wanted.product, on=day)
        for wanted in checks.of_order(order=order)
    ]
    return [version.label for version in versions if version is not None]
