"""Reading the work of one crew: what is on now, what comes, and what was done today."""

from __future__ import annotations

import datetime as dt
import uuid

from django.db.models import Q, QuerySet

from orchard.farms.models import Farm
from orchard.tasks import queries
from orchard.tasks.models import WorkOrder

GIVEN = ("issued", "accepted", "under_way", "held")
MOST = 60
"""A phone shows no more; whoever has more work than this asks the manager."""


def work_of(
    *, farm: Farm, worker: uuid.UUID | None, until: dt.datetime, since: dt.datetime
) -> QuerySet[WorkOrder]:
    """Return what was given out and starts before a moment, and what has ended since another, in order.

    :param worker: whose crews; None for all of the farm
    """
    open_ = Q(status__in=GIVEN, starts_at__lt=until)
    ended = Q(status="done", finished_at__gte=since)
    rows = queries.work_orders(farm=farm).filter(open_ | ended)
    if worker is not None:
        rows = rows.filter(Q(crew__members__id=worker) | Q(handlers__id=worker)).distinct()
    return rows.order_by("starts_at", "id")[:MOST]
