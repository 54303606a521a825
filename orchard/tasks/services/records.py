"""Records from paper, and openly correcting or voiding a record: the old one stays."""

from __future__ import annotations

import dataclasses
import datetime as dt
import uuid
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from mixing.quantities import Quantity, QuantityError
from orchard.api.refusals import Conflict, Fault, Unprocessable
from orchard.api.spoken import of_engine
from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.farms.models import Farm
from orchard.farms.rows import new_id
from orchard.inventory import amounts as stock_amounts
from orchard.inventory.models import Product
from orchard.tasks import queries
from orchard.tasks.models import ApplicationRecord
from orchard.tasks.services import applications, checking, record_stock
from orchard.tasks.services.told import Application, said_by


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
        if record_stock.named(told.lines):
            told = dataclasses.replace(told, taken={"loads": [str(id)]})
        record = applications.write(farm=farm, said=told, by=by, now=now, id=id)
        record_stock.take(record, record_stock.named(told.lines), by=by, now=now)
    return record


def _refuse(faults: Iterable[Fault]) -> None:
    found = list(faults)
    if found:
        raise Unprocessable(*found)


def _faults(farm: Farm, told: Application) -> Iterator[Fault]:
    if told.finished_at < told.started_at:
        yield Fault("out_of_range", _("this lies before the start"), "/finished_at")
    on = checking.local_day(farm, told.finished_at)
    for place, line in enumerate(told.lines):
        here = f"/products/{place}"
        if [one.product for one in told.lines].index(line.product) != place:
            yield Fault(
                "invalid", _("%(product)s is named twice") % {"product": line.product.name}, f"{here}/product"
            )
        for at, (lot, amount) in enumerate(line.lots):
            if lot.product != line.product:
                yield Fault(
                    "invalid",
                    _("lot %(lot)s is not of %(product)s")
                    % {"lot": lot.number, "product": line.product.name},
                    f"{here}/lots/{at}/lot",
                )
            yield from _unit_faults(amount, line.product, on=on, pointer=f"{here}/lots/{at}/amount")


def _unit_faults(amount: Quantity, product: Product, *, on: dt.date, pointer: str) -> Iterator[Fault]:
    try:
        stock_amounts.in_base(amount, product=product, on=on)
    except QuantityError as fault:
        yield Fault(fault.code, of_engine(fault), f"{pointer}/{fault.field}".rstrip("/"))


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
        raise Unprocessable(Fault("required", _("say what was wrong"), "/changes"))
    before = said_by(record)
    told = dataclasses.replace(before, **changes)
    _refuse(Fault(f.code, f.detail, "/changes" + f.pointer) for f in _faults(record.farm, told))
    with transaction.atomic():
        id = id or new_id()
        target = record_stock.used_now(record, before, told) if "lines" in changes else None
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
            record_stock.put_back(record, reason=reason, by=by, now=now, then=target)
            record_stock.take(new, target, by=by, now=now)
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
        record_stock.put_back(record, reason=reason, by=by, now=now)
        applications.refresh_block(block=record.block, now=now)
        _refresh_order(made, now=now)
    return made


def _still_stands(record: ApplicationRecord) -> None:
    if record.status == "void":
        detail = _("this record is void already")
        raise Conflict(Fault("already_void", detail, refers_to=("application_record", str(record.id))))
    if record.status == "corrected":
        by = record.corrected_by
        refers = ("application_record", str(by.id)) if by else None
        raise Conflict(
            Fault(
                "state_conflict", _("this record was corrected: take the one that stands"), refers_to=refers
            )
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


def _refresh_order(record: ApplicationRecord, *, now: dt.datetime) -> None:
    """Show on the work order when its block may be entered, by the record that stands now."""
    order = record.work_order
    if order is None or order.block != record.block:
        return
    locked = queries.locked_order(farm=order.farm, id=order.id)
    until = record.re_entry_until if record.status == "current" else None
    if locked is not None and locked.re_entry_until != until:
        journal.touch(locked, now=now, re_entry_until=until)
