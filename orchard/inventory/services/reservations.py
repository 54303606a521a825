"""What is promised to work orders: made at issue, smaller with every load, gone at the end."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from mixing.quantities import EXACT, Quantity
from orchard.api.refusals import Fault
from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.farms.models import Farm
from orchard.inventory import amounts, queries
from orchard.inventory.allocation import ZERO, first_to_expire, free, take
from orchard.inventory.models import Lot, Product, Reservation
from orchard.inventory.services import ledger


@dataclass(frozen=True, slots=True)
class Need:
    """How much of a product a work order will take."""

    product: Product
    quantity: Quantity


def reserve(
    *,
    farm: Farm,
    work_order: uuid.UUID,
    needs: Sequence[Need],
    by: Actor,
    now: dt.datetime,
    on: dt.date | None = None,
) -> list[Reservation]:
    """Promise lots to a work order, first to expire first; expired and quarantined ones never.

    :param needs: a product may stand in it more than once
    :param on: the day it will be used, if that lies ahead: what expires before then is not promised
    :raises StockShort: with a fault for every product that is short; nothing is reserved then
    :raises Unprocessable: `unit_needs_density`, `unit_kind`
    """
    today = queries.day_on_farm(farm=farm, at=now)
    on = max(on or today, today)
    wanted, products = _summed(needs, on=on)
    faults: list[Fault] = []
    with ledger.whole():
        lots = ledger.lock_usable(farm=farm, products=products.values(), on=on)
        taken: list[tuple[Lot, Decimal]] = []
        for key, base in wanted.items():
            mine = first_to_expire(lot for lot in lots if lot.product.key == key)
            parts, missing = take(base, ((lot, free(lot)) for lot in mine))
            taken += parts
            if missing > 0:
                faults.append(ledger.short_fault(product=products[key], missing=missing))
        if faults:
            raise ledger.StockShort(*faults)
        return [_promise(lot, part, work_order=work_order, by=by, now=now) for lot, part in taken]


def _summed(
    needs: Sequence[Need], *, on: dt.date
) -> tuple[dict[uuid.UUID, Decimal], dict[uuid.UUID, Product]]:
    wanted: dict[uuid.UUID, Decimal] = {}
    for need in needs:
        base = ledger.base_of(need.quantity, product=need.product, on=on, pointer="")
        wanted[need.product.key] = EXACT.add(wanted.get(need.product.key, ZERO), base)
    return wanted, {need.product.key: need.product for need in needs}


def _promise(lot: Lot, base: Decimal, *, work_order: uuid.UUID, by: Actor, now: dt.datetime) -> Reservation:
    journal.touch(lot, now=now, reserved_base=EXACT.add(lot.reserved_base, base))
    return journal.create(
        Reservation,
        farm=lot.farm,
        by=by,
        now=now,
        product=lot.product,
        lot=lot,
        work_order=work_order,
        quantity=amounts.in_stock_unit(base, lot.product),
        quantity_base=base,
        open_base=base,
    )


def release(*, farm: Farm, work_order: uuid.UUID, by: Actor, now: dt.datetime) -> None:
    """Give back what an order still has promised. Safe twice."""
    with ledger.whole():
        rows, held = locked(farm=farm, work_order=work_order)
        for row in rows:
            lessen(row, held[row.lot.key], by_base=row.open_base, becomes="released", by=by, now=now)


def locked(
    *,
    farm: Farm,
    work_order: uuid.UUID,
    also: Iterable[uuid.UUID] = (),
    known: Sequence[Product] = (),
) -> tuple[list[Reservation], dict[uuid.UUID, Lot]]:
    """Return an order's open reservations, and their lots and others by key, all locked: lots first."""
    mine = queries.reservations(farm=farm).filter(work_order=work_order, status="open")
    wanted = {*mine.values_list("lot", flat=True), *also}
    while True:
        held = ledger.lock_keys(farm=farm, keys=wanted, known=known)
        rows = list(mine.order_by("key").select_for_update(of=("self",), no_key=True))
        went_elsewhere = {row.lot.key for row in rows} - held.keys()  # by a transfer, just before
        if not went_elsewhere:
            return rows, held
        wanted |= went_elsewhere


def lessen(
    row: Reservation, lot: Lot, *, by_base: Decimal, becomes: str, by: Actor, now: dt.datetime
) -> None:
    """Make a promise smaller; at nothing it `becomes` used or released. The caller holds both locks."""
    rest = EXACT.subtract(row.open_base, by_base)
    status = "open" if rest > 0 else becomes
    journal.touch(lot, now=now, reserved_base=EXACT.subtract(lot.reserved_base, by_base))
    journal.change(row, by=by, now=now, open_base=rest, status=status)


def follow(lot: Lot, there: Lot, *, by: Actor, now: dt.datetime) -> None:
    """Let promises go where the stock went: what a lot no longer holds is promised from the other place.

    The caller holds the locks of both lots.
    """
    excess = EXACT.subtract(lot.reserved_base, lot.on_hand_base)
    if excess <= 0:
        return
    rows = queries.reservations(farm=lot.farm).filter(lot=lot, status="open").order_by("-created_at", "-id")
    for row in rows.select_for_update(of=("self",), no_key=True):
        part = min(row.open_base, excess)
        if part <= 0:
            break
        lessen(row, lot, by_base=part, becomes="released", by=by, now=now)
        _promise(there, part, work_order=row.work_order, by=by, now=now)
        excess = EXACT.subtract(excess, part)
