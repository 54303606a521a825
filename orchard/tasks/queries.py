"""Reading work orders, loads, application records and incidents."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable
from typing import Any

from django.db.models import Case, F, Q, QuerySet, Value, When

from orchard.blocks.models import Block
from orchard.crews.models import Crew
from orchard.farms.models import Farm
from orchard.inventory import queries as store
from orchard.inventory.models import Reservation, Shortage
from orchard.tasks.models import ApplicationRecord, Incident, Load, WorkOrder
from orchard.tasks.states import OPEN

REFERENCES = ("farm", "block__farm", "sprayer__farm", "crew", "programme", "mix_check")


def work_orders(
    *,
    farm: Farm,
    since: dt.datetime | None = None,
    until: dt.datetime | None = None,
    overdue_at: dt.datetime | None = None,
    **filters: Any,
) -> QuerySet[WorkOrder]:
    """Return the farm's work orders with what they name.

    :param since: `starts_at` at or after
    :param until: `starts_at` at or before
    :param overdue_at: only those that are still open though their planned time is over by then
    """
    rows = WorkOrder.objects.for_farm(farm).select_related(*REFERENCES).prefetch_related("handlers")
    if since is not None:
        filters["starts_at__gte"] = since
    if until is not None:
        filters["starts_at__lte"] = until
    return rows.filter(late(overdue_at) if overdue_at else Q(), **filters)


def of_worker(worker: uuid.UUID | None) -> Q:
    """Return the condition that an order is for a crew that somebody belongs to; nobody's are nobody's."""
    if worker is None:
        return Q(pk__in=[])
    return Q(crew__in=Crew.members.through.objects.filter(worker__id=worker).values("crew"))


def late(at: dt.datetime) -> Q:
    """Return the condition that an order is open though its planned time is over."""
    over = Q(ends_at__lt=at) | Q(ends_at=None, starts_at__lt=at)
    return Q(status__in=OPEN) & over


def locked_order(*, farm: Farm, id: uuid.UUID) -> WorkOrder | None:
    """Return a work order with its row locked."""
    rows = work_orders(farm=farm).filter(id=id)
    return rows.select_for_update(of=("self",), no_key=True).first()


def loads(*, order: WorkOrder) -> QuerySet[Load]:
    """Return the loads of a work order."""
    return (
        Load.objects.for_farm(order.farm)
        .filter(work_order=order)
        .select_related("farm", "work_order", "mixed_by")
    )


def all_loads(*, farm: Farm) -> QuerySet[Load]:
    """Return the loads of all the farm's work orders."""
    return Load.objects.for_farm(farm).select_related("farm", "work_order")


def reservations(*, farm: Farm, orders: Iterable[WorkOrder]) -> dict[uuid.UUID, list[Reservation]]:
    """Return what is reserved for each of the orders, in one query."""
    found: dict[uuid.UUID, list[Reservation]] = {order.id: [] for order in orders}
    rows = Reservation.objects.for_farm(farm).filter(work_order__in=list(found), status="open")
    for row in rows.select_related("product", "lot").order_by("lot__expires_on", "lot__id", "id"):
        found[row.work_order].append(row)
    return found


def records_that_took(*, farm: Farm, shortages: Iterable[Shortage]) -> dict[uuid.UUID, ApplicationRecord]:
    """Return the records that asked the store for more than it held, by id; no load is in it."""
    ids = {one.load for one in shortages}
    return {row.id: row for row in records(farm=farm).filter(id__in=ids)} if ids else {}


def records(*, farm: Farm, of_lot: uuid.UUID | None = None, **filters: Any) -> QuerySet[ApplicationRecord]:
    """Return the farm's application records with what they name.

    :param of_lot: only those that used this lot, from whichever place: a recall is of the number
    """
    rows = ApplicationRecord.objects.for_farm(farm).filter(**filters)
    if of_lot is not None:
        rows = rows.filter(applied__lot__in=store.places_of_lot(farm=farm, lot=of_lot)).distinct()
    return rows.select_related(
        "farm", "block__farm", "sprayer", "crew", "work_order", "mix_check", "corrects", "corrected_by"
    )


def records_of(*, farm: Farm, orders: Iterable[WorkOrder]) -> dict[uuid.UUID, ApplicationRecord]:
    """Return the record that stands for each of the orders on its own block, in one query.

    The current one; of a voided application the void.
    """
    keys = [order.key for order in orders]
    rank = Case(When(status="current", then=Value(1)), default=Value(0))
    rows = records(farm=farm, work_order__in=keys, block=F("work_order__block")).annotate(rank=rank)
    return {row.work_order.id: row for row in rows.order_by("rank", "id") if row.work_order}


def current_on(*, block: Block) -> QuerySet[ApplicationRecord]:
    """Return what counts as put on a block."""
    return records(farm=block.farm, block=block, status="current")


def incidents(*, farm: Farm, **filters: Any) -> QuerySet[Incident]:
    """Return what went wrong."""
    rows = Incident.objects.for_farm(farm).filter(**filters)
    return rows.select_related("farm", "block", "work_order", "product")
