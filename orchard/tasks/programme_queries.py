"""Reading season plans, planning runs and the schedule."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any, NamedTuple

from django.db.models import Func, IntegerField, QuerySet

from orchard.api import statements
from orchard.farms.models import Farm
from orchard.inventory.models import Product
from orchard.tasks.models import PlanningRun, Programme, WorkOrder

SHOWN = ("issued", "accepted", "under_way", "done", "held", "cancelled")


def programmes(*, farm: Farm) -> QuerySet[Programme]:
    """Return the farm's season plans."""
    return Programme.objects.for_farm(farm).select_related("farm")


def planning_runs(*, farm: Farm) -> QuerySet[PlanningRun]:
    """Return the farm's planning runs."""
    return PlanningRun.objects.for_farm(farm).select_related("farm", "programme")


def schedule(
    *,
    farm: Farm,
    since: dt.datetime | None = None,
    until: dt.datetime | None = None,
    crew: uuid.UUID | None = None,
    block: uuid.UUID | None = None,
    status: str | None = None,
    updated_since: dt.datetime | None = None,
) -> QuerySet[WorkOrder]:
    """Return the orders that are in the schedule: all but drafts, and drafts that were cancelled."""
    rows = (
        WorkOrder.objects.for_farm(farm)
        .filter(status__in=SHOWN)
        .exclude(status="cancelled", mix_check=None, kind="spray")
        .select_related("farm", "block", "crew")
    )
    wanted = {
        "starts_at__gte": since,
        "starts_at__lt": until,
        "crew__id": crew,
        "block__id": block,
        "status": status,
        "updated_at__gte": updated_since,
    }
    return rows.filter(**{name: value for name, value in wanted.items() if value is not None})


class Scheduled(NamedTuple):
    """What the schedule shows of one order."""

    id: uuid.UUID
    kind: str
    title: str
    status: str
    block_id: uuid.UUID | None
    block_name: str | None
    crew_id: uuid.UUID | None
    crew_name: str | None
    starts_at: dt.datetime
    ends_at: dt.datetime | None
    window: dict[str, str] | None
    re_entry_until: dt.datetime | None
    load_count: int
    totals: list[dict[str, Any]]
    updated_at: dt.datetime
    version: int
    created_at: dt.datetime


OF_ANOTHER = {
    "block_id": "block__id",
    "block_name": "block__name",
    "crew_id": "crew__id",
    "crew_name": "crew__name",
}


def scheduled(orders: QuerySet[WorkOrder]) -> list[Scheduled]:
    """Return of each order what the schedule shows."""
    count = Func("loads_planned", function="jsonb_array_length", output_field=IntegerField())
    columns = [OF_ANOTHER.get(name, name) for name in Scheduled._fields]
    rows = orders.annotate(load_count=count).values_list(*columns)
    return [Scheduled(*row) for row in statements.read_rows(rows)]


NAMES = f"SELECT id, name FROM {Product._meta.db_table} WHERE farm_id = $1 AND id = ANY($2)"


def product_names(*, farm: Farm, ids: set[str]) -> dict[str, str]:
    """Return the names of products by their public id, in one query."""
    rows = statements.read(NAMES, [farm.id, [uuid.UUID(one) for one in ids]])
    return {str(id): name for id, name in rows}
