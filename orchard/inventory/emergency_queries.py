"""Reading what stands where, for those who come when something burns or leaks."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

from django.db.models import Prefetch

from mixing.quantities import Quantity
from orchard.farms.models import Farm
from orchard.inventory import amounts, queries
from orchard.inventory.models import Lot


@dataclass(frozen=True, slots=True)
class Danger:
    """One lot where it stands; what no label says is None or empty, which means unknown and not harmless."""

    lot: Lot
    place: str | None
    product: str
    registration: str | None
    ingredients: tuple[str, ...]
    signal_word: str | None
    hazards: tuple[str, ...]
    quantity: Quantity


def dangers(*, farm: Farm, on: dt.date) -> list[Danger]:
    """Return every lot that holds something, place by place; expired and quarantined ones too."""
    held = Lot.objects.for_farm(farm).filter(on_hand_base__gt=0).order_by("number", "id")
    products = queries.with_label(queries.products(farm=farm), on=on).filter(key__in=held.values("product"))
    rows: Any = products.prefetch_related(Prefetch("lots", queryset=held, to_attr="held"))
    found = [_danger(product, lot) for product in rows.order_by("name", "id") for lot in product.held]
    return sorted(found, key=lambda one: (one.place is None, one.place or "", one.product, one.lot.number))


def _danger(product: Any, lot: Lot) -> Danger:
    label = product.in_force[0].label if product.in_force else {}
    return Danger(
        lot=lot,
        place=lot.location or None,
        product=product.name,
        registration=label.get("registration"),
        ingredients=tuple(one["name"] for one in label.get("active_ingredients") or ()),
        signal_word=label.get("signal_word"),
        hazards=tuple(label.get("hazards") or ()),
        quantity=amounts.in_stock_unit(lot.on_hand_base, product),
    )
