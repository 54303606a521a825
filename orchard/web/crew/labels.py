"""The labels of what an order takes: registration and ingredients to read out, and the kept papers."""

from __future__ import annotations

import zoneinfo
from collections import defaultdict
from collections.abc import Iterable
from typing import Any

from orchard.api.spoken import ingredient
from orchard.farms.models import Farm
from orchard.inventory import queries as store
from orchard.tasks.models import WorkOrder


def of_order(order: WorkOrder) -> list[dict[str, Any]]:
    """Return each product with its label in force on the day of the order, and where its papers are."""
    wanted = [one["product"] for one in order.products]
    on = order.starts_at.astimezone(zoneinfo.ZoneInfo(order.farm.zone)).date()
    rows: Any = store.with_label(store.products(farm=order.farm), on=on).filter(id__in=wanted)
    papers = defaultdict(list)
    for one in store.label_papers(farm=order.farm, products=wanted):
        href = f"{one.path}/content" if one.size is not None else one.address
        if href and href.startswith(("/", "https://", "http://")):
            papers[one.product.pk].append({"name": one.name, "href": href})
    return [
        {
            "name": row.name,
            "registration": label.get("registration"),
            "ingredients": [ingredient(one["name"]) for one in label.get("active_ingredients") or ()],
            "papers": papers[row.pk],
        }
        for row, label in (
            (row, row.in_force[0].label if row.in_force else {}) for row in rows.order_by("name", "id")
        )
    ]


def to_keep(orders: Iterable[WorkOrder], *, farm: Farm) -> list[str]:
    """Return where the label files lie that a phone keeps: of each product the newest in each language."""
    wanted = sorted({one["product"] for order in orders for one in order.products})
    kept: dict[tuple[object, str | None], str] = {}
    for one in store.label_papers(farm=farm, products=wanted).filter(size__isnull=False):
        kept.setdefault((one.product.pk, one.language), f"{one.path}/content")
    return sorted(kept.values())
