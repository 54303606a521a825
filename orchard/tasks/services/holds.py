"""What long holds keep from others: stock that is promised to a held order goes back after so many days."""

from __future__ import annotations

import datetime as dt

from django.db import transaction
from django.db.models import Exists, OuterRef, QuerySet
from django.utils import translation

from mixing.quantities import EXACT, Quantity
from orchard.api.refusals import Unprocessable
from orchard.farms import journal
from orchard.farms.actors import SYSTEM, Actor
from orchard.inventory import amounts as stock_amounts
from orchard.inventory import queries as store
from orchard.inventory import services as stock
from orchard.inventory.models import Reservation
from orchard.tasks import queries
from orchard.tasks.models import WorkOrder
from orchard.tasks.services import checking, loads


def release_long_held(*, longest: dt.timedelta, now: dt.datetime) -> int:
    """Give back what is promised to orders that are held for longer; return of how many. Safe twice.

    The moment of the hold is the server's: a phone's clock may be hours off.
    """
    return sum(
        _release(order, longest=longest, now=now) for order in list(_long_held(longest=longest, now=now))
    )


def _long_held(*, longest: dt.timedelta, now: dt.datetime) -> QuerySet[WorkOrder]:
    promised = Reservation.objects.filter(farm=OuterRef("farm"), work_order=OuterRef("id"), status="open")
    held = WorkOrder.objects.filter(status="held", updated_at__lt=now - longest)
    return held.filter(Exists(promised)).select_related("farm").order_by("key")


def _release(order: WorkOrder, *, longest: dt.timedelta, now: dt.datetime) -> bool:
    with transaction.atomic():
        held = queries.locked_order(farm=order.farm, id=order.id)
        if held is None or held.status != "held" or held.updated_at >= now - longest:
            return False
        stock.release(farm=held.farm, work_order=held.id, by=SYSTEM, now=now)
        reason = f"held for more than {longest.days} days: what was reserved is free for others"
        journal.change(held, by=SYSTEM, now=now, action="release_stock", reason=reason)
        return True


def reserve_again(order: WorkOrder, *, by: Actor, now: dt.datetime) -> str | None:
    """Reserve what an order still needs, where a long hold has given it back; the caller holds its lock.

    Return in words what could not be had: the order goes on all the same, and the purchase needs count it.
    """
    promised = Reservation.objects.for_farm(order.farm).filter(work_order=order.id)
    if order.kind != "spray" or promised.filter(status="open").exists():
        return None
    if not promised.filter(status="released").exists():
        return None  # all of it was used
    day = checking.local_day(order.farm, now)
    try:
        needs = _left_to_use(order, on=day)
        with translation.override("en"):  # as every reason of the audit, whoever asked
            stock.reserve(farm=order.farm, work_order=order.id, needs=needs, by=by, now=now, on=day)
    except (stock.StockShort, Unprocessable) as short:
        return "; ".join(fault.detail for fault in short.faults)
    return None


def _left_to_use(order: WorkOrder, *, on: dt.date) -> list[stock.Need]:
    """Return the planned totals less what loads have used already."""
    rows = {str(row.id): row for row in store.products(farm=order.farm)}
    left = {
        id: stock_amounts.in_base(quantity, product=rows[id], on=on)
        for id, quantity in checking.planned_totals(order).items()
    }
    for load in queries.loads(order=order):
        for one in loads.used_lots(load.products, farm=order.farm):
            id = str(one.product.id)
            if id in left:
                base = stock_amounts.in_base(one.quantity, product=one.product, on=on)
                left[id] = EXACT.subtract(left[id], base)
    return [
        stock.Need(product=rows[id], quantity=Quantity(base, rows[id].base_unit))
        for id, base in left.items()
        if base > 0
    ]
