"""What loads take out of the store: each load and lot once, whoever tells it and however often."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import reduce
from typing import Any

from django.db import transaction
from django.db.models import Q

from mixing.quantities import EXACT, Quantity
from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.farms.models import Farm
from orchard.inventory import allocation, amounts, queries
from orchard.inventory.models import Lot, Movement, Product, Reservation, Shortage
from orchard.inventory.services import ledger, reservations, reversals


@dataclass(frozen=True, slots=True)
class Used:
    """What a load used of a product; no lot: of what was promised to its order, first to expire first."""

    product: Product
    lot: Lot | None
    quantity: Quantity


@dataclass(frozen=True, slots=True)
class Deduction:
    """What came of it.

    :ivar posted: the lines of the ledger
    :ivar missing: what the book did not hold, in the stock unit of the first product that is short
    :ivar shortages: the questions that are open for it, one for each lot or product
    """

    posted: tuple[Movement, ...]
    missing: Quantity | None
    shortages: tuple[Shortage, ...]


@dataclass(frozen=True, slots=True)
class _Part:
    """What one lot is to give; no lot: what no lot could."""

    product: Product
    lot: Lot | None
    quantity: Quantity
    base: Decimal


def use(
    *,
    farm: Farm,
    work_order: uuid.UUID,
    load: uuid.UUID,
    used: Sequence[Used],
    by: Actor,
    at: dt.datetime,
    now: dt.datetime,
) -> Deduction:
    """Take out what a load used, and make the order's promises smaller by it. A second call does nothing.

    What happened is never refused: an expired lot that was named is taken from, and where the book holds
    less, what is there is posted and a question is opened for the rest. No balance goes below zero.

    :param load: the load's id, of which each lot's effect is made
    :raises Unprocessable: `unit_needs_density`, `unit_kind`
    """
    on = queries.day_on_farm(farm=farm, at=at)
    with ledger.whole():
        rows, held = _locked(farm=farm, work_order=work_order, used=used, on=on)
        if before := _before(farm=farm, load=load):
            return before
        posted, shortages = [], []
        for part in _parts(used, rows, held, on=on):
            _fulfil(part, rows, held, by=by, now=now)
            line, question = _post(part, work_order=work_order, load=load, by=by, at=at, now=now)
            posted += line
            shortages += question
        return _deduction(posted, shortages)


def hold(
    *, farm: Farm, work_order: uuid.UUID, used: Sequence[Used], loads: Sequence[uuid.UUID] = (), on: dt.date
) -> None:
    """Lock at once all lots that several calls in this transaction will take from or put back into.

    Each call locks its own lots in the one order; two calls after each other would not, and could wait for
    somebody who waits for them.

    :param loads: whose uses will be put back
    """
    back = Movement.objects.for_farm(farm).filter(load__in=loads, kind="use").values_list("lot", flat=True)
    _locked(farm=farm, work_order=work_order, used=used, on=on, also=back if loads else ())


def _locked(
    *,
    farm: Farm,
    work_order: uuid.UUID,
    used: Sequence[Used],
    on: dt.date,
    also: Iterable[uuid.UUID] = (),
) -> tuple[list[Reservation], dict[uuid.UUID, Lot]]:
    named = {one.lot.key for one in used if one.lot is not None}
    unnamed = [one.product for one in used if one.lot is None]
    others = Lot.objects.for_farm(farm).filter(queries.usable(on=on), Q(product__in=unnamed))
    free = others.values_list("key", flat=True) if unnamed else ()
    known = [one.product for one in used]
    return reservations.locked(farm=farm, work_order=work_order, also=[*named, *free, *also], known=known)


def _before(*, farm: Farm, load: uuid.UUID) -> Deduction | None:
    """Return what this load took already; None where it has not been counted."""
    uses = Movement.objects.for_farm(farm).filter(load=load, kind="use")
    posted = list(uses.select_related("lot").order_by("id"))
    shortages = list(queries.shortages(farm=farm).filter(load=load).order_by("id"))
    return _deduction(posted, shortages) if posted or shortages else None


def _deduction(posted: Sequence[Movement], shortages: Sequence[Shortage]) -> Deduction:
    missing = None
    if shortages:
        product = shortages[0].product
        short = reduce(EXACT.add, (row.missing_base for row in shortages if row.product == product))
        missing = amounts.in_stock_unit(short, product)
    return Deduction(tuple(posted), missing, tuple(shortages))


def _parts(
    used: Sequence[Used], rows: Sequence[Reservation], held: dict[uuid.UUID, Lot], *, on: dt.date
) -> list[_Part]:
    """Return what each lot gives, one part a lot: named lots as told, then the rest by date."""
    given: dict[uuid.UUID, _Part] = {}
    for one in used:
        if one.lot is not None:
            base = ledger.base_of(one.quantity, product=one.product, on=on, pointer="")
            _add(given, _Part(one.product, held[one.lot.key], one.quantity, base))
    for one in used:
        if one.lot is None:
            base = ledger.base_of(one.quantity, product=one.product, on=on, pointer="")
            for lot, part in _by_date(one.product, base, rows, held, given, on=on):
                whole = one.quantity if part == base else amounts.in_stock_unit(part, one.product)
                _add(given, _Part(one.product, lot, whole, part))
    return list(given.values())


def _add(given: dict[uuid.UUID, _Part], part: _Part) -> None:
    key = part.lot.key if part.lot is not None else part.product.key
    if key in given:
        base = EXACT.add(given[key].base, part.base)
        part = _Part(part.product, part.lot, amounts.in_stock_unit(base, part.product), base)
    given[key] = part


def _by_date(
    product: Product,
    wanted: Decimal,
    rows: Sequence[Reservation],
    held: dict[uuid.UUID, Lot],
    given: dict[uuid.UUID, _Part],
    *,
    on: dt.date,
) -> list[tuple[Lot | None, Decimal]]:
    """Return the lots to take from: what was promised to the order, then what is free; None for the rest."""
    usable = [lot for lot in held.values() if lot.product == product and queries.may_be_used(lot, on=on)]
    named = {key: part.base for key, part in given.items()}
    return allocation.for_an_order(wanted, lots=usable, rows=rows, named=named)


def _fulfil(
    part: _Part, rows: Sequence[Reservation], held: dict[uuid.UUID, Lot], *, by: Actor, now: dt.datetime
) -> None:
    """Make the order's promises of a product smaller by what was used: of the same lot first."""
    mine = [row for row in rows if row.product == part.product]
    lot = part.lot.key if part.lot is not None else None
    for row, less in allocation.fulfilled(part.base, rows=mine, lot=lot):
        reservations.lessen(row, held[row.lot.key], by_base=less, becomes="used", by=by, now=now)


def _post(
    part: _Part, *, work_order: uuid.UUID, load: uuid.UUID, by: Actor, at: dt.datetime, now: dt.datetime
) -> tuple[list[Movement], list[Shortage]]:
    """Post what the lot holds of a part; return the line, and the question about the rest."""
    posted, shortages = [], []
    there, missing = allocation.booked(part.base, lot=part.lot)
    of_load = {"work_order": work_order, "load": load}
    if part.lot is not None and there > 0:
        line = ledger.post(
            part.lot,
            kind="use",
            quantity=part.quantity if there == part.base else amounts.in_stock_unit(there, part.product),
            change_base=there.copy_negate(),
            by=by,
            at=at,
            now=now,
            effect=f"load:{load}:{part.lot.id}",
            **of_load,
        )
        posted.append(line)
    if missing > 0:
        effect = f"load:{load}:{(part.lot or part.product).id}"
        shortages.append(_ask(part, missing, effect=effect, by=by, now=now, **of_load))
    return posted, shortages


def _ask(
    part: _Part, missing: Decimal, *, effect: str, by: Actor, now: dt.datetime, **of_load: Any
) -> Shortage:
    """Open the question where the rest came from, and let others know."""
    shortage = journal.create(
        Shortage,
        farm=part.product.farm,
        by=by,
        now=now,
        product=part.product,
        lot=part.lot,
        missing=amounts.in_stock_unit(missing, part.product),
        missing_base=missing,
        effect=effect,
        **of_load,
    )
    journal.later("stock.short", farm=part.product.farm, subject=shortage.id, by=by, now=now)
    return shortage


def put_back(
    *, farm: Farm, loads: Sequence[uuid.UUID], reason: str, by: Actor, now: dt.datetime
) -> list[Movement]:
    """Put back what these loads took, once: each `use` is reversed, and open questions are closed."""
    with transaction.atomic():
        made = reversals.undo_uses(farm=farm, loads=list(loads), by=by, at=now, now=now, reason=reason)
        open_ = queries.shortages(farm=farm).filter(load__in=loads, answered_at=None).order_by("key")
        for row in open_.select_for_update(of=("self",), no_key=True):
            journal.change(row, by=by, now=now, answered_at=now, answer=reason)
        return made
