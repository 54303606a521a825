"""The hours that somebody was out: from the start of an order to its end, pauses taken off."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from typing import Any

from mixing.quantities import plain
from orchard.crews.models import Worker
from orchard.tasks import queries
from orchard.tasks.models import WorkOrder
from orchard.tasks.services import checking

HOUR = Decimal(3600)


def of_worker(
    *, worker: Worker, since: dt.date | None = None, until: dt.date | None = None
) -> dict[str, Any]:
    """Return the orders that a worker's crews ended, each with its hours [h], and their sum."""
    rows = queries.work_orders(farm=worker.farm, status="done", started_at__isnull=False)
    items, total = [], dt.timedelta()
    for order in rows.filter(queries.of_worker(worker.id)).order_by("started_at", "id"):
        assert order.started_at is not None
        on = checking.local_day(worker.farm, order.started_at)
        if (since and on < since) or (until and on > until) or not _took_part(order, worker):
            continue
        spent = time_of(order)
        total += spent
        items.append(
            {
                "work_order": str(order.id),
                "number": order.number,
                "kind": order.kind,
                "on": on,
                "hours": _in_hours(spent),
            }
        )
    return {"items": items, "total": _in_hours(total)}


def time_of(order: WorkOrder) -> dt.timedelta:
    """Return how long an order took, its pauses taken off."""
    assert order.started_at is not None and order.finished_at is not None
    paused = dt.timedelta()
    for pause in order.pauses:
        if pause["until"] and pause["from_state"] == "under_way":
            paused += dt.datetime.fromisoformat(pause["until"]) - dt.datetime.fromisoformat(pause["at"])
    return max(order.finished_at - order.started_at - paused, dt.timedelta())


def _took_part(order: WorkOrder, worker: Worker) -> bool:
    named = order.handlers.all()
    return not named or worker in named


def _in_hours(spent: dt.timedelta) -> str:
    return plain(Decimal(spent.total_seconds()) / HOUR, 2)
