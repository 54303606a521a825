"""A load that a crew has told of and that the store does not know yet."""

from __future__ import annotations

import datetime as dt

from django.utils import timezone

from orchard.farms import journal
from orchard.farms.actors import SYSTEM
from orchard.farms.models import OutboxEvent
from orchard.inventory.models import Lot
from orchard.tasks.models import Load, WorkOrder
from tests.factories import BlockFactory, CrewFactory, Owned, SprayerFactory, amount
from tests.inventory.store import copper, lot


class WorkOrderFactory(Owned):
    number = 1
    kind = "spray"
    status = "under_way"
    title = "Leaf-fall copper"
    starts_at = dt.datetime(2026, 12, 18, 18, tzinfo=dt.UTC)

    class Meta:
        model = WorkOrder


class LoadFactory(Owned):
    spray = amount("46", "gal")
    at = dt.datetime(2026, 12, 18, 20, tzinfo=dt.UTC)
    received_at = at

    class Meta:
        model = Load


def full_store(farm) -> Lot:
    """Return a lot with 20 lb of a powder."""
    return lot(copper(farm), "20", location="barn")


def order_on(farm) -> WorkOrder:
    return WorkOrderFactory(
        farm=farm,
        block=BlockFactory(farm=farm),
        sprayer=SprayerFactory(farm=farm),
        crew=CrewFactory(farm=farm),
        number=WorkOrder.objects.for_farm(farm).count() + 1,
    )


def told(held: Lot, *, order: WorkOrder | None = None, pounds: str = "3") -> Load:
    """Return a load of so much from the lot, with its event in the outbox."""
    order = order or order_on(held.farm)
    used = {"lot": str(held.id), "amount": {"value": pounds, "unit": "lb"}}
    made = LoadFactory(
        farm=held.farm,
        work_order=order,
        number=order.loads.count() + 1,
        products=[{"product": str(held.product.id), "lots": [used]}],
    )
    event(made)
    return made


def event(load: Load) -> OutboxEvent:
    made = journal.later("load.recorded", farm=load.farm, subject=load.id, by=SYSTEM, now=timezone.now())
    return OutboxEvent.objects.get(id=made)
