"""Loads: what was mixed, told by the crew, and its deduction from the store."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal, localcontext
from typing import Any

from django.utils.translation import gettext as _

from mixing.quantities import EXACT, Quantity, QuantityError
from orchard.api.refusals import Conflict, Fault, Unprocessable
from orchard.api.spoken import of_engine, spoken
from orchard.crews import services as crew_services
from orchard.crews.models import Worker
from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.farms.models import Farm
from orchard.inventory import amounts as stock_amounts
from orchard.inventory import queries as store
from orchard.inventory import services as stock
from orchard.inventory.models import Lot, Product, Reservation
from orchard.tasks import amounts, queries
from orchard.tasks.models import Load, WorkOrder
from orchard.tasks.services import checking, claims, moves, people


def recorded_before(*, order: WorkOrder, id: uuid.UUID | None) -> bool:
    """Return whether a load with this id is on record already."""
    return id is not None and queries.loads(order=order).filter(id=id).exists()


def all_told(*, order: WorkOrder) -> bool:
    """Return whether every load that was planned is on record."""
    told = set(queries.loads(order=order).values_list("number", flat=True))
    return {one["number"] for one in order.loads_planned} <= told


def record_load(
    *,
    order: WorkOrder,
    number: int,
    spray: Quantity,
    products: Sequence[Mapping[str, Any]],
    by: Actor,
    now: dt.datetime,
    id: uuid.UUID | None = None,
    at: dt.datetime | None = None,
    mixed_by: Worker | None = None,
    **said: Any,
) -> WorkOrder:
    """Write down one tank as it was mixed; stock follows from the outbox. The caller holds the order's lock.

    The same id again changes nothing. More than was planned is taken: it has happened. So is what was mixed
    before a hold or before the end and is told only now; where the record is written already, a person is
    asked to correct it.

    :param products: `[{"product": Product, "lots": [{"lot": Lot, "amount": Quantity}]}]`; without `lots` the
        planned amount of that load from the lots that are reserved, first to expire first
    :raises Unprocessable: `over_tank`, lots that are not the product's, amounts that cannot be deducted
    :raises Conflict: `state_conflict`, `load_exists`, `worker_not_qualified`
    """
    if recorded_before(order=order, id=id):
        return order
    late = order.status != "under_way" and moves.was_under_way(order, at=at)
    early = list(moves.not_before_issue(order, at, pointer="/at"))
    at = at or now
    day = checking.local_day(order.farm, at)
    _refuse([*early, *_tank_faults(order, spray), *_product_faults(products, on=day)])
    if not late:
        moves.demand(order, action="record_load")
    _refuse_what_stands_against(order, number=number, mixed_by=mixed_by, at=at)
    planned = next((one for one in order.loads_planned if one["number"] == number), None)
    used = _used(order, products, planned, on=day)
    load = journal.create(
        Load,
        farm=order.farm,
        by=by,
        now=now,
        id=id,
        work_order=order,
        number=number,
        spray=spray,
        products=used,
        planned=planned,
        at=at,
        received_at=now,
        mixed_by=mixed_by,
        **said,
    )
    journal.later("load.recorded", farm=order.farm, subject=load.id, by=by, now=now)
    _leave_residue(order, [one["product"] for one in products], at=at, now=now)
    conflicts = _conflicts(order, load, by=by, now=now)
    return moves.make(order, action="record_load", by=by, now=now, late=late, conflicts=conflicts)


def _conflicts(order: WorkOrder, load: Load, *, by: Actor, now: dt.datetime) -> list[dict[str, Any]]:
    """Return the order's claims after a load: what told of it is settled; one more where it came too late."""
    mine = claims.of_body(order, action="record_load", id=load.id)
    found = claims.settled(order, ids=mine, by=by, now=now)
    if order.status == "done":
        body = {"id": str(load.id), "number": load.number}
        found.append(
            claims.as_claim(
                action="record_load",
                body=body,
                codes=["load_after_record"],
                happened_at=load.at,
                by=by,
                now=now,
            )
        )
    return found


def _refuse(faults: Sequence[Fault]) -> None:
    if faults:
        raise Unprocessable(*faults)


def _tank_faults(order: WorkOrder, spray: Quantity) -> Iterator[Fault]:
    tank = order.sprayer.tank if order.sprayer else None
    if tank is not None and spray.in_base() > tank.in_base():
        detail = _("the tank of %(sprayer)s holds %(tank)s: record each tank as its own load") % {
            "sprayer": order.sprayer,
            "tank": amounts.words(tank),
        }
        yield Fault("over_tank", detail, "/spray")


def _product_faults(products: Sequence[Mapping[str, Any]], *, on: dt.date) -> Iterator[Fault]:
    """Yield products that are named twice, and lots that are not theirs or cannot be deducted."""
    named = [one["product"] for one in products]
    for place, one in enumerate(products):
        pointer = f"/products/{place}"
        if named.index(one["product"]) != place:
            yield Fault(
                "invalid",
                _("%(product)s is named twice") % {"product": one["product"].name},
                f"{pointer}/product",
            )
        yield from _lot_faults(one["product"], one.get("lots") or [], on=on, pointer=pointer)


def _refuse_what_stands_against(
    order: WorkOrder, *, number: int, mixed_by: Worker | None, at: dt.datetime
) -> None:
    faults = []
    if order.kind != "spray":
        detail = _("work of kind %(kind)s has no loads") % {"kind": spoken(order.kind)}
        faults.append(Fault("state_conflict", detail, refers_to=("work_order", str(order.id))))
    same = queries.loads(order=order).filter(number=number).first()
    if same is not None:
        detail = _(
            "load %(number)s is on record already: a mistake in it is corrected on the application record"
        ) % {"number": number}
        faults.append(Fault("load_exists", detail, "/number", ("load", str(same.id))))
    if mixed_by is not None:
        faults += people.unqualified([mixed_by], on=checking.local_day(order.farm, at))
    if faults:
        raise Conflict(*faults)


def _used(
    order: WorkOrder, products: Sequence[Mapping[str, Any]], planned: Mapping[str, Any] | None, *, on: dt.date
) -> list[dict[str, Any]]:
    """Return what was used as it is kept, lots filled in where they were left out.

    :raises Unprocessable: `required` for each product of which the plan says nothing
    """
    kept, faults = [], []
    for place, one in enumerate(products):
        lots = one.get("lots")
        if lots is None:
            lots = _planned_lots(order, one["product"], planned, on=on)
        if lots is None:
            detail = _("the plan says nothing of %(product)s in this load: name the lots and amounts") % {
                "product": one["product"].name
            }
            faults.append(Fault("required", detail, f"/products/{place}/lots"))
            continue
        shown = [{"lot": str(lot["lot"].id), "amount": lot["amount"].as_json()} for lot in lots]
        kept.append({"product": str(one["product"].id), "lots": shown})
    _refuse(faults)
    return kept


def _lot_faults(
    product: Product, lots: Sequence[Mapping[str, Any]], *, on: dt.date, pointer: str
) -> Iterator[Fault]:
    for place, one in enumerate(lots):
        here = f"{pointer}/lots/{place}"
        if one["lot"].product != product:
            yield Fault(
                "invalid",
                _("lot %(lot)s is not of %(product)s") % {"lot": one["lot"].number, "product": product.name},
                f"{here}/lot",
            )
        try:
            stock_amounts.in_base(one["amount"], product=product, on=on)
        except QuantityError as fault:
            yield Fault(fault.code, of_engine(fault), f"{here}/amount/{fault.field}".rstrip("/"))


def _planned_lots(
    order: WorkOrder, product: Product, planned: Mapping[str, Any] | None, *, on: dt.date
) -> list[dict[str, Any]] | None:
    """Return the planned amount of a load, from lots reserved and not yet used; None without a plan."""
    meant = (one for one in (planned or {}).get("products", []) if one["id"] == str(product.id))
    amount = next((amounts.read(one["exact"]) for one in meant), None)
    free = _still_reserved(order, product, on=on)
    return None if amount is None or not free else list(_spread(amount, product, free, on=on))


def _still_reserved(order: WorkOrder, product: Product, *, on: dt.date) -> list[tuple[Lot, Decimal]]:
    """Return the lots reserved for an order, first to expire first, with what no load has taken."""
    rows = Reservation.objects.for_farm(order.farm).filter(work_order=order.id, product=product)
    if order.status != "done":  # at the end the rest was given back; a load told later names what was meant
        rows = rows.exclude(status="released")
    rows = rows.select_related("lot")
    taken: dict[str, Decimal] = {}
    for load in queries.loads(order=order):
        for one in load.products:
            for lot in one["lots"] if one["product"] == str(product.id) else []:
                base = stock_amounts.in_base(amounts.read(lot["amount"]), product=product, on=on)
                taken[lot["lot"]] = EXACT.add(taken.get(lot["lot"], Decimal(0)), base)
    with localcontext(EXACT):
        return [
            (row.lot, max(row.quantity_base - taken.get(str(row.lot.id), Decimal(0)), Decimal(0)))
            for row in rows.order_by("lot__expires_on", "lot__created_at", "lot__id")
        ]


def _spread(
    amount: Quantity, product: Product, free: Sequence[tuple[Lot, Decimal]], *, on: dt.date
) -> Iterator[dict[str, Any]]:
    """Yield the amount over the lots in their order; what passes them all is put on the last."""
    with localcontext(EXACT):
        each = stock_amounts.in_base(Quantity(Decimal(1), amount.unit), product=product, on=on)
        left = amount.value
        open_ = [(lot, base / each) for lot, base in free if base > 0] or [(free[-1][0], Decimal(0))]
        for place, (lot, room) in enumerate(open_, 1):
            take = left if place == len(open_) else min(left, room)
            if take > 0:
                yield {"lot": lot, "amount": Quantity(take, amount.unit)}
                left -= take


def _leave_residue(
    order: WorkOrder, products: Sequence[Product], *, at: dt.datetime, now: dt.datetime
) -> None:
    """Say what is in the sprayer now, unless a later load was told before this one."""
    sprayer = order.sprayer
    if sprayer is None or (sprayer.last_load_at is not None and sprayer.last_load_at > at):
        return
    day = checking.local_day(order.farm, at)
    labels = [store.label_in_force(product=product, on=day) for product in products]
    named = [
        ingredient["name"]
        for version in labels
        if version is not None
        for ingredient in version.label.get("active_ingredients") or []
    ]
    left = list(dict.fromkeys(named)) or [product.name for product in products]
    crew_services.set_residue(sprayer=sprayer, residue=left, last_load_at=at, now=now)


def deduct_load(*, load: Load, by: Actor, now: dt.datetime) -> Load:
    """Take a load's product from the store, once however often this is called.

    Where the book holds less than was used, what is there is posted, the rest is asked about.

    :param load: any copy of it; its row is locked here
    """
    load = _locked(load)
    if load.stock != "pending":
        return load
    order = load.work_order
    deduction = stock.use(
        farm=load.farm,
        work_order=order.id,
        load=load.id,
        used=used_lots(load.products, farm=load.farm),
        by=by,
        at=load.at,
        now=now,
    )
    missing = deduction.missing
    journal.touch(
        load,
        now=now,
        stock="posted" if missing is None else "short",
        missing=None if missing is None else missing.as_json(),
    )
    return load


def deduct_loads(*, order: WorkOrder, by: Actor, now: dt.datetime) -> list[Load]:
    """Take what all loads of an order used from the store; return them in their order. See `deduct_load`."""
    rows = list(queries.loads(order=order).order_by("number", "id"))
    hold_lots(farm=order.farm, work_order=order.id, loads=[row.id for row in rows], now=now)
    return [deduct_load(load=row, by=by, now=now) for row in rows]


def hold_lots(
    *,
    farm: Farm,
    work_order: uuid.UUID,
    loads: Sequence[uuid.UUID],
    now: dt.datetime,
    more: Sequence[stock.Used] = (),
    back: Sequence[uuid.UUID] = (),
) -> None:
    """Lock loads, then at once every lot that they still take from, and more: nobody waits in a circle.

    :param more: what else will be taken in this transaction
    :param back: loads and records whose uses will be put back
    """
    held = Load.objects.for_farm(farm).filter(id__in=loads, stock="pending")
    waiting = list(held.order_by("key").select_for_update(no_key=True))
    used = [one for row in waiting for one in used_lots(row.products, farm=farm)]
    on = checking.local_day(farm, now)
    stock.hold(farm=farm, work_order=work_order, used=[*used, *more], loads=back, on=on)


def _locked(load: Load) -> Load:
    rows = Load.objects.for_farm(load.farm).select_related("farm", "work_order__farm")
    return rows.select_for_update(of=("self",), no_key=True).get(key=load.key)


def used_lots(products: Sequence[Mapping[str, Any]], *, farm: Any) -> list[stock.Used]:
    """Return what stored JSON says was used, as the store reads it."""
    rows = {
        str(row.id): row for row in store.products(farm=farm).filter(id__in=[p["product"] for p in products])
    }
    wanted = [lot["lot"] for one in products for lot in one["lots"] if lot["lot"]]
    lots = {str(lot.id): lot for lot in store.lots(farm=farm).filter(id__in=wanted)}
    return [
        stock.Used(
            product=rows[one["product"]], lot=lots.get(lot["lot"] or ""), quantity=amounts.read(lot["amount"])
        )
        for one in products
        for lot in one["lots"]
    ]
