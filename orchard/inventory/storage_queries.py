"""Reading where things stand: the farm's present stock by place, as the rules of storage judge it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from django.db.models import Prefetch, QuerySet

from mixing import chemistry
from mixing.faults import TOP
from mixing.label_reading import read_label
from mixing.labels import Label
from mixing.quantities import EXACT
from mixing.reading import Reader
from orchard.farms.models import Farm
from orchard.inventory import amounts, queries, storage
from orchard.inventory.models import LabelVersion, Lot, StorePlace

WEED_KILLER = "herbicide"
OXIDISING, FLAMMABLE = "GHS03", "GHS02"
BURNS = frozenset(("oil", "elemental sulfur"))
IN_SOLVENT = frozenset(("EC", "OD", "OL", "UL", "SO", "OF"))
"""Formulations carried by oil or solvent: they burn, whatever the label shows. Common practice, no source."""


def places(*, farm: Farm) -> QuerySet[StorePlace]:
    """Return the farm's places of the store, put away or not."""
    return StorePlace.objects.for_farm(farm).select_related("farm")


def findings(*, farm: Farm, on: dt.date) -> list[storage.Finding]:
    """Return what of the present stock is not kept as the rules say, in four queries."""
    described = [_place(row) for row in places(farm=farm).filter(archived=False).order_by("id")]
    return storage.findings(_kept(farm=farm, on=on), described)


def _place(row: StorePlace) -> storage.Place:
    return storage.Place(
        name=row.name,
        cabinet=row.cabinet,
        level=row.level,
        locked=row.locked,
        ventilated=row.ventilated,
        signed=row.signed,
        bund=row.bund,
        temperature_minimum=row.temperature_minimum,
        temperature_maximum=row.temperature_maximum,
        kept_beside=tuple(row.kept_beside),
    )


def _kept(*, farm: Farm, on: dt.date) -> Iterator[storage.Kept]:
    """Yield every lot that holds something, with what its label of the day says it is."""
    held = Lot.objects.for_farm(farm).filter(on_hand_base__gt=0).order_by("location", "id")
    products = queries.with_label(queries.products(farm=farm), on=on).filter(key__in=held.values("product"))
    rows: Any = products.prefetch_related(Prefetch("lots", queryset=held, to_attr="held")).order_by("id")
    for product in rows:
        version = product.in_force[0] if product.in_force else None
        label = None if version is None else read_label(version.label, TOP, Reader())
        traits = traits_of(label, base_unit=product.base_unit)
        for lot in product.held:
            volume = _volume(lot.on_hand_base, product.base_unit, version)
            yield storage.Kept(
                lot=str(lot.id),
                product=str(product.id),
                name=product.name,
                place=lot.location,
                traits=traits,
                known=_is_known(version),
                volume_ml=volume if "liquid" in traits else None,
                container_ml=_container(product.container, volume),
                store_minimum=product.store_minimum,
                store_maximum=product.store_maximum,
            )


def traits_of(label: Label | None, *, base_unit: str) -> frozenset[str]:
    """Return what of a product matters for where it stands; without a formulation its unit of stock tells."""
    dry = label.is_dry if label is not None else None
    found = {"dry" if (dry if dry is not None else base_unit != "mL") else "liquid"}
    groups = chemistry.groups(label) if label is not None else frozenset()
    hazards = label.hazards if label is not None else ()
    if OXIDISING in hazards or "oxidizer" in groups:
        found.add("oxidiser")
    if FLAMMABLE in hazards or groups & BURNS or (label is not None and label.formulation in IN_SOLVENT):
        found.add("burnable")
    kills_weeds = label is not None and (WEED_KILLER in groups or WEED_KILLER in label.function)
    found.add("weed_killer" if kills_weeds else "other")
    return frozenset(found)


def _is_known(version: LabelVersion | None) -> bool:
    return version is not None and bool(version.label.get("formulation")) and "hazards" in version.label


def _volume(base: Decimal, base_unit: str, version: LabelVersion | None) -> Decimal | None:
    if base_unit == "mL":
        return base
    grams_per_ml = None if version is None else amounts.density_by(version)
    return None if grams_per_ml is None or base_unit != "g" else EXACT.divide(base, grams_per_ml)


def _container(container: Any, volume: Decimal | None) -> Decimal | None:
    if container is None or container.dimension != "volume" or volume is None:
        return volume
    return min(container.in_base(), volume)
