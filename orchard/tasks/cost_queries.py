"""What the product on each block cost: by the lot that was used, whatever others cost."""

from __future__ import annotations

import datetime as dt
import uuid
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction
from functools import reduce

from mixing.quantities import EXACT, Quantity, QuantityError
from orchard.blocks.models import Block
from orchard.farms.models import Farm
from orchard.inventory import amounts as stock_amounts
from orchard.inventory import queries as store
from orchard.inventory.models import LabelVersion, Lot, Product
from orchard.tasks import amounts
from orchard.tasks.models import AppliedProduct

CENT = Decimal("0.01")
HECTARE = 10_000
"""Square metres."""


@dataclass(frozen=True, slots=True)
class LotCost:
    """What one lot, or product without a lot, gave to a block and cost there.

    :ivar base: how much of it [base unit]; None where that cannot be told
    :ivar cost: exact; None where its price is not known
    """

    product: Product
    lot: Lot | None
    base: Decimal | None
    currency: str | None
    cost: Fraction | None


@dataclass(frozen=True, slots=True)
class BlockCost:
    """What one block took, lot by lot."""

    block: Block
    lots: tuple[LotCost, ...]

    def totals(self) -> dict[str, Fraction]:
        """Return the sum in each currency, without what has no price."""
        found: dict[str, Fraction] = defaultdict(Fraction)
        for one in self.lots:
            if one.cost is not None and one.currency is not None:
                found[one.currency] += one.cost
        return dict(found)

    def per_hectare(self, total: Fraction) -> Fraction | None:
        """Return a sum over the block's ground; None where its area is not known."""
        area = self.block.area
        if area is None or area.value == 0:
            return None
        return total * HECTARE / Fraction(area.in_base())


def money(exact: Fraction) -> Decimal:
    """Return an amount of money to the cent, rounded once."""
    value = EXACT.divide(Decimal(exact.numerator), Decimal(exact.denominator))
    return value.quantize(CENT, rounding=ROUND_HALF_EVEN, context=EXACT)


def costs(*, farm: Farm, today: dt.date, **asked: object) -> list[BlockCost]:
    """Return what was put on each block and what it cost, by the records that stand, in three queries.

    :param today: whose labels turn a volume of a powder into its mass
    :param asked: any of `since`, `until`, `block`, `product`, `lot`
    """
    wanted = {COLUMNS[name]: value for name, value in asked.items() if value is not None}
    rows = AppliedProduct.objects.filter(record__farm=farm, record__status="current", **wanted)
    products = store.with_label(store.products(farm=farm).filter(key__in=rows.values("product")), on=today)
    by_key = {row.key: row for row in products}
    found: dict[Block, dict[tuple[uuid.UUID, uuid.UUID | None], list[AppliedProduct]]] = {}
    for row in rows.select_related("record__block", "product", "lot").order_by(*ORDER):
        here = found.setdefault(row.record.block, {})
        here.setdefault((row.product.key, row.lot.key if row.lot else None), []).append(row)
    return [
        BlockCost(block, tuple(_lot(by_key[key], applied) for (key, _), applied in here.items()))
        for block, here in found.items()
    ]


COLUMNS = {
    "since": "record__finished_at__gte",
    "until": "record__finished_at__lte",
    "block": "record__block__id",
    "product": "product__id",
    "lot": "lot__id",
}
ORDER = ("record__block__name", "record__block__id", "product__name", "lot__number", "id")


def _lot(product: Product, applied: Iterable[AppliedProduct]) -> LotCost:
    applied = list(applied)
    lot = applied[0].lot
    try:
        base = reduce(EXACT.add, (_base(row.amount, product) for row in applied))
        price = None if lot is None or lot.price is None else lot.price
        if price is None:
            return LotCost(product, lot, base, None, None)
        per = _base(amounts.read(price["per"]), product)
    except QuantityError:
        return LotCost(product, lot, None, None, None)
    cost = Fraction(Decimal(price["amount"])) * Fraction(base) / Fraction(per)
    return LotCost(product, lot, base, price["currency"], cost)


def _base(quantity: Quantity, product: Product) -> Decimal:
    in_force: list[LabelVersion] = product.in_force  # type: ignore[attr-defined]
    return stock_amounts.in_base_by(
        quantity,
        product=product,
        density=lambda: stock_amounts.density_by(in_force[0]) if in_force else None,
    )
