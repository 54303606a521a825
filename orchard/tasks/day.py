"""What a phone takes along: a day's orders with their sheets, who may go in where, whom to call."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

from orchard.farms.models import Farm
from orchard.tasks import queries
from orchard.tasks.models import WorkOrder
from orchard.tasks.papers import notices, sheets
from orchard.tasks.services import checking

NOT_IN_IT = ("draft", "cancelled")
Json = dict[str, Any]


def orders_of(*, farm: Farm, on: dt.date, worker: Any = None) -> list[WorkOrder]:
    """Return the orders that are planned for a day or still going on, in their order.

    :param worker: id of a worker: only those of the crews that they belong to
    """
    midnight = dt.datetime.combine(on, dt.time(), tzinfo=checking.zone(farm))
    rows = queries.work_orders(farm=farm).exclude(status__in=NOT_IN_IT)
    today = rows.filter(starts_at__gte=midnight, starts_at__lt=midnight + dt.timedelta(days=1))
    going_on = rows.filter(status__in=("under_way", "held"), starts_at__lt=midnight)
    if worker is not None:
        mine = queries.of_worker(worker)
        today, going_on = today.filter(mine), going_on.filter(mine)
    return sorted({*today, *going_on}, key=lambda row: (row.starts_at, row.id))


def sheets_of(orders: Sequence[WorkOrder]) -> list[Json]:
    """Return the sheets of the sprays among the orders, in the language that is active."""
    return [
        sheets.of_order(order=order, address=sheets.page_of(order))
        for order in orders
        if order.kind == "spray"
    ]


def closed_blocks(*, farm: Farm, now: dt.datetime) -> Json:
    """Return which blocks were treated and from when they may be entered."""
    return notices.notice(farm=farm, now=now)
