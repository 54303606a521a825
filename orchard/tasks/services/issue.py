"""Before the work: issue, accept, hold, resume, cancel, and what stands in the way now."""

from __future__ import annotations

import datetime as dt
import functools
from collections.abc import Iterable, Iterator
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _

from mixing.quantities import EXACT
from orchard.api.refusals import Conflict, Fault, Unprocessable
from orchard.api.remembered import remembered
from orchard.api.spoken import listed
from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.farms.models import Farm
from orchard.inventory import amounts as stock_amounts
from orchard.inventory import queries as store
from orchard.inventory import services as stock
from orchard.inventory.models import Product
from orchard.inventory.services import ledger
from orchard.tasks.models import WorkOrder
from orchard.tasks.services import checking, demands, holds, moves, pauses, starting
from orchard.tasks.states import HOLD_REASONS


def issue(*, order: WorkOrder, by: Actor, now: dt.datetime, note: str | None = None) -> WorkOrder:
    """Give an order to its crew: checked anew, with its stock reserved. The caller holds its lock.

    :raises Conflict: `state_conflict`, or all that stands against it at once
    """
    moves.demand(order, action="issue")
    at = demands.moment_of(order, now=now)
    check = checking.check_for_move(order=order, at=at, by=by, now=now) if order.kind == "spray" else None
    faults = demands.against("issue", demands.Case(order, at=at, now=now, check=check))
    columns: dict[str, Any] = {"issued_at": order.issued_at or now}
    if check is not None:
        columns |= {
            "mix_check": check,
            "loads_planned": check.report["loads"],
            "totals": check.report["totals"],
        }
        order.totals = check.report["totals"]
        faults += _reserve(order, by=by, now=now)
    if faults:
        raise Conflict(*faults)
    moves.make(order, action="issue", by=by, now=now, reason=note, **columns)
    journal.later("work_order.issued", farm=order.farm, subject=order.id, by=by, now=now)
    return order


def _needs(order: WorkOrder) -> list[stock.Need]:
    rows = _products(farm=order.farm)
    return [
        stock.Need(product=rows[id], quantity=quantity)
        for id, quantity in checking.planned_totals(order).items()
    ]


@remembered
def _products(*, farm: Farm) -> dict[str, Product]:
    return {str(row.id): row for row in store.products(farm=farm)}


@remembered
def _free(*, product: Product, on: dt.date) -> Decimal:
    """Return what of a product may still be promised for a day [base unit]."""
    lots = store.usable_lots(product=product, on=on)
    return functools.reduce(EXACT.add, (store.available(lot, on=on) for lot in lots), stock_amounts.ZERO)


def _reserve(order: WorkOrder, *, by: Actor, now: dt.datetime) -> list[Fault]:
    """Reserve the totals, first to expire first; return what is short instead where anything is."""
    day = demands.day_of(order, at=demands.moment_of(order, now=now))
    try:
        stock.reserve(farm=order.farm, work_order=order.id, needs=_needs(order), by=by, now=now, on=day)
    except (stock.StockShort, Unprocessable) as short:
        return list(short.faults)
    return []


def accept(*, order: WorkOrder, by: Actor, now: dt.datetime, revision: int | None = None) -> WorkOrder:
    """Take an order on, in the revision that was read. The caller holds its lock.

    :raises Conflict: `state_conflict`, `revision_is_old`
    """
    moves.demand(order, action="accept")
    starting.right_revision(order, revision)
    return moves.make(order, action="accept", by=by, now=now)


def hold(
    *,
    order: WorkOrder,
    by: Actor,
    now: dt.datetime,
    reason: str | None = None,
    note: str | None = None,
    at: dt.datetime | None = None,
) -> WorkOrder:
    """Stop for a reason; the state before is kept, and the time as it was told. The caller holds its lock.

    Where the end of this very pause was told before its beginning, both go on record and the work goes on.

    :raises Unprocessable: `reason_required`, a time before the issue
    :raises Conflict: `state_conflict`
    """
    if reason is None:
        raise Unprocessable(
            Fault(
                "reason_required",
                _("say why: %(reasons)s") % {"reasons": listed(HOLD_REASONS)},
                "/reason",
            )
        )
    _refuse(moves.not_before_issue(order, at, pointer="/at"))
    moves.demand(order, action="hold")
    told_of = f"{reason}: {note}" if note else reason
    pause = pauses.begun(order, reason=reason, note=note, at=at or now)
    ended = pauses.end_told_before(order, at=at)
    if ended is not None:
        columns = pauses.with_end(order, pause, ended, by=by, now=now)
        return moves.make(order, action="hold", by=by, now=now, reason=told_of, late=True, **columns)
    return moves.make(
        order,
        action="hold",
        by=by,
        now=now,
        reason=told_of,
        held_from=order.status,
        held_reason=reason,
        pauses=[*order.pauses, pause],
    )


def resume(
    *,
    order: WorkOrder,
    by: Actor,
    now: dt.datetime,
    note: str | None = None,
    at: dt.datetime | None = None,
    people_out: bool | None = None,
) -> WorkOrder:
    """Go back to the state before the hold. The caller holds the order's lock.

    What a long hold gave back is reserved again where it is there; what is not stands in the audit.

    :param people_out: False: somebody is still in the zone, and the work does not go on
    :raises Unprocessable: a time before the hold
    :raises Conflict: `state_conflict`, `people_in_block`
    """
    _refuse(pauses.not_before_hold(order, at))
    moves.demand(order, action="resume")
    if people_out is False:
        detail = _("somebody is still in the block or near it: get everybody out first")
        raise Conflict(Fault("people_in_block", detail, "/people_out"))
    ended = [pauses.ended(pause, at or now) for pause in order.pauses[-1:]]
    lacks = holds.reserve_again(order, by=by, now=now)
    return moves.make(
        order,
        action="resume",
        by=by,
        now=now,
        reason="; ".join(filter(None, (note, lacks))) or None,
        becomes=order.held_from,
        held_from=None,
        held_reason=None,
        pauses=[*order.pauses[:-1], *ended],
    )


def _refuse(faults: Iterable[Fault]) -> None:
    found = list(faults)
    if found:
        raise Unprocessable(*found)


def cancel(*, order: WorkOrder, by: Actor, now: dt.datetime, reason: str | None = None) -> WorkOrder:
    """Call an order off while no load is recorded; what was reserved goes back. The caller holds its lock.

    :raises Unprocessable: `reason_required`
    :raises Conflict: `state_conflict`, `loads_recorded`
    """
    if not reason:
        raise Unprocessable(Fault("reason_required", _("say why it is called off"), "/reason"))
    moves.demand(order, action="cancel")
    if order.loads.exists():
        detail = _("loads were recorded: resume and finish it, so that what was sprayed is on record")
        raise Conflict(Fault("loads_recorded", detail, refers_to=("work_order", str(order.id))))
    stock.release(farm=order.farm, work_order=order.id, by=by, now=now)
    revision = order.revision + 1  # calendars take a cancellation for the newer word by its number
    return moves.make(
        order,
        action="cancel",
        by=by,
        now=now,
        reason=reason,
        held_from=None,
        held_reason=None,
        revision=revision,
    )


def blocked_by(*, order: WorkOrder, by: Actor, now: dt.datetime) -> list[Fault]:
    """Return what `issue`, or after it `start`, would refuse now; nothing is written or reserved."""
    state = order.held_from or order.status
    if state not in ("draft", "issued", "accepted"):
        return []
    at = demands.moment_of(order, now=now)
    try:
        check = _dry_check(order, at=at, by=by, now=now)
    except Unprocessable as wrong:
        return list(wrong.faults)
    case = demands.Case(order, at=at, now=now, check=check)
    if state != "draft":
        return demands.against("start", case)
    short = _short(order, at=at) if check is not None else ()
    return [*demands.against("issue", case), *short]


def _dry_check(order: WorkOrder, *, at: dt.datetime, by: Actor, now: dt.datetime) -> Any:
    if order.kind != "spray":
        return None
    return checking.check_order(order=order, at=at, dry_run=True, by=by, now=now)


def _short(order: WorkOrder, *, at: dt.datetime) -> Iterator[Fault]:
    """Yield what the usable lots would lack, reservations of other orders taken off."""
    day = demands.day_of(order, at=at)
    for need in _needs(order):
        try:
            wanted = ledger.base_of(need.quantity, product=need.product, on=day, pointer="")
        except Unprocessable as wrong:
            yield from wrong.faults
            continue
        free = _free(product=need.product, on=day)
        if free < wanted:
            yield ledger.short_fault(product=need.product, missing=EXACT.subtract(wanted, free))
