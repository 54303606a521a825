"""The labels of what an order takes: registration and ingredients to read out, and the kept papers."""

from __future__ import annotations

import zoneinfo
from collections import defaultdict
from typing import Any

from orchard.api.spoken import ingredient
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
