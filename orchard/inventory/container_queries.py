"""Reading what became of containers, product by product."""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import dataclass

from django.db.models import F, QuerySet, Sum

from orchard.farms.models import Farm
from orchard.inventory.models import ContainerRecord, Product

AT_ONCE = dt.timedelta(hours=3)
"""Residue that dries "for even a few hours" is rinsed out badly: extension texts on triple rinsing say to do
it immediately. How long that may be: common practice, no source."""


@dataclass(frozen=True, slots=True)
class Tally:
    """The containers of one product.

    :ivar out: given out and neither brought back, rinsed nor gone as hazardous waste
    :ivar empty: rinsed and still on the farm
    """

    issued: int = 0
    brought_back: int = 0
    rinsed: int = 0
    disposed_rinsed: int = 0
    disposed_unrinsed: int = 0

    @property
    def out(self) -> int:
        """What is still in the field, full, in use, or emptied and not rinsed."""
        return self.issued - self.brought_back - self.rinsed - self.disposed_unrinsed

    @property
    def empty(self) -> int:
        """What is rinsed and waits to leave the farm."""
        return self.rinsed - self.disposed_rinsed


def records(*, farm: Farm) -> QuerySet[ContainerRecord]:
    """Return what was written down of containers."""
    return ContainerRecord.objects.for_farm(farm).select_related("farm", "product", "lot")


def tally(*, product: Product) -> Tally:
    """Return the containers of one product."""
    return tallies(farm=product.farm, product=product.id).get(product.key, Tally())


def tallies(*, farm: Farm, product: uuid.UUID | None = None) -> dict[uuid.UUID, Tally]:
    """Return the containers of each product that has any on record, by its key, in one query."""
    rows = ContainerRecord.objects.for_farm(farm)
    if product is not None:
        rows = rows.filter(product__id=product)
    counts: dict[uuid.UUID, dict[str, int]] = {}
    summed = rows.order_by().values_list("product", "kind", "disposal").annotate(sum=Sum("count"))
    for key, kind, disposal, total in summed:
        name = kind
        if kind == "disposed":
            name = "disposed_unrinsed" if disposal == "hazardous_waste" else "disposed_rinsed"
        found = counts.setdefault(key, {})
        found[name] = found.get(name, 0) + total
    return {key: Tally(**found) for key, found in counts.items()}


def is_late(record: ContainerRecord) -> bool:
    """Return whether a container was rinsed only when its rest had dried."""
    return record.emptied_at is not None and record.at - record.emptied_at > AT_ONCE


def last_issued(*, farm: Farm) -> dict[uuid.UUID, dt.datetime]:
    """Return when containers of each product were last given out, by its key."""
    rows = ContainerRecord.objects.for_farm(farm).filter(kind="issued").order_by("at", "id")
    return dict(rows.annotate(key_of=F("product")).values_list("key_of", "at"))
