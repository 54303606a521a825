"""What the plan will use, less what is there: what to buy."""

from __future__ import annotations

import datetime as dt
import uuid
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import reduce
from typing import Any

from django.db.models import Sum

from mixing.quantities import EXACT, QuantityError
from orchard.farms.models import Farm
from orchard.inventory import amounts as stock_amounts
from orchard.inventory import queries as store
from orchard.inventory.amounts import ZERO
from orchard.inventory.models import LabelVersion, Lot, Movement, Product, Shortage
from orchard.tasks import amounts
from orchard.tasks.models import WorkOrder
from orchard.tasks.states import OPEN


@dataclass(frozen=True, slots=True)
class PurchaseNeed:
    """What open orders still take of one product, beside what may be used of it.

    :ivar needed: what the orders take, less what they have used [base unit]
    :ivar on_hand: what lots hold that may be used on the day it is needed, and today [base unit]
    :ivar needed_by: the day on the farm on which the first of the orders starts
    :ivar work_orders: the orders that still take some, first to start first
    :ivar not_counted: those whose amount cannot be turned into the product's unit of stock
    """

    product: Product
    needed: Decimal
    on_hand: Decimal
    needed_by: dt.date
    work_orders: tuple[uuid.UUID, ...]
    not_counted: tuple[uuid.UUID, ...]

    @property
    def short(self) -> Decimal:
        """What is to be bought [base unit]."""
        return max(ZERO, EXACT.subtract(self.needed, self.on_hand))


@dataclass(frozen=True, slots=True)
class _Part:
    """What one order still takes; None where that cannot be told in the product's unit."""

    order: uuid.UUID
    starts_on: dt.date
    base: Decimal | None


def purchase_needs(*, farm: Farm, at: dt.datetime) -> dict[uuid.UUID, PurchaseNeed]:
    """Return what open orders still take, by the product's key, in six queries however many they are.

    Drafts count with the totals of their plan, so that there is time to buy. An amount of the other kind
    (a powder by volume) is turned by the label of today.
    """
    today = store.day_on_farm(farm=farm, at=at)
    parts = _parts(farm=farm, today=today)
    rows = Lot.objects.for_farm(farm).filter(product__in=list(parts), on_hand_base__gt=0)
    lots: dict[uuid.UUID, list[Lot]] = defaultdict(list)
    for lot in rows.select_related("product"):
        lots[lot.product.key].append(lot)
    return {
        product.key: _need(product, open_, lots[product.key], today=today)
        for product, open_ in parts.items()
        if open_
    }


def _need(product: Product, parts: list[_Part], lots: list[Lot], *, today: dt.date) -> PurchaseNeed:
    needed_by = min(part.starts_on for part in parts)
    on = max(today, needed_by)
    usable = (lot.on_hand_base for lot in lots if store.may_be_used(lot, on=on))
    return PurchaseNeed(
        product=product,
        needed=reduce(EXACT.add, (part.base for part in parts if part.base is not None), ZERO),
        on_hand=reduce(EXACT.add, usable, ZERO),
        needed_by=needed_by,
        work_orders=tuple(part.order for part in parts),
        not_counted=tuple(part.order for part in parts if part.base is None),
    )


def _parts(*, farm: Farm, today: dt.date) -> dict[Product, list[_Part]]:
    """Return what each open order still takes of each product, first to start first."""
    rows = WorkOrder.objects.for_farm(farm).filter(kind="spray", status__in=OPEN)
    orders = list(rows.order_by("starts_at", "id").values("id", "starts_at", "totals"))
    used = _used(farm=farm, orders=[order["id"] for order in orders])
    wanted = {total["id"] for order in orders for total in order["totals"]}
    with_label = store.with_label(store.products(farm=farm), on=today)
    products = {str(row.id): row for row in with_label.filter(id__in=wanted)}
    found: dict[Product, list[_Part]] = {row: [] for row in products.values()}
    for order in orders:
        starts_on = store.day_on_farm(farm=farm, at=order["starts_at"])
        for total in order["totals"]:
            product = products.get(total["id"])
            if product is None:  # deleted since: drafts do not hold a product
                continue
            base = _still_takes(product, total, used.get((order["id"], product.key), ZERO))
            if base is None or base > 0:
                found[product].append(_Part(order["id"], starts_on, base))
    return found


def _still_takes(product: Product, total: Mapping[str, Any], used: Decimal) -> Decimal | None:
    if total["exact"] is None:
        return None
    try:
        planned = stock_amounts.in_base_by(
            amounts.read(total["exact"]), product=product, density=lambda: _density(product)
        )
    except QuantityError:
        return None
    return EXACT.subtract(planned, used)


def _density(product: Product) -> Decimal | None:
    in_force: list[LabelVersion] = product.in_force  # type: ignore[attr-defined]
    return stock_amounts.density_by(in_force[0]) if in_force else None


def _used(*, farm: Farm, orders: list[uuid.UUID]) -> dict[tuple[uuid.UUID, uuid.UUID], Decimal]:
    """Return what each order has used of each product: what was posted, and what the book could not give."""
    posted = Movement.objects.for_farm(farm).filter(work_order__in=orders, kind__in=("use", "reverse"))
    missing = Shortage.objects.for_farm(farm).filter(work_order__in=orders)
    used: dict[tuple[uuid.UUID, uuid.UUID], Decimal] = {}
    for order, product, change in _sums(posted, "lot__product", "change_base"):
        used[order, product] = change.copy_negate()
    for order, product, base in _sums(missing, "product", "missing_base"):
        used[order, product] = EXACT.add(used.get((order, product), ZERO), base)
    return used


def _sums(rows: Any, product: str, column: str) -> Any:
    return rows.order_by().values_list("work_order", product).annotate(sum=Sum(column))
