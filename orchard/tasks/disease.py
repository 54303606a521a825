"""Leaf curl and the cover of the last spray on a block, from weather hours, stages and application records.

What it comes to is worked out in `scheduling`, which stands above this package; the settings name it.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.conf import settings
from django.utils.module_loading import import_string

from mixing.quantities import parse_quantity
from orchard.blocks import queries as blocks
from orchard.blocks.models import Block
from orchard.tasks.models import ApplicationRecord
from orchard.tasks.services import checking

A_WINTER = dt.timedelta(days=200)
AHEAD = dt.timedelta(days=14)
BUD_SWELL, PETAL_FALL = 51, 69
LEAF_FALL = 93


def of_block(*, block: Block, now: dt.datetime) -> dict[str, Any]:
    """Return the wet spells since bud swell with their risk, the cover left, and whether to spray again."""
    zone = checking.zone(block.farm)
    since, until = _susceptible(block, now=now)
    record = _last_spray(block, now=now)
    first = min(
        one for one in (since, record.finished_at if record else None, now - AHEAD) if one is not None
    )
    rows = blocks.hours(farm=block.farm, since=first, until=now + AHEAD)
    found: dict[str, Any] = import_string(settings.BLOCK_DISEASE)(
        hours=rows.order_by("at", "kind", "station", "id"),
        zone=zone,
        crop=block.crop,
        susceptible_from=since,
        susceptible_until=until,
        sprayed_at=None if record is None else record.finished_at,
        interval=None if record is None else _longest(record, block.crop, "interval"),
        dry_time=None if record is None else _longest(record, block.crop, "rain_free"),
        now=now,
    )
    return found


def _susceptible(block: Block, *, now: dt.datetime) -> tuple[dt.datetime | None, dt.datetime | None]:
    """Return from when until when buds and shoots are open to it, by what was seen this winter."""
    zone = checking.zone(block.farm)
    day = now.astimezone(zone).date()
    seen = blocks.stages(block=block).filter(observed_on__gte=day - A_WINTER, observed_on__lte=day)
    swollen = seen.filter(bbch__gte=BUD_SWELL, bbch__lt=LEAF_FALL).order_by("observed_on", "id").first()
    over = seen.filter(bbch__gt=PETAL_FALL, bbch__lt=LEAF_FALL).order_by("observed_on", "id").first()
    starts, ends = (
        None if one is None else dt.datetime.combine(one.observed_on, dt.time(), tzinfo=zone)
        for one in (swollen, over)
    )
    return starts, ends


def _last_spray(block: Block, *, now: dt.datetime) -> ApplicationRecord | None:
    rows = ApplicationRecord.objects.for_farm(block.farm).filter(
        block=block, status="current", finished_at__lte=now, finished_at__gte=now - A_WINTER
    )
    return rows.exclude(kind="void").order_by("-finished_at", "-id").first()


def _longest(record: ApplicationRecord, crop: str, name: str) -> dt.timedelta | None:
    """Return the longest time of a name that the labels of a spray want after it on a crop."""
    waits = [
        parse_quantity(use[name]).in_base()
        for one in record.body.get("products") or []
        for use in (one.get("label") or {}).get("uses") or []
        if use.get(name) and crop in use.get("crops", ())
    ]
    return dt.timedelta(seconds=float(max(waits))) if waits else None
