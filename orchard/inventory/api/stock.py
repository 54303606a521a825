"""What is in store, product by product and lot by lot."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from functools import reduce
from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from mixing.quantities import EXACT
from orchard.api.fields import Flag, Id, ListQuery, Moment, Text
from orchard.farms.resources import Collection
from orchard.inventory import amounts, queries
from orchard.inventory.api.fields import EveryDigit, InStore
from orchard.inventory.models import Lot, Product


class BaseShown(serializers.Serializer):
    """The same in g, mL or count, exact."""

    on_hand = EveryDigit()
    reserved = EveryDigit()
    available = EveryDigit()


class LotInStock(serializers.Serializer):
    """One lot of it."""

    lot = Id()
    number = serializers.CharField()
    location = serializers.CharField(allow_null=True)
    expires_on = serializers.DateField(allow_null=True)
    usable = serializers.BooleanField()
    on_hand = EveryDigit()
    reserved = EveryDigit()
    available = EveryDigit()
    base = BaseShown()


class ProductInStock(serializers.Serializer):
    """One product with its lots; `available` is what its usable lots hold, less what is promised of them."""

    product = Id()
    product_name = serializers.CharField()
    on_hand = EveryDigit()
    reserved = EveryDigit()
    available = EveryDigit()
    base = BaseShown()
    signal_word = serializers.CharField(allow_null=True, help_text="of the label in force; null: not known")
    hazards = serializers.ListField(child=serializers.CharField(), help_text="of the label in force")
    lots = LotInStock(many=True)


class StockShown(serializers.Serializer):
    """What is in store at a moment."""

    as_of = Moment(help_text="the moment that this holds for")
    items = ProductInStock(many=True)
    next = serializers.CharField(allow_null=True, help_text="address of the next page, or null")


class StockQuery(ListQuery):
    product = Id(required=False)
    lot = Id(required=False)
    location = Text(required=False)
    usable = Flag(
        required=False, source="only_usable", help_text="true: counting only lots that may be used today"
    )


class Stock(InStore, Collection):
    """What is in store. A filter on lots leaves out the others from the sums as well."""

    resource = "stock"
    shown = ProductInStock
    query = StockQuery
    responses = {200: StockShown}

    def rows(self, **filters: Any) -> QuerySet[Product]:
        return queries.stock(farm=self.farm, on=self.today(), **filters)

    def listed(self, found: list[Any]) -> list[dict[str, Any]]:
        return [self._product(product) for product in found]

    def get(self, request: Request, **kwargs: Any) -> Response:
        """See what is in store."""
        answer = super().get(request, **kwargs)
        assert isinstance(answer, Response)
        as_of = self.now.astimezone(self.context()["zone"]).isoformat()
        answer.data = {"as_of": as_of, **answer.data}
        return answer

    def _product(self, product: Any) -> dict[str, Any]:
        lots = [self._sums(lot) for lot in product.counted]
        label = product.in_force[0].label if product.in_force else {}
        return {
            "product": str(product.id),
            "product_name": product.name,
            **_shown(product, [_total(column) for column in zip(*lots, strict=True)] or [amounts.ZERO] * 3),
            "signal_word": label.get("signal_word"),
            "hazards": label.get("hazards") or [],
            "lots": [self._lot(product, lot, sums) for lot, sums in zip(product.counted, lots, strict=True)],
        }

    def _sums(self, lot: Lot) -> tuple[Decimal, Decimal, Decimal]:
        return lot.on_hand_base, lot.reserved_base, queries.available(lot, on=self.today())

    def _lot(self, product: Product, lot: Lot, sums: Sequence[Decimal]) -> dict[str, Any]:
        return {
            "lot": str(lot.id),
            "number": lot.number,
            "location": lot.location or None,
            "expires_on": lot.expires_on,
            "usable": queries.may_be_used(lot, on=self.today()),
            **_shown(product, sums),
        }


def _total(column: Sequence[Decimal]) -> Decimal:
    return reduce(EXACT.add, column)


def _shown(product: Product, sums: Sequence[Decimal]) -> dict[str, Any]:
    names = ("on_hand", "reserved", "available")
    return {
        **{name: amounts.shown_stock(base, product) for name, base in zip(names, sums, strict=True)},
        "base": {name: amounts.shown_base(base, product) for name, base in zip(names, sums, strict=True)},
    }
