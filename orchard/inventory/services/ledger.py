"""The one way by which a balance changes: a line of the ledger and the sum beside it, together."""

from __future__ import annotations

import datetime as dt
import uuid
import zoneinfo
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, nullcontext
from decimal import Decimal
from typing import Any

from django.db import connection, transaction
from django.utils.translation import gettext as _

from mixing.quantities import EXACT, Quantity, QuantityError
from orchard.api import statements
from orchard.api.refusals import Conflict, Fault, Unprocessable
from orchard.api.spoken import of_engine
from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.farms.models import Farm
from orchard.inventory import amounts, balance_queries, chain, queries
from orchard.inventory.models import Lot, Movement, Product


class StockShort(Conflict):
    """The store does not hold what is wanted: `short` of each fault says how much is missing."""


def short_fault(*, product: Product, missing: Decimal, lot: Lot | None = None, pointer: str = "") -> Fault:
    """Return the fault that says how much of a product, or of one lot of it, is missing [base unit]."""
    short = amounts.shown_stock(missing, product)
    facts = {"product": product.name, "amount": f"{short['value']} {short['unit']}"}
    if lot is None:
        says = _("%(product)s is short by %(amount)s") % facts
    else:
        says = _("lot %(lot)s of %(product)s is short by %(amount)s") % {**facts, "lot": lot.number}
    return Fault(
        "stock_short",
        says,
        pointer,
        refers_to=("product", str(product.id)) if lot is None else ("lot", str(lot.id)),
        short=short,
    )


@contextmanager
def whole() -> Iterator[None]:
    """Write all of it or nothing: in the caller's transaction where there is one, else in one of its own.

    It sets no savepoint, which would cost two round trips: whoever refuses something refuses it before the
    first write, so that a caller may go on in the same transaction. What is written goes together.
    """
    with nullcontext() if connection.in_atomic_block else transaction.atomic(), statements.together():
        yield


LOCKED = f"""
    SELECT {statements.columns(Lot, "lot")} FROM {Lot._meta.db_table} AS lot
    WHERE lot.farm_id = $1 AND {{which}}
    ORDER BY lot.key FOR NO KEY UPDATE
"""
BY_KEY = LOCKED.format(which="lot.key = ANY($2)")
USABLE = LOCKED.format(
    which="lot.product_id = ANY($2) AND (lot.expires_on IS NULL OR lot.expires_on >= $3) "
    "AND NOT lot.quarantined AND NOT lot.archived"
)
"""The condition of `queries.usable`."""


def lock_keys(
    *, farm: Farm, keys: Iterable[uuid.UUID], known: Iterable[Product] = ()
) -> dict[uuid.UUID, Lot]:
    """Return lots with their rows locked, in the one order (by key) that keeps writers from deadlock.

    :param known: products that the caller has, so that they need not be read again
    """
    return {lot.key: lot for lot in _locked(BY_KEY, farm, list(set(keys)), known=known)}


def lock_usable(*, farm: Farm, products: Iterable[Product], on: dt.date) -> list[Lot]:
    """Return the lots of products that may be used on a day, locked in the same order."""
    known = list(products)
    return _locked(USABLE, farm, [product.key for product in known], on, known=known)


def _locked(text: str, farm: Farm, *values: object, known: Iterable[Product]) -> list[Lot]:
    lots = [statements.load(Lot, row) for row in statements.read(text, [farm.id, *values])]
    products = {product.key: product for product in known}
    if others := {lot.product_id for lot in lots} - products.keys():
        products |= {row.key: row for row in queries.products(farm=farm).filter(key__in=others)}
    for lot in lots:
        lot.farm, lot.product = farm, products[lot.product_id]
    return lots


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
    with statements.together():
        line = journal.create(
            Movement,
            farm=lot.farm,
            by=by,
            now=now,
            id=id,
            seal=lambda line: _follow(line, lot),
            lot=lot,
            kind=kind,
            quantity=quantity,
            change_base=change_base,
            balance_after_base=balance,
            at=at,
            **said,
        )
        sums = {"on_hand_base": balance, "chain_length": line.position, "chain_head": line.hash}
        journal.touch(lot, now=now, **sums)
    return line


def demand_held(lot: Lot, change_base: Decimal, *, at: dt.datetime, now: dt.datetime) -> None:
    """Refuse what would let a lot have held less than nothing at some moment since `at`.

    It is asked of what is entered by hand. What a crew used is taken as they tell it, and told to the store
    (`balance_queries.below_nothing`). The caller holds the lot's lock.

    :raises StockShort: naming what it held, and from when on
    """
    if change_base >= 0 or at >= now or EXACT.add(lot.on_hand_base, change_base) < 0:
        return
    lowest, since = balance_queries.lowest_since(lot, at=at)
    left = EXACT.add(lowest, change_base)
    if left >= 0:
        return
    held = amounts.shown_stock(lowest, lot.product)
    says = _(
        "by the book lot %(lot)s of %(product)s held %(held)s at %(since)s: give the time at which this went "
        "out, or first enter what had come in by then"
    ) % {
        "lot": lot.number,
        "product": lot.product.name,
        "held": f"{held['value']} {held['unit']}",
        "since": f"{since.astimezone(zoneinfo.ZoneInfo(lot.farm.zone)):%Y-%m-%d %H:%M}",
    }
    short = amounts.shown_stock(left.copy_negate(), lot.product)
    raise StockShort(Fault("stock_short", says, "/at", refers_to=("lot", str(lot.id)), short=short))


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
                of_engine(fault),
                f"{pointer}/{fault.field}" if pointer and fault.field else pointer,
                refers_to=("product", str(product.id)),
            )
        ) from None
