"""Reading stocktakes: each count beside the book of its moment."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Any

from django.db.models import Count, IntegerField, OuterRef, Prefetch, Q, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce

from mixing.quantities import EXACT, Quantity
from orchard.farms.columns import BaseAmount
from orchard.farms.models import Farm
from orchard.inventory import amounts
from orchard.inventory.models import Lot, Movement, ShelfCount, Stocktake, StocktakeCount

STATUSES = ("open", "posted", "cancelled")
NO_DIFFERENCE = Decimal("0.0000005")
"""Less than this of the unit that was counted in is a matter of rounding: amounts are shown to 6 places."""
MOMENT = Coalesce("counted_at", "stocktake__counted_at")
"""When a lot was counted: as a phone told it, else the moment of the stocktake."""
BEFORE_ALL = dt.datetime(1, 1, 2, tzinfo=dt.UTC)


def stocktakes(*, farm: Farm) -> QuerySet[Stocktake]:
    """Return the farm's stocktakes with their `lines`."""
    rows = Stocktake.objects.for_farm(farm).select_related("farm")
    return rows.prefetch_related(Prefetch("lines", queryset=lines()))


def lines() -> QuerySet[Any]:
    """Return counts with their lots, each with its `book` [base unit] and `uses`.

    The book is that of the moment of the count: the sum of what moved up to it, whenever it was entered. So
    a load of the day before that a phone tells late explains a difference, and one of the day after makes
    none. Once a stocktake is closed they are what they were then. `uses` are those since the last posted
    count of the lot, without those that were reversed.
    """
    rows = StocktakeCount.objects.select_related("stocktake", "lot__product", "movement")
    rows = rows.annotate(moment=MOMENT).annotate(last_counted_at=Subquery(_last_count()))
    return rows.annotate(
        book=Coalesce("book_base", _moved(), amounts.ZERO, output_field=BaseAmount()),
        uses=Coalesce("uses_since_last_count", _used(), 0, output_field=IntegerField()),
    ).order_by("stocktake", "place")


def _last_count() -> QuerySet[Any, Any]:
    posted = StocktakeCount.objects.annotate(moment=MOMENT).filter(
        lot=OuterRef("lot"), stocktake__status="posted", moment__lte=OuterRef("moment")
    )
    return posted.exclude(id=OuterRef("id")).order_by("-moment").values("moment")[:1]


def _before_the_count() -> QuerySet[Any, Any]:
    rows = Movement.objects.filter(lot=OuterRef("lot"), at__lte=OuterRef("moment"))
    return rows.order_by().values("lot")


def _moved() -> Subquery:
    return Subquery(_before_the_count().annotate(sum=Sum("change_base")).values("sum"))


def _used() -> Subquery:
    uses = _before_the_count().filter(
        kind="use", reversed_by=None, at__gt=Coalesce(OuterRef("last_counted_at"), BEFORE_ALL)
    )
    return Subquery(uses.annotate(count=Count("key")).values("count"))


def counted_later(*, lots: Mapping[Lot, dt.datetime]) -> list[Any]:
    """Return counts of these lots that were made after the given moments and are posted already."""
    posted = StocktakeCount.objects.annotate(moment=MOMENT).filter(
        lot__in=list(lots), stocktake__status="posted"
    )
    rows = posted.select_related("stocktake", "lot").order_by("stocktake", "place")
    return [row for row in rows if row.moment > lots[row.lot]]


def open_elsewhere(*, lots: Iterable[Lot], but: uuid.UUID | None = None) -> QuerySet[StocktakeCount]:
    """Return where these lots are being counted just now, other than in one stocktake by its key."""
    rows = StocktakeCount.objects.filter(lot__in=list(lots), stocktake__status="open")
    return rows.exclude(stocktake=but).select_related("stocktake", "lot").order_by("stocktake", "place")


def shelf_counts(*, stocktake: Stocktake) -> QuerySet[ShelfCount]:
    """Return what people said at the shelf, each count as it was told."""
    rows = ShelfCount.objects.for_farm(stocktake.farm).filter(stocktake=stocktake)
    return rows.select_related("farm", "stocktake__farm", "lot__product")


def sheet(*, stocktake: Stocktake) -> list[tuple[Lot, StocktakeCount | None]]:
    """Return what is to be counted, place by place, with what was counted of it so far; never the book."""
    counted = {line.lot.key: line for line in stocktake.lines.all()}
    wanted = Q(key__in=list(counted)) | (Q(on_hand_base__gt=0) & _where(stocktake))
    rows = Lot.objects.for_farm(stocktake.farm).filter(wanted).select_related("product")
    return [(lot, counted.get(lot.key)) for lot in rows.order_by("location", "product__name", "number", "id")]


def _where(stocktake: Stocktake) -> Q:
    return Q() if stocktake.location is None else Q(location=stocktake.location)


def is_hidden(stocktake: Stocktake) -> bool:
    """Return whether the book may not be seen yet: those who count blind would be led by it."""
    return stocktake.blind and stocktake.status == "open" and stocktake.revealed_at is None


def difference(line: Any) -> Quantity:
    """Return what was counted less the book, in the counted unit; what is a matter of rounding is zero."""
    exact = Fraction(difference_base(line)) / Fraction(line.one_base)
    value = Decimal(0) if abs(exact) < NO_DIFFERENCE else amounts.shortest(exact)
    return Quantity(value, line.counted.unit)


def difference_base(line: Any) -> Decimal:
    """Return the same in g, mL or count, to the last digit."""
    return EXACT.subtract(line.counted_base, line.book)


def question(line: Any) -> str | None:
    """Return what a difference asks: below the book a spray may be missing, above it a record is wrong."""
    value = difference(line).value
    if value == 0:
        return None
    return "spray_missing" if value < 0 else "record_wrong"
