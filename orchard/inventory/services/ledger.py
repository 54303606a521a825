"""The one way by which a balance changes: a line of the ledger and the sum beside it, together."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from django.db.models import Q

from mixing.quantities import EXACT, Quantity, QuantityError
from orchard.api.refusals import Conflict, Fault, Unprocessable
from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.farms.models import Farm
from orchard.inventory import amounts, chain, queries
from orchard.inventory.models import Lot, Movement, Product


class StockShort(Conflict):
    """The store does not hold what is wanted: `short` of each fault says how much is missing."""


def short_fault(*, product: Product, missing: Decimal, lot: Lot | None = None, pointer: str = "") -> Fault:
    """Return the fault that says how much of a product, or of one lot of it, is missing [base unit]."""
    short = amounts.shown_stock(missing, product)
    what = product.name if lot is None else f"lot {lot.number} of {product.name}"
    return Fault(
        "stock_short",
        f"{what} is short by {short['value']} {short['unit']}",
        pointer,
        refers_to=("product", str(product.id)) if lot is None else ("lot", str(lot.id)),
        short=short,
    )


def lock(*, farm: Farm, which: Q) -> list[Lot]:
    """Return lots with their rows locked, in the one order (by key) that keeps writers from deadlock."""
    rows = queries.lots(farm=farm).filter(which).order_by("key")
    return list(rows.select_for_update(of=("self",), no_key=True))


def lock_keys(*, farm: Farm, keys: Iterable[uuid.UUID]) -> dict[uuid.UUID, Lot]:
    """Return these lots by their keys, locked."""
    return {lot.key: lot for lot in lock(farm=farm, which=Q(key__in=set(keys)))}


def post(
    lot: Lot,
    *,
    kind: str,
    quantity: Quantity,
    change_base: Decimal,
    by: Actor,
    at: dt.datetime,
    now: dt.datetime,
    id: uuid.UUID | None = None,
    **said: Any,
) -> Movement:
    """Write one line and the balance after it. The caller holds the lot's lock.

    :param quantity: as it was entered
    :param change_base: what it adds to the lot, below zero for what goes out [base unit]
    :raises StockShort: where the lot holds less than goes out
    """
    balance = EXACT.add(lot.on_hand_base, change_base)
    if balance < 0:
        raise StockShort(
            short_fault(product=lot.product, missing=balance.copy_negate(), lot=lot, pointer="/quantity")
        )
    movement = journal.insert(
        Movement,
        farm=lot.farm,
        by=by,
        now=now,
        id=id,
        seal=lambda row: _follow(row, lot),
        lot=lot,
        kind=kind,
        quantity=quantity,
        change_base=change_base,
        balance_after_base=balance,
        at=at,
        **said,
    )
    journal.created(movement, by=by, now=now)
    journal.touch(
        lot, now=now, on_hand_base=balance, chain_length=movement.position, chain_head=movement.hash
    )
    return movement


def _follow(line: Movement, lot: Lot) -> None:
    """Put a line after the last of its lot."""
    line.position = lot.chain_length + 1
    line.hash = chain.link(lot.chain_head, chain.values_of(line))


def base_of(quantity: Quantity, *, product: Product, on: dt.date, pointer: str) -> Decimal:
    """Return an amount in the product's base unit.

    :raises Unprocessable: `unit_kind`, `unit_needs_density`, `out_of_range`
    """
    try:
        return amounts.in_base(quantity, product=product, on=on)
    except QuantityError as fault:
        raise Unprocessable(
            Fault(
                fault.code,
                fault.detail,
                f"{pointer}/{fault.field}" if pointer and fault.field else pointer,
                refers_to=("product", str(product.id)),
            )
        ) from None
