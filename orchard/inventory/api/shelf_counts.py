"""The addresses of counting at the shelf: the sheet of what is to be counted, and one count after another."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.utils.translation import gettext as _
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from orchard.api.fields import Amount, Id, Input, ListQuery, Moment, Reference, Shown, Text
from orchard.api.refusals import Fault, NotThere
from orchard.farms.endpoint import READS
from orchard.farms.resources import Making, Single
from orchard.inventory import amounts
from orchard.inventory import queries as store
from orchard.inventory import stocktake_queries as queries
from orchard.inventory.api.fields import EveryDigit, InStore
from orchard.inventory.models import ShelfCount, Stocktake
from orchard.inventory.services import stocktakes


class ShelfCountShown(Shown):
    stocktake = Id()
    lot = Id()
    counted = EveryDigit(help_text="as it was said")
    counted_at = Moment(help_text="the person's own time")
    note = serializers.CharField(allow_null=True)


class ShelfCountInput(Input):
    id = Id(made_here=True, required=False, help_text="UUIDv7 of the phone's: sent twice it counts once")
    lot = Reference(store.lots)
    counted = Amount(*amounts.DIMENSIONS, sign="zero", help_text="zero or more, in any unit that fits")
    counted_at = Moment(past=True, required=False, help_text="now where absent")
    note = Text(required=False, allow_null=True)


class ShelfCountQuery(ListQuery):
    lot = Id(required=False, source="lot__id")


class _BelowStocktake(InStore):
    resource = "shelf_count"
    shown = ShelfCountShown

    def find(self, **kwargs: Any) -> None:
        rows = Stocktake.objects.for_farm(self.farm).select_related("farm")
        if self.request.method not in READS:
            rows = rows.select_for_update(of=("self",), no_key=True)
        found = rows.filter(id=kwargs["stocktake"]).first()
        if found is None:
            raise NotThere(Fault("not_found", _("there is no such stocktake on this farm")))
        self.stocktake = found
        super().find(**kwargs)

    def rows(self, **filters: Any) -> QuerySet[ShelfCount]:
        """Return the counts of the stocktake."""
        return queries.shelf_counts(stocktake=self.stocktake).filter(**filters)


class ShelfCounts(_BelowStocktake, Making):
    """What people counted, one lot at a time; of several counts of a lot the last that was made holds."""

    asked = ShelfCountInput
    query = ShelfCountQuery

    def create(self, **values: Any) -> ShelfCount:
        return stocktakes.record_count(stocktake=self.stocktake, by=self.by, now=self.now, **values)


class ShelfCountHere(_BelowStocktake, Single):
    """One count as it was said."""


class SheetLine(serializers.Serializer):
    """One lot to be counted."""

    lot = Id()
    number = serializers.CharField()
    product = Id()
    product_name = serializers.CharField()
    location = serializers.CharField(allow_null=True)
    stock_unit = serializers.CharField(help_text="any other unit of the same kind will do")
    counted = EveryDigit(allow_null=True, help_text="null: not counted yet")
    counted_at = Moment(allow_null=True)


class SheetShown(serializers.Serializer):
    """What is to be counted, place by place. What the book says is not in it."""

    stocktake = Id()
    location = serializers.CharField(allow_null=True, help_text="null: the whole store")
    items = SheetLine(many=True)


class Sheet(InStore, Single):
    """The sheet to go through the store with."""

    resource = "stocktake"
    shown = SheetShown

    def rows(self) -> QuerySet[Stocktake]:
        return queries.stocktakes(farm=self.farm)

    def get(self, request: Request, **kwargs: Any) -> Response:
        """Read it."""
        self.filters()
        lines = [_line(lot, line, self.thing) for lot, line in queries.sheet(stocktake=self.thing)]
        sheet = {"stocktake": self.thing.id, "location": self.thing.location, "items": lines}
        return Response(SheetShown(sheet, context=self.context()).data)


def _line(lot: Any, line: Any, stocktake: Stocktake) -> dict[str, Any]:
    return {
        "lot": lot.id,
        "number": lot.number,
        "product": lot.product.id,
        "product_name": lot.product.name,
        "location": lot.location or None,
        "stock_unit": lot.product.stock_unit,
        "counted": None if line is None else line.counted,
        "counted_at": None if line is None else line.counted_at or stocktake.counted_at,
    }
