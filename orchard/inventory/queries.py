"""Reading the store: products and the labels in force, lots, the ledger, and what is promised."""

from __future__ import annotations

import datetime as dt
import uuid
import zoneinfo
from collections.abc import Sequence
from decimal import Decimal
from typing import NamedTuple

from django.db.models import OuterRef, Prefetch, Q, QuerySet, Subquery

from orchard.api import statements
from orchard.api.remembered import remembered
from orchard.farms.models import Farm
from orchard.inventory import allocation
from orchard.inventory.models import (
    LabelVersion,
    Lot,
    Movement,
    Product,
    ProductDocument,
    Reservation,
    Shortage,
)

NEWEST_FIRST = ("-effective_from", "-created_at", "-id")


def day_on_farm(*, farm: Farm, at: dt.datetime) -> dt.date:
    """Return the day that a moment falls on where the farm is."""
    return at.astimezone(zoneinfo.ZoneInfo(farm.zone)).date()


def products(*, farm: Farm) -> QuerySet[Product]:
    """Return the farm's products, put away or not."""
    return Product.objects.for_farm(farm).select_related("farm")


def with_label(rows: QuerySet[Product], *, on: dt.date) -> QuerySet[Product]:
    """Return the same products, each with `in_force`: the label in force on a day, at most one.

    Costs one more query, however many products there are.
    """
    newest = (
        LabelVersion.objects.filter(product=OuterRef("product"), effective_from__lte=on, status="approved")
        .order_by(*NEWEST_FIRST)
        .values("key")[:1]
    )
    in_force = LabelVersion.objects.filter(_has_not_ended(on), key=Subquery(newest))
    return rows.prefetch_related(Prefetch("labels", queryset=in_force, to_attr="in_force"))


def labels(*, product: Product) -> QuerySet[LabelVersion]:
    """Return the versions of a product's label."""
    rows = LabelVersion.objects.for_farm(product.farm).filter(product=product)
    return rows.select_related("farm", "product__farm").prefetch_related("documents")


@remembered
def label_in_force(*, product: Product, on: dt.date) -> LabelVersion | None:
    """Return the label that holds on a day; None where none has begun, or the newest has ended.

    Only approved ones hold, neither what is proposed nor what was withdrawn. An older label is never revived
    by the end of a newer one: what no longer holds was replaced.
    """
    approved = labels(product=product).filter(effective_from__lte=on, status="approved")
    newest = approved.prefetch_related(None).order_by(*NEWEST_FIRST).first()
    ended = newest is not None and newest.effective_until is not None and newest.effective_until < on
    return None if ended else newest


def awaits_approval(*, product: Product) -> bool:
    """Return whether a label of a product was entered and is not approved yet."""
    return labels(product=product).filter(status="proposed").exists()


def documents(*, product: Product) -> QuerySet[ProductDocument]:
    """Return the papers of a product, without their bytes."""
    rows = ProductDocument.objects.for_farm(product.farm).filter(product=product)
    return rows.select_related("farm", "product__farm", "label")


def label_papers(*, farm: Farm, products: Sequence[str]) -> QuerySet[ProductDocument]:
    """Return the label papers of some products, without their bytes, the newest first."""
    rows = ProductDocument.objects.for_farm(farm).filter(kind="label", product__id__in=products)
    return rows.select_related("farm", "product__farm").order_by("-created_at", "-id")


def _has_not_ended(on: dt.date) -> Q:
    return Q(effective_until=None) | Q(effective_until__gte=on)


def lots(*, farm: Farm) -> QuerySet[Lot]:
    """Return the farm's lots, put away or not, with their products."""
    return Lot.objects.for_farm(farm).select_related("farm", "product__farm")


def usable(*, on: dt.date) -> Q:
    """Return the condition of lots that may be used on a day: through the whole of `expires_on`."""
    not_expired = Q(expires_on=None) | Q(expires_on__gte=on)
    return not_expired & Q(quarantined=False, archived=False)


def places_of_lot(*, farm: Farm, lot: uuid.UUID) -> QuerySet[Lot]:
    """Return a lot with the rows of the same number at the other places it stands or stood."""
    same = Lot.objects.for_farm(farm).filter(id=lot)
    rows = Lot.objects.for_farm(farm)
    return rows.filter(product__in=same.values("product"), number__in=same.values("number"))


def with_two_last_days(*, farm: Farm) -> list[list[Lot]]:
    """Return the lots in stock of one product and number that have different last days, place by place."""
    rows = lots(farm=farm).filter(archived=False, on_hand_base__gt=0)
    groups: dict[tuple[uuid.UUID, str], list[Lot]] = {}
    for lot in rows.order_by("product__name", "number", "location", "id"):
        groups.setdefault((lot.product.key, lot.number), []).append(lot)
    return [same for same in groups.values() if len({lot.expires_on for lot in same}) > 1]


def may_be_used(lot: Lot, *, on: dt.date) -> bool:
    """Return whether one lot may be used on a day; the same rule as `usable`."""
    expired = lot.expires_on is not None and lot.expires_on < on
    return not (expired or lot.quarantined or lot.archived)


def usable_lots(*, product: Product, on: dt.date) -> QuerySet[Lot]:
    """Return the lots of a product that may be used on a day, first to expire first."""
    rows = lots(farm=product.farm).filter(usable(on=on), product=product)
    return rows.order_by(*FIRST_TO_EXPIRE)


FIRST_TO_EXPIRE = ("expires_on", "created_at", "id")
"""PostgreSQL puts NULL last when it sorts upwards: what never expires is taken last."""


def movements(*, farm: Farm) -> QuerySet[Movement]:
    """Return the farm's ledger with what reversed each line."""
    return Movement.objects.for_farm(farm).select_related(
        "farm", "lot__product", "other_lot", "reverses", "reversed_by"
    )


class Line(NamedTuple):
    """What a list shows of one line of the ledger; `quantity` reads `2.5 gal`, sums are in `base_unit`."""

    id: uuid.UUID
    created_at: dt.datetime
    updated_at: dt.datetime
    created_by_kind: str
    created_by_id: uuid.UUID | None
    created_by_name: str
    version: int
    kind: str
    lot: uuid.UUID
    location: str
    other_location: str | None
    quantity: str
    reason: str
    at: dt.datetime
    reverses: uuid.UUID | None
    reference: str | None
    change_base: Decimal
    balance_after_base: Decimal
    base_unit: str
    stock_unit: str
    work_order: uuid.UUID | None
    load: uuid.UUID | None
    reversed_by: uuid.UUID | None


OF_ANOTHER = {
    "lot": "lot__id",
    "location": "lot__location",
    "other_location": "other_lot__location",
    "reverses": "reverses__id",
    "base_unit": "lot__product__base_unit",
    "stock_unit": "lot__product__stock_unit",
    "reversed_by": "reversed_by__id",
}


def lines(movements: QuerySet[Movement]) -> list[Line]:
    """Return of each movement what a list shows."""
    columns = [OF_ANOTHER.get(name, name) for name in Line._fields]
    return [Line(*row) for row in statements.read_rows(movements.values_list(*columns))]


def reservations(*, farm: Farm) -> QuerySet[Reservation]:
    """Return what is, or was, promised to the farm's work orders."""
    return Reservation.objects.for_farm(farm).select_related("farm", "product", "lot")


def shortages(*, farm: Farm) -> QuerySet[Shortage]:
    """Return the storekeeper's questions: loads that used more than the book held."""
    return Shortage.objects.for_farm(farm).select_related("farm", "product", "lot")


def available(lot: Lot, *, on: dt.date) -> Decimal:
    """Return what of a lot may still be promised on a day [base unit]: nothing of an unusable one."""
    return allocation.free(lot) if may_be_used(lot, on=on) else Decimal(0)


def stock(
    *,
    farm: Farm,
    on: dt.date,
    product: uuid.UUID | None = None,
    lot: uuid.UUID | None = None,
    location: str | None = None,
    only_usable: bool | None = None,
) -> QuerySet[Product]:
    """Return the farm's products, each with the label `in_force` and its `counted` lots by date of expiry.

    What was put away and holds nothing is left out. Where lots are asked for, only products that have some.
    """
    counted = _counted(farm=farm, on=on, lot=lot, location=location, only_usable=only_usable)
    rows = with_label(products(farm=farm), on=on)
    if (lot, location, only_usable) != (None, None, None):
        rows = rows.filter(key__in=counted.values("product"))
    else:
        rows = rows.filter(Q(archived=False) | Q(key__in=counted.values("product")))
    if product is not None:
        rows = rows.filter(id=product)
    in_order = counted.order_by(*FIRST_TO_EXPIRE)
    return rows.prefetch_related(Prefetch("lots", queryset=in_order, to_attr="counted"))


def _counted(
    *, farm: Farm, on: dt.date, lot: uuid.UUID | None, location: str | None, only_usable: bool | None
) -> QuerySet[Lot]:
    wanted = Lot.objects.for_farm(farm).filter(Q(archived=False) | ~Q(on_hand_base=0) | ~Q(reserved_base=0))
    if lot is not None:
        wanted = wanted.filter(id=lot)
    if location is not None:
        wanted = wanted.filter(location=location)
    if only_usable is not None:
        wanted = wanted.filter(usable(on=on) if only_usable else ~usable(on=on))
    return wanted
