"""What season plans will use that no order stands for yet: one pass of each line on each block."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import mixing
from mixing import MixRequestError, doses, spraying
from mixing.quantities import Quantity, QuantityError
from orchard.blocks.models import Block
from orchard.farms.models import Farm
from orchard.inventory import amounts as stock_amounts
from orchard.inventory.models import LabelVersion, Product
from orchard.tasks.models import Programme, WorkOrder
from orchard.tasks.resolving import spray_json


@dataclass(frozen=True, slots=True)
class Planned:
    """What one line will use of a product on one block; None where that cannot be told.

    :ivar on: the first day on which it may be needed: the plan's first day, or today
    """

    programme: uuid.UUID
    line: str
    block: uuid.UUID
    product: Product
    on: dt.date
    base: Decimal | None


def planned(*, farm: Farm, today: dt.date, products: Mapping[str, Product]) -> Iterator[Planned]:
    """Yield what lines of active plans will use, without the line and block that an order stands for.

    How often a line is repeated depends on the season: one pass is counted. Three queries.

    :param products: by public id, each with the label `in_force`
    """
    rows = Programme.objects.for_farm(farm).filter(status="active", ends_on__gte=today).order_by("id")
    plans = list(rows)
    ground = list(Block.objects.for_farm(farm).filter(archived=False).order_by("id")) if plans else []
    ordered = _ordered(farm=farm, plans=plans)
    for plan in plans:
        for line in plan.lines:
            for block in _blocks_of(line, ground):
                if (str(line["id"]), block.key) not in ordered:
                    yield from _of_line(plan, line, block, products, on=max(today, plan.starts_on))


def _ordered(*, farm: Farm, plans: list[Programme]) -> set[tuple[str, uuid.UUID]]:
    rows = WorkOrder.objects.for_farm(farm).filter(
        programme__in=plans, line__isnull=False, block__isnull=False
    )
    return {
        (str(line), block)
        for line, block in rows.exclude(status="cancelled").values_list("line", "block__key")
    }


def _blocks_of(line: Mapping[str, Any], ground: list[Block]) -> list[Block]:
    named, crops = line.get("blocks") or [], line.get("crops") or []
    return [block for block in ground if str(block.id) in named or block.crop in crops]


def _of_line(
    plan: Programme, line: Mapping[str, Any], block: Block, products: Mapping[str, Product], *, on: dt.date
) -> Iterator[Planned]:
    if line["kind"] != "spray":
        return
    for one in line.get("products") or []:
        product = products.get(str(one["product"]))
        if product is not None:
            base = _amount(line, block, product, one["rate"])
            yield Planned(plan.id, line["title"], block.id, product, on, base)


def _amount(
    line: Mapping[str, Any], block: Block, product: Product, rate: Mapping[str, str]
) -> Decimal | None:
    in_force: list[LabelVersion] = product.in_force  # type: ignore[attr-defined]
    label = in_force[0].label if in_force else {"name": product.name}
    volumes = ("volume_per_tree", "volume_per_area")
    spray = {name: line[name] for name in volumes if line.get(name)}
    asked = {
        "crop": block.crop,
        "sprayer": {"kind": "handgun"},  # a request names one; how much a job takes does not hang on it
        "spray": spray_json(spray, block=block),
        "products": [{"id": str(product.id), "rate": rate, "label": label}],
    }
    try:
        [dose] = doses.doses(mixing.read_request(asked))
        if dose.job is None:
            return None
        amount = Quantity(spraying.rounded(dose.job), dose.unit)
        density = stock_amounts.density_by(in_force[0]) if in_force else None
        return stock_amounts.in_base_by(amount, product=product, density=lambda: density)
    except (MixRequestError, QuantityError):
        return None
