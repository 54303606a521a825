"""What went on a block in a season, added up from its records: metal per area, and money."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal, localcontext
from typing import Any

from mixing.faults import TOP
from mixing.label_reading import read_label
from mixing.quantities import EXACT, Quantity, QuantityError
from mixing.reading import Reader
from orchard.blocks.models import Block
from orchard.inventory import amounts as stock_amounts
from orchard.inventory.models import Lot
from orchard.tasks import amounts, metal
from orchard.tasks.models import ApplicationRecord

CENT = Decimal("0.01")


@dataclass(frozen=True, slots=True)
class MetalSum:
    """An element that stays in the soil: so much in all and per area, and what the labels allow in a year.

    :ivar per_area: None where the block's area is not known
    :ivar limit: the strictest of the labels used, None where none sets one
    """

    of: str
    amount: Quantity
    per_area: Quantity | None
    limit: Quantity | None

    @property
    def share_of_limit(self) -> Decimal | None:
        """How much of what is allowed is used, 1 for all of it."""
        if self.per_area is None or self.limit is None:
            return None
        return EXACT.divide(self.per_area.in_base(), self.limit.in_base())


@dataclass(frozen=True, slots=True)
class Cost:
    """What the products on a block cost, in one currency."""

    currency: str
    amount: Decimal
    per_area: Decimal | None
    area_unit: str | None


@dataclass(frozen=True, slots=True)
class Costs:
    """What is known of the cost.

    :ivar without_price: numbers of lots with no price, and names of products that no lot is named for
    """

    items: tuple[Cost, ...]
    without_price: tuple[str, ...]


def metals(records: Iterable[ApplicationRecord], block: Block, *, units: str) -> list[MetalSum]:
    """Return the elements that the records of a block brought, per hectare or acre as the farm counts."""
    total: dict[str, Decimal] = {}
    limits: dict[str, list[Quantity]] = {}
    for record in records:
        for product in record.body["products"]:
            for of, grams in _brought(product).items():
                total[of] = EXACT.add(total.get(of, Decimal(0)), grams)
            for of, limit in _limits(product["label"]):
                limits.setdefault(of, []).append(limit)
    heavy, per = ("lb", "lb/acre") if units == "us" else ("kg", "kg/ha")
    return [
        MetalSum(
            of,
            Quantity(grams, "g").to(heavy),
            _per_area(grams, block, per),
            min(limits.get(of, []), key=lambda one: one.in_base(), default=None),
        )
        for of, grams in sorted(total.items())
    ]


def _brought(product: Mapping[str, Any]) -> Mapping[str, Decimal]:
    """Return the grams of each element in what went on, exactly; else as the check told them, to a tenth."""
    label = read_label(product["label"], TOP, Reader())
    exact = metal.brought(label, amounts.read(product["amount"])) if label is not None else {}
    told = {
        one["of"]: amounts.read(one["amount"]).in_base()
        for one in product.get("metal") or []
        if one["amount"] is not None
    }
    return {**told, **exact}


def _limits(label: Mapping[str, Any]) -> Iterable[tuple[str, Quantity]]:
    for use in label.get("uses") or []:
        for one in use.get("maximum_per_year") or []:
            yield one["of"], amounts.read(one["amount"])


def _per_area(grams: Decimal, block: Block, name: str) -> Quantity | None:
    if block.area is None:
        return None
    with localcontext(EXACT):
        return Quantity(grams / block.area.in_base() / Quantity(Decimal(1), name).in_base(), name)


def costs(records: Iterable[ApplicationRecord], block: Block, lots: Mapping[str, Lot]) -> Costs:
    """Return what the products of the records cost, by the price of the lots that they came from.

    :param lots: by public id
    """
    money: dict[str, Decimal] = {}
    missing: dict[str, None] = {}
    for record in records:
        for product in record.body["products"]:
            if not product.get("lots"):
                missing[product["name"]] = None
            for used in product.get("lots") or []:
                paid = _paid(lots.get(used["lot"]), amounts.read(used["amount"]))
                if paid is None:
                    missing[f"lot {used['number']}"] = None
                else:
                    currency, amount = paid
                    money[currency] = EXACT.add(money.get(currency, Decimal(0)), amount)
    return Costs(
        tuple(_cost(currency, sum_, block) for currency, sum_ in sorted(money.items())), tuple(missing)
    )


def _paid(lot: Lot | None, amount: Quantity) -> tuple[str, Decimal] | None:
    if lot is None or lot.price is None:
        return None
    per = amounts.read(lot.price["per"])
    on = lot.created_at.date()
    try:
        bought = stock_amounts.in_base(per, product=lot.product, on=on)
        used = stock_amounts.in_base(amount, product=lot.product, on=on)
    except QuantityError:
        return None
    with localcontext(EXACT):
        return lot.price["currency"], Decimal(lot.price["amount"]) * used / bought


def _cost(currency: str, amount: Decimal, block: Block) -> Cost:
    area = block.area
    per_area = None if area is None else EXACT.divide(amount, area.value)
    return Cost(
        currency,
        amount.quantize(CENT, rounding=ROUND_HALF_EVEN),
        None if per_area is None else per_area.quantize(CENT, rounding=ROUND_HALF_EVEN),
        None if area is None else area.unit,
    )
