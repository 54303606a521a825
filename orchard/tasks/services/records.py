"""Records from paper, and openly correcting or voiding a record: the old one stays."""

from __future__ import annotations

import dataclasses
import datetime as dt
import uuid
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from django.db import transaction

from mixing.quantities import Quantity, QuantityError
from orchard.api.refusals import Conflict, Fault, Unprocessable
from orchard.crews import queries as crews
from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.farms.models import Farm
from orchard.farms.rows import new_id
from orchard.inventory import amounts as stock_amounts
from orchard.inventory import queries as store
from orchard.inventory import services as stock
from orchard.inventory.models import Lot, Product
from orchard.tasks import amounts, queries
from orchard.tasks.models import ApplicationRecord, Load
from orchard.tasks.services import applications, checking, loads
from orchard.tasks.services.applications import Application, Line


def add_from_paper(
    *, farm: Farm, by: Actor, now: dt.datetime, id: uuid.UUID | None = None, **said: Any
) -> ApplicationRecord:
    """Enter an application that was written on paper; it takes stock only where it names lots.

    :param said: the fields of `Application`, `lines` read already
    :raises Unprocessable: an end before the start, lots that are not the product's
    """
    told = Application(**said)
    _refuse(_faults(farm, told))
    with transaction.atomic():
        id = id or new_id()
        if _named(told.lines):
            told = dataclasses.replace(told, taken={"loads": [str(id)]})
        record = applications.write(farm=farm, said=told, by=by, now=now, id=id)
        _take(record, _named(told.lines), by=by, now=now)
    return record


def _refuse(faults: Iterable[Fault]) -> None:
    found = list(faults)
    if found:
        raise Unprocessable(*found)


def _faults(farm: Farm, told: Application) -> Iterator[Fault]:
    if told.finished_at < told.started_at:
        yield Fault("out_of_range", "this lies before the start", "/finished_at")
    on = checking.local_day(farm, told.finished_at)
    for place, line in enumerate(told.lines):
        here = f"/products/{place}"
        if [one.product for one in told.lines].index(line.product) != place:
            yield Fault("invalid", f"{line.product.name} is named twice", f"{here}/product")
        for at, (lot, amount) in enumerate(line.lots):
            if lot.product != line.product:
                yield Fault(
                    "invalid", f"lot {lot.number} is not of {line.product.name}", f"{here}/lots/{at}/lot"
                )
            yield from _unit_faults(amount, line.product, on=on, pointer=f"{here}/lots/{at}/amount")


def _unit_faults(amount: Quantity, product: Product, *, on: dt.date, pointer: str) -> Iterator[Fault]:
    try:
        stock_amounts.in_base(amount, product=product, on=on)
    except QuantityError as fault:
        yield Fault(fault.code, fault.detail, f"{pointer}/{fault.field}".rstrip("/"))


def _named(lines: Sequence[Line]) -> list[stock.Used]:
    return [
        stock.Used(product=line.product, lot=lot, quantity=amount)
        for line in lines
        for lot, amount in line.lots
    ]


def _take(record: ApplicationRecord, used: Sequence[stock.Used], *, by: Actor, now: dt.datetime) -> None:
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


def correct(
    *,
    record: ApplicationRecord,
    reason: str,
    changes: Mapping[str, Any],
    by: Actor,
    now: dt.datetime,
    id: uuid.UUID | None = None,
) -> ApplicationRecord:
    """Write a new record in place of one that was wrong; the old one stays. The caller holds its lock.

    Where the changes name other amounts of lots, the store follows by the difference.

    :param changes: fields of `Application` that were wrong
    :raises Unprocessable: `required` where nothing is changed, and as `add_from_paper`
    :raises Conflict: `already_void`, `state_conflict` for what was corrected before
    """
    _still_stands(record)
    if not changes:
        raise Unprocessable(Fault("required", "say what was wrong", "/changes"))
    before = said_by(record)
    told = dataclasses.replace(before, **changes)
    _refuse(Fault(f.code, f.detail, "/changes" + f.pointer) for f in _faults(record.farm, told))
    with transaction.atomic():
        id = id or new_id()
        target = _used_now(record, before, told) if "lines" in changes else None
        if target is not None:
            told = dataclasses.replace(told, taken={"loads": [str(id)] if target else []})
        _step_aside(record, "corrected", action="correct", reason=reason, by=by, now=now)
        new = applications.write(
            farm=record.farm,
            said=told,
            by=by,
            now=now,
            id=id,
            kind="correction",
            corrects=record,
            reason=reason,
        )
        _replaced(record, new)
        if target is not None:
            _put_back(record, reason=reason, by=by, now=now)
            _take(new, target, by=by, now=now)
        if record.block != new.block:
            applications.refresh_block(block=record.block, now=now)
        _refresh_order(new, now=now)
    return new


def void(
    *,
    record: ApplicationRecord,
    reason: str,
    by: Actor,
    now: dt.datetime,
    id: uuid.UUID | None = None,
) -> ApplicationRecord:
    """Take a record back that should never have been: lots go back, dates on the block are worked out again.

    The old record stays beside the void. The caller holds its lock.

    :raises Conflict: `already_void`, `state_conflict` for what was corrected before
    """
    _still_stands(record)
    with transaction.atomic():
        _step_aside(record, "void", action="void", reason=reason, by=by, now=now, as_change="voided")
        made = journal.create(
            ApplicationRecord,
            farm=record.farm,
            by=by,
            now=now,
            id=id,
            kind="void",
            status="void",
            corrects=record,
            reason=reason,
            work_order=record.work_order,
            block=record.block,
            sprayer=record.sprayer,
            crew=record.crew,
            mix_check=record.mix_check,
            started_at=record.started_at,
            finished_at=record.finished_at,
            received_at=now,
            body={"spray": {}, "products": [], "taken": {"loads": []}, "place": record.body.get("place")},
        )
        _replaced(record, made)
        _put_back(record, reason=reason, by=by, now=now)
        applications.refresh_block(block=record.block, now=now)
        _refresh_order(made, now=now)
    return made


def _still_stands(record: ApplicationRecord) -> None:
    if record.status == "void":
        detail = "this record is void already"
        raise Conflict(Fault("already_void", detail, refers_to=("application_record", str(record.id))))
    if record.status == "corrected":
        by = record.corrected_by
        refers = ("application_record", str(by.id)) if by else None
        raise Conflict(
            Fault("state_conflict", "this record was corrected: take the one that stands", refers_to=refers)
        )


def _step_aside(
    record: ApplicationRecord,
    status: str,
    *,
    action: str,
    reason: str,
    by: Actor,
    now: dt.datetime,
    as_change: str = "updated",
) -> None:
    journal.change(record, by=by, now=now, action=action, reason=reason, as_change=as_change, status=status)


def _replaced(record: ApplicationRecord, new: ApplicationRecord) -> None:
    """Let the old record name the new one, in the version that its change has told already."""
    record.corrected_by = new
    record.save(update_fields=["corrected_by"])


def _put_back(record: ApplicationRecord, *, reason: str, by: Actor, now: dt.datetime) -> None:
    """Put back what the record took; a load that still waits for its deduction is deducted first."""
    taken = [uuid.UUID(one) for one in record.body["taken"]["loads"]]
    for load in Load.objects.for_farm(record.farm).filter(id__in=taken, stock="pending"):
        loads.deduct_load(load=load, by=by, now=now)
    stock.put_back(farm=record.farm, loads=[*taken, record.id], reason=reason, by=by, now=now)
    if taken and record.work_order is not None:
        _take_for_the_rest(record, by=by, now=now)


def _take_for_the_rest(record: ApplicationRecord, *, by: Actor, now: dt.datetime) -> None:
    """Take again what of the same loads went on another block, whose record still stands."""
    others = queries.records(farm=record.farm, work_order=record.work_order, status="current")
    for other in others.exclude(block=record.block):
        if not other.body["taken"]["loads"]:
            _take(other, _named(said_by(other).lines), by=by, now=now)


def _used_now(record: ApplicationRecord, before: Application, told: Application) -> list[stock.Used]:
    """Return what the store is to have given in the end: what it gave, and the difference of the two.

    What was mixed and not sprayed stays used: a correction of what went on the block does not bring it back.
    """
    on = checking.local_day(record.farm, record.finished_at)
    given: dict[tuple[Product, Lot], Any] = {}
    for sign, used in ((1, _taken_by(record, before)), (-1, _named(before.lines)), (1, _named(told.lines))):
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
    """Return what the store's ledger holds for a record: its loads, or its own amounts."""
    rows = Load.objects.for_farm(record.farm).filter(id__in=record.body["taken"]["loads"])
    of_loads = [used for row in rows for used in loads.used_lots(row.products, farm=record.farm)]
    if of_loads or not record.body["taken"]["loads"]:
        return of_loads
    movements = store.movements(farm=record.farm).filter(
        load__in=record.body["taken"]["loads"], kind="use", reversed_by=None
    )
    return [
        stock.Used(
            product=row.lot.product,
            lot=row.lot,
            quantity=Quantity(-row.change_base, row.lot.product.base_unit),
        )
        for row in movements
    ]


def said_by(record: ApplicationRecord) -> Application:
    """Return what a record says, as it was told."""
    body, farm = record.body, record.farm
    rows = {str(row.id): row for row in store.products(farm=farm)}
    lots = {
        str(lot.id): lot
        for lot in store.lots(farm=farm).filter(
            id__in=[lot["lot"] for one in body["products"] for lot in one["lots"]]
        )
    }
    lines = tuple(
        Line(
            product=rows[one["product"]],
            amount=amounts.read(one["amount"]),
            rate=one["rate"],
            lots=tuple((lots[lot["lot"]], amounts.read(lot["amount"])) for lot in one["lots"]),
        )
        for one in body["products"]
    )
    return Application(
        block=record.block,
        started_at=record.started_at,
        finished_at=record.finished_at,
        spray=body["spray"],
        lines=lines,
        sprayer=record.sprayer,
        crew=record.crew,
        sprayed_by=tuple(crews.workers(farm=farm).filter(id__in=body["sprayed_by"])),
        targets=tuple(body["targets"]),
        observed=body["weather"],
        bbch=body["stage"]["bbch"] if body["stage"] else None,
        loads=tuple(body["loads"]),
        incidents=tuple(queries.incidents(farm=farm, id__in=body["incidents"])),
        nothing_unusual=body["nothing_unusual"],
        leftover=body["leftover"],
        note=body["note"],
        pauses=tuple(body["pauses"]),
        work_order=record.work_order,
        mix_check=record.mix_check,
        taken=body["taken"],
    )


def _refresh_order(record: ApplicationRecord, *, now: dt.datetime) -> None:
    """Show on the work order when its block may be entered, by the record that stands now."""
    order = record.work_order
    if order is None or order.block != record.block:
        return
    locked = queries.locked_order(farm=order.farm, id=order.id)
    until = record.re_entry_until if record.status == "current" else None
    if locked is not None and locked.re_entry_until != until:
        journal.touch(locked, now=now, re_entry_until=until)
