"""What the plan will use, less what is there: what to buy."""

from __future__ import annotations

import datetime as dt
import uuid
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal
from functools import reduce
from typing import Any

from django.db.models import Sum

from mixing.quantities import EXACT, QuantityError
from orchard.farms.models import Farm
from orchard.inventory import amounts as stock_amounts
from orchard.inventory import queries as store
from orchard.inventory.allocation import take
from orchard.inventory.amounts import ZERO
from orchard.inventory.models import LabelVersion, Lot, Movement, Product, Shortage
from orchard.tasks import amounts, season_needs
from orchard.tasks.models import WorkOrder
from orchard.tasks.states import OPEN

DAY = Decimal(86400)
"""Seconds."""


@dataclass(frozen=True, slots=True)
class PurchaseNeed:
    """What is still to be used of one product, beside what there is of it on the days it is needed.

    :ivar needed: what open orders take, less what they have used [base unit]
    :ivar on_hand: what lots hold that may be used on the day it is needed, and today [base unit]
    :ivar short: what of `needed` no lot can give that is still good on its day [base unit]
    :ivar planned: what lines of the season's plans will use that no order stands for [base unit]
    :ivar to_order: what is to be bought for all of it, with the safety stock back on the shelf [base unit]
    :ivar needed_by: the day on the farm on which the first of it is needed
    :ivar order_by: the last day to order it on, by its lead time; None where nothing is to be ordered
    :ivar work_orders: the orders that still take some, first to start first
    :ivar not_counted: those whose amount cannot be turned into the product's unit of stock
    :ivar lines_not_counted: how many lines of plans cannot be told in it either
    """

    product: Product
    needed: Decimal
    on_hand: Decimal
    short: Decimal
    planned: Decimal
    to_order: Decimal
    needed_by: dt.date
    order_by: dt.date | None
    work_orders: tuple[uuid.UUID, ...]
    not_counted: tuple[uuid.UUID, ...]
    lines_not_counted: int

    @property
    def below_safety(self) -> Decimal:
        """What is missing of the safety stock once the open orders are served [base unit]."""
        if self.product.safety_stock is None:
            return ZERO
        left = max(ZERO, EXACT.subtract(self.on_hand, self.needed))
        return max(ZERO, EXACT.subtract(self.product.safety_stock.in_base(), left))

    @property
    def containers(self) -> int | None:
        """How many whole containers that is; None where it is not known what one holds."""
        container = self.product.container
        if container is None:
            return None
        whole = EXACT.divide(self.to_order, container.in_base())
        return int(whole.to_integral_value(rounding=ROUND_CEILING))


@dataclass(frozen=True, slots=True)
class _Part:
    """What one order, or one line of a plan, still takes; None where that cannot be told."""

    order: uuid.UUID | None
    on: dt.date
    base: Decimal | None


def purchase_needs(*, farm: Farm, at: dt.datetime) -> dict[uuid.UUID, PurchaseNeed]:
    """Return what is still to be used, by the product's key, in ten queries however many they are.

    Drafts count with the totals of their plan, so that there is time to buy. An amount of the other kind
    (a powder by volume) is turned by the label of today.
    """
    today = store.day_on_farm(farm=farm, at=at)
    with_label = store.with_label(store.products(farm=farm), on=today)
    products = {str(row.id): row for row in with_label.order_by("id")}
    open_ = _parts(farm=farm, products=products)
    ahead: dict[uuid.UUID, list[_Part]] = defaultdict(list)
    for one in season_needs.planned(farm=farm, today=today, products=products):
        ahead[one.product.key].append(_Part(None, one.on, one.base))
    lots: dict[uuid.UUID, list[Lot]] = defaultdict(list)
    for lot in Lot.objects.for_farm(farm).filter(on_hand_base__gt=0).order_by(*store.FIRST_TO_EXPIRE):
        lots[lot.product_id].append(lot)  # type: ignore[attr-defined]
    return {
        row.key: _need(row, open_[row.key], ahead[row.key], lots[row.key], today=today)
        for row in products.values()
        if open_[row.key] or ahead[row.key] or (row.safety_stock is not None and not row.archived)
    }


def _need(
    product: Product, open_: list[_Part], ahead: list[_Part], lots: list[Lot], *, today: dt.date
) -> PurchaseNeed:
    needed_by = min((part.on for part in (open_ or ahead)), default=today)
    usable = (lot.on_hand_base for lot in lots if store.may_be_used(lot, on=max(today, needed_by)))
    short, _, _ = _served(open_, lots, today=today)
    lacking, left, first = _served([*open_, *ahead], lots, today=today)
    safety = product.safety_stock.in_base() if product.safety_stock is not None else ZERO
    to_order = EXACT.add(lacking, max(ZERO, EXACT.subtract(safety, left)))
    return PurchaseNeed(
        product=product,
        needed=_sum(open_),
        on_hand=reduce(EXACT.add, usable, ZERO),
        short=short,
        planned=_sum(ahead),
        to_order=to_order,
        needed_by=needed_by,
        order_by=_order_by(product, first or today) if to_order > 0 else None,
        work_orders=tuple(part.order for part in open_ if part.order is not None),
        not_counted=tuple(part.order for part in open_ if part.base is None and part.order is not None),
        lines_not_counted=sum(part.base is None for part in ahead),
    )


def _sum(parts: list[_Part]) -> Decimal:
    return reduce(EXACT.add, (part.base for part in parts if part.base is not None), ZERO)


def _served(
    parts: list[_Part], lots: list[Lot], *, today: dt.date
) -> tuple[Decimal, Decimal, dt.date | None]:
    """Serve each part on its day, first to expire first, from what is still good then.

    Return what no lot could give, what is left that may be used today, and the day of the first lack.
    """
    holds = {lot.key: lot.on_hand_base for lot in lots}
    lacking, first = ZERO, None
    for part in sorted(parts, key=lambda part: part.on):
        good = [lot for lot in lots if store.may_be_used(lot, on=max(today, part.on))]
        taken, missing = take(part.base or ZERO, ((lot, holds[lot.key]) for lot in good))
        for lot, base in taken:
            holds[lot.key] = EXACT.subtract(holds[lot.key], base)
        lacking = EXACT.add(lacking, missing)
        first = first or (part.on if missing > 0 else None)
    left = (holds[lot.key] for lot in lots if store.may_be_used(lot, on=today))
    return lacking, reduce(EXACT.add, left, ZERO), first


def _order_by(product: Product, needed_by: dt.date) -> dt.date:
    """Return the last day to order on; begun days of the lead time count whole."""
    if product.lead_time is None:
        return needed_by
    days = EXACT.divide(product.lead_time.in_base(), DAY).to_integral_value(rounding=ROUND_CEILING)
    return needed_by - dt.timedelta(days=int(days))


def _parts(*, farm: Farm, products: Mapping[str, Product]) -> dict[uuid.UUID, list[_Part]]:
    """Return what each open order still takes of each product, by its key, first to start first."""
    rows = WorkOrder.objects.for_farm(farm).filter(kind="spray", status__in=OPEN)
    orders = list(rows.order_by("starts_at", "id").values("id", "starts_at", "totals"))
    used = _used(farm=farm, orders=[order["id"] for order in orders])
    found: dict[uuid.UUID, list[_Part]] = {row.key: [] for row in products.values()}
    for order in orders:
        starts_on = store.day_on_farm(farm=farm, at=order["starts_at"])
        for total in order["totals"]:
            product = products.get(total["id"])
            if product is None:  # deleted since: drafts do not hold a product
                continue
            base = _still_takes(product, total, used.get((order["id"], product.key), ZERO))
            if base is None or base > 0:
                found[product.key].append(_Part(order["id"], starts_on, base))
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
