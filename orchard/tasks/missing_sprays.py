"""What may explain a count that differs from the book: sprays without a record, records that say too much."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from functools import reduce
from typing import Any

from django.db.models import Q

from mixing.quantities import EXACT, QuantityError
from orchard.farms.models import Farm
from orchard.inventory import amounts as stock_amounts
from orchard.inventory import stocktake_queries
from orchard.inventory.amounts import ZERO
from orchard.inventory.models import Lot, Movement, Product, Stocktake
from orchard.tasks import amounts
from orchard.tasks.models import ApplicationRecord, Load, WorkOrder

BECAUSE = (
    "not_started",
    "not_finished",
    "loads_missing",
    "cancelled",
    "load_not_posted",
    "record_void",
    "used",
)


@dataclass(frozen=True, slots=True)
class Candidate:
    """Something to look at.

    :ivar kind: `work_order`, `load` or `application_record`
    :ivar because: `not_started`, `not_finished`, `loads_missing` or `cancelled`: it may have been sprayed
        without a word; `load_not_posted`: it is told and on its way; `record_void`: it was put back;
        `used`: a record took this much, and less may have been used
    :ivar amount: what it would explain [base unit]; None where that cannot be told
    """

    kind: str
    id: uuid.UUID
    title: str
    block: str | None
    at: dt.datetime
    because: str
    amount: Decimal | None


@dataclass(frozen=True, slots=True)
class Question:
    """One lot that differs, with what may explain it: what explains it best first."""

    lot: Lot
    asks: str
    since: dt.datetime | None
    difference: Decimal
    candidates: tuple[Candidate, ...]


def questions(*, stocktake: Stocktake) -> list[Question]:
    """Return what each differing lot of a stocktake asks, with candidates since its last count."""
    lines = stocktake_queries.lines().filter(stocktake=stocktake)
    return [_question(line) for line in lines if stocktake_queries.question(line)]


def _question(line: Any) -> Question:
    asks = stocktake_queries.question(line) or ""
    difference = stocktake_queries.difference_base(line)
    since, until = line.last_counted_at, line.moment
    look = _unrecorded if asks == "spray_missing" else _used
    found = list(look(line.lot, since=since or stocktake_queries.BEFORE_ALL, until=until))
    return Question(line.lot, asks, since, difference, tuple(_best_first(found, abs(difference))))


def _best_first(found: Iterable[Candidate], wanted: Decimal) -> list[Candidate]:
    def off(one: Candidate) -> tuple[bool, Decimal, dt.datetime]:
        return one.amount is None, abs(EXACT.subtract(one.amount or ZERO, wanted)), one.at

    return sorted(found, key=off)


def _unrecorded(lot: Lot, *, since: dt.datetime, until: dt.datetime) -> Iterator[Candidate]:
    """Yield orders that were planned for the time and tell less than they planned, and what was put back."""
    farm, product = lot.farm, lot.product
    orders = WorkOrder.objects.for_farm(farm).filter(
        kind="spray", totals__contains=[{"id": str(product.id)}], starts_at__gt=since, starts_at__lte=until
    )
    rows = list(orders.exclude(status="draft").select_related("block").order_by("starts_at", "id"))
    told = _told(farm=farm, orders=rows)
    for order in rows:
        loads = told.get(order.key, [])
        because = _because(order, loads)
        if because is not None:
            yield _order(order, because, _untold(order, loads, product=product, on=until.date()))
    yield from _on_their_way(lot, since=since, until=until)
    yield from _put_back(lot, since=since, until=until)


def _told(*, farm: Farm, orders: Iterable[WorkOrder]) -> dict[uuid.UUID, list[Load]]:
    found: dict[uuid.UUID, list[Load]] = {}
    for load in Load.objects.for_farm(farm).filter(work_order__in=list(orders)).select_related("work_order"):
        found.setdefault(load.work_order.key, []).append(load)
    return found


def _because(order: WorkOrder, loads: list[Load]) -> str | None:
    if order.status == "cancelled":
        return "cancelled"
    missing = len(loads) < len(order.loads_planned)
    if order.status == "done":
        return "loads_missing" if missing else None
    return "not_finished" if loads else "not_started"


def _untold(order: WorkOrder, loads: Iterable[Load], *, product: Product, on: dt.date) -> Decimal | None:
    """Return what an order planned of a product less what its loads tell [base unit]."""
    exact = next(one["exact"] for one in order.totals if one["id"] == str(product.id))
    if exact is None:
        return None
    told = (
        lot["amount"]
        for load in loads
        for one in load.products
        if one["product"] == str(product.id)
        for lot in one["lots"]
    )
    try:
        planned, *parts = (
            stock_amounts.in_base(amounts.read(raw), product=product, on=on) for raw in (exact, *told)
        )
    except QuantityError:
        return None
    return max(ZERO, EXACT.subtract(planned, reduce(EXACT.add, parts, ZERO)))


def _order(order: WorkOrder, because: str, amount: Decimal | None) -> Candidate:
    block = order.block.name if order.block else None
    title = f"{order.number}: {order.title}"
    return Candidate("work_order", order.id, title, block, order.starts_at, because, amount)


def _on_their_way(lot: Lot, *, since: dt.datetime, until: dt.datetime) -> Iterator[Candidate]:
    rows = Load.objects.for_farm(lot.farm).filter(stock="pending", at__gt=since, at__lte=until)
    for load in rows.select_related("work_order__block").order_by("at", "id"):
        base = _of_lot(load, lot)
        if base is not None:
            yield _load(load, "load_not_posted", base)


def _of_lot(load: Load, lot: Lot) -> Decimal | None:
    parts = [
        stock_amounts.in_base(amounts.read(part["amount"]), product=lot.product, on=load.at.date())
        for one in load.products
        for part in one["lots"]
        if part["lot"] == str(lot.id)
    ]
    return reduce(EXACT.add, parts) if parts else None


def _load(load: Load, because: str, amount: Decimal) -> Candidate:
    order = load.work_order
    block = order.block.name if order.block else None
    title = f"{order.number}: {order.title}, load {load.number}"
    return Candidate("load", load.id, title, block, load.at, because, amount)


def _put_back(lot: Lot, *, since: dt.datetime, until: dt.datetime) -> Iterator[Candidate]:
    """Yield records that were made void: what they took was put back in the book, perhaps wrongly."""
    rows = ApplicationRecord.objects.for_farm(lot.farm).filter(
        status="void", applied__lot=lot, finished_at__gt=since, finished_at__lte=until
    )
    for record in rows.exclude(kind="void").select_related("block").distinct().order_by("finished_at", "id"):
        yield _record(record, lot, "record_void")


def _record(record: ApplicationRecord, lot: Lot, because: str) -> Candidate:
    on = record.finished_at.date()
    parts = [
        stock_amounts.in_base(one.amount, product=lot.product, on=on)
        for one in record.applied.filter(lot=lot)
    ]
    title = f"{record.block.name}, {on}"
    amount = reduce(EXACT.add, parts, ZERO)
    return Candidate(
        "application_record", record.id, title, record.block.name, record.finished_at, because, amount
    )


def _used(lot: Lot, *, since: dt.datetime, until: dt.datetime) -> Iterator[Candidate]:
    """Yield the loads that took from a lot: one of them may say more than was used."""
    taken = Movement.objects.for_farm(lot.farm).filter(
        Q(lot=lot, kind="use", reversed_by=None, at__gt=since, at__lte=until)
    )
    by_load = {row.load: row.change_base.copy_negate() for row in taken.order_by("at", "id")}
    rows = Load.objects.for_farm(lot.farm).filter(id__in=list(by_load)).select_related("work_order__block")
    for load in rows.order_by("at", "id"):
        yield _load(load, "used", by_load[load.id])
