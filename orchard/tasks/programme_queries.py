"""Reading season plans, planning runs and the schedule."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django.db.models import Func, IntegerField, QuerySet

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


SCHEDULED = (
    "id",
    "kind",
    "title",
    "status",
    "block__id",
    "block__name",
    "crew__id",
    "crew__name",
    "starts_at",
    "ends_at",
    "window",
    "re_entry_until",
    "load_count",
    "totals",
    "updated_at",
    "version",
    "created_at",
)


def scheduled(orders: QuerySet[WorkOrder]) -> QuerySet[WorkOrder, Any]:
    """Return of each order what the schedule shows, as a named tuple of `SCHEDULED`."""
    count = Func("loads_planned", function="jsonb_array_length", output_field=IntegerField())
    return orders.annotate(load_count=count).values_list(*SCHEDULED, named=True)


def product_names(*, farm: Farm, ids: set[str]) -> dict[str, str]:
    """Return the names of products by their public id, in one query."""
    rows = Product.objects.for_farm(farm).filter(id__in=ids)
    return {str(id): name for id, name in rows.values_list("id", "name")}
