"""Reading what the posting notice tells: applications not yet off the board, and sprays under way."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django.db.models import QuerySet
from django.db.models.functions import Coalesce

from orchard.farms.models import Farm
from orchard.tasks import queries
from orchard.tasks.models import ApplicationRecord, WorkOrder


def to_post(*, farm: Farm, since: dt.datetime, block: uuid.UUID | None = None) -> QuerySet[ApplicationRecord]:
    """Return the records that stand and whose interval, or end, lies after a moment; the latest first."""
    rows = queries.records(farm=farm, status="current", **_where(block))
    over = Coalesce("re_entry_until", "finished_at")
    return rows.annotate(over=over).filter(over__gt=since).order_by("-finished_at", "id")


def being_sprayed(*, farm: Farm, block: uuid.UUID | None = None) -> QuerySet[WorkOrder]:
    """Return the sprays that have begun and not ended, held ones too."""
    rows = queries.work_orders(farm=farm, kind="spray", finished_at=None, **_where(block))
    return rows.filter(started_at__isnull=False).exclude(status="cancelled").order_by("started_at", "id")


def _where(block: uuid.UUID | None) -> dict[str, Any]:
    return {} if block is None else {"block__id": block}
