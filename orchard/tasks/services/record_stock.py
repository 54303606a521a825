"""What a record took out of the store, and what goes back or out again when it is corrected or void."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from mixing.quantities import Quantity
from orchard.farms.actors import Actor
from orchard.inventory import amounts as stock_amounts
from orchard.inventory import queries as store
from orchard.inventory import services as stock
from orchard.inventory.models import Lot, Product
from orchard.tasks import queries
from orchard.tasks.models import ApplicationRecord, Load
from orchard.tasks.services import checking, loads
from orchard.tasks.services.told import Application, Line, said_by


def named(lines: Sequence[Line]) -> list[stock.Used]:
    """Return what these lines say of lots, as the store reads it."""
    return [
        stock.Used(product=line.product, lot=lot, quantity=amount)
        for line in lines
        for lot, amount in line.lots
    ]


def take(record: ApplicationRecord, used: Sequence[stock.Used], *, by: Actor, now: dt.datetime) -> None:
    """Take what a record says was used out of the store, under the record's own id."""
    if not used:
        return
    order = record.work_order
    stock.use(
        farm=record.farm,
        work_order=order.id if order else record.id,
        load=record.id,
        used=used,
        by=by,
        at=record.finished_at,
        now=now,
    )


def put_back(
    record: ApplicationRecord,
    *,
    reason: str,
    by: Actor,
    now: dt.datetime,
    then: Sequence[stock.Used] = (),
) -> None:
    """Put back what the record took; a load that still waits for its deduction is deducted first.

    :param then: what the record in its place takes in the same transaction: all lots are locked at once
    """
    taken = [uuid.UUID(one) for one in record.body["taken"]["loads"]]
    order = record.work_order
    again = [one for other in _of_the_rest(record) for one in named(said_by(other).lines)] if taken else []
    loads.hold_lots(
        farm=record.farm,
        work_order=order.id if order else record.id,
        loads=taken,
        now=now,
        more=[*then, *again],
        back=[*taken, record.id],
    )
    for load in Load.objects.for_farm(record.farm).filter(id__in=taken, stock="pending"):
        loads.deduct_load(load=load, by=by, now=now)
    stock.put_back(farm=record.farm, loads=[*taken, record.id], reason=reason, by=by, now=now)
    if taken and record.work_order is not None:
        _take_for_the_rest(record, by=by, now=now)


def _take_for_the_rest(record: ApplicationRecord, *, by: Actor, now: dt.datetime) -> None:
    """Take again what of the same loads went on another block, whose record still stands."""
    for other in _of_the_rest(record):
        take(other, named(said_by(other).lines), by=by, now=now)


def _of_the_rest(record: ApplicationRecord) -> list[ApplicationRecord]:
    """Return the records of the same order on other blocks that stand and took nothing of their own."""
    if record.work_order is None:
        return []
    others = queries.records(farm=record.farm, work_order=record.work_order, status="current")
    return [other for other in others.exclude(block=record.block) if not other.body["taken"]["loads"]]


def used_now(record: ApplicationRecord, before: Application, told: Application) -> list[stock.Used]:
    """Return what the store is to have given in the end: what it gave, and the difference of the two.

    What was mixed and not sprayed stays used: a correction of what went on the block does not bring it back.
    """
    on = checking.local_day(record.farm, record.finished_at)
    given: dict[tuple[Product, Lot], Any] = {}
    for sign, used in ((1, _taken_by(record, before)), (-1, named(before.lines)), (1, named(told.lines))):
        for one in used:
            if one.lot is not None:
                base = stock_amounts.in_base(one.quantity, product=one.product, on=on)
                key = (one.product, one.lot)
                given[key] = given.get(key, stock_amounts.ZERO) + sign * base
    return [
        stock.Used(product=product, lot=lot, quantity=stock_amounts.in_stock_unit(base, product))
        for (product, lot), base in given.items()
        if base > 0
    ]


def _taken_by(record: ApplicationRecord, before: Application) -> list[stock.Used]:
    """Return what the store gave for a record, or still owes it: its loads, or its own amounts."""
    rows = Load.objects.for_farm(record.farm).filter(id__in=record.body["taken"]["loads"])
    of_loads = [used for row in rows for used in loads.used_lots(row.products, farm=record.farm)]
    if of_loads or not record.body["taken"]["loads"]:
        return of_loads
    taken = record.body["taken"]["loads"]
    movements = store.movements(farm=record.farm).filter(load__in=taken, kind="use", reversed_by=None)
    missing = store.shortages(farm=record.farm).filter(load__in=taken, answered_at=None, lot__isnull=False)
    return [
        *(_used(row.lot.product, row.lot, row.change_base.copy_negate()) for row in movements),
        *(_used(row.product, row.lot, row.missing_base) for row in missing),
    ]


def _used(product: Product, lot: Lot | None, base: Decimal) -> stock.Used:
    return stock.Used(product=product, lot=lot, quantity=Quantity(base, product.base_unit))
