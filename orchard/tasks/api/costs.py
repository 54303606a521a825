"""The address of what the product on each block cost."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Any

from django.urls import path
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from mixing.quantities import Quantity
from orchard.api.fields import Amount, DecimalText, Id, Moment, Query, between
from orchard.farms.endpoint import Endpoint
from orchard.inventory import queries as store
from orchard.inventory.amounts import in_stock_unit
from orchard.inventory.api.fields import EveryDigit
from orchard.tasks import cost_queries
from orchard.tasks.cost_queries import BlockCost, LotCost, money


class MoneyShown(serializers.Serializer):
    """An amount of money, rounded to the cent once."""

    currency = serializers.CharField(help_text="ISO 4217")
    amount = DecimalText()
    per_hectare = DecimalText(allow_null=True, help_text="null: the block's area is not known")
    per_acre = DecimalText(allow_null=True)


class LotCostShown(serializers.Serializer):
    """What one lot gave and cost."""

    product = Id()
    product_name = serializers.CharField()
    lot = Id(allow_null=True, help_text="null: the record names no lot")
    number = serializers.CharField(allow_null=True)
    amount = EveryDigit(allow_null=True, help_text="in the product's stock unit")
    currency = serializers.CharField(allow_null=True)
    cost = DecimalText(allow_null=True, help_text="null: the lot has no price")


class BlockCostShown(serializers.Serializer):
    """One block."""

    block = Id()
    block_name = serializers.CharField()
    area = Amount(allow_null=True)
    costs = MoneyShown(many=True, help_text="one for each currency")
    complete = serializers.BooleanField(help_text="false: some of it has no price and is not in the sums")
    lots = LotCostShown(many=True)


class ProductCostsShown(serializers.Serializer):
    """What was put on blocks and what it cost, by the records that stand."""

    items = BlockCostShown(many=True)


class CostQuery(Query):
    block = Id(required=False)
    product = Id(required=False)
    lot = Id(required=False)


between(CostQuery, Moment, since="since", until="until")


class Costs(Endpoint):
    """Cost of product by block and per area: each amount at the price of the lot that it came from."""

    resource = "cost"
    shown = ProductCostsShown
    query = CostQuery

    def get(self, request: Request, **kwargs: Any) -> Response:
        """Read it."""
        today = store.day_on_farm(farm=self.farm, at=self.now)
        found = cost_queries.costs(farm=self.farm, today=today, **self.filters())
        shown = {"items": [_block(one) for one in found]}
        return Response(ProductCostsShown(shown, context=self.context()).data)


def _block(cost: BlockCost) -> Mapping[str, Any]:
    return {
        "block": cost.block,
        "block_name": cost.block.name,
        "area": cost.block.area,
        "costs": [_money(cost, currency, total) for currency, total in sorted(cost.totals().items())],
        "complete": all(one.cost is not None for one in cost.lots),
        "lots": [_lot(one) for one in cost.lots],
    }


ACRE = Fraction(Quantity(Decimal(1), "acre").in_base()) / cost_queries.HECTARE


def _money(cost: BlockCost, currency: str, total: Fraction) -> Mapping[str, Any]:
    per_hectare = cost.per_hectare(total)
    return {
        "currency": currency,
        "amount": money(total),
        "per_hectare": None if per_hectare is None else money(per_hectare),
        "per_acre": None if per_hectare is None else money(per_hectare * ACRE),
    }


def _lot(one: LotCost) -> Mapping[str, Any]:
    return {
        "product": one.product,
        "product_name": one.product.name,
        "lot": one.lot,
        "number": one.lot.number if one.lot else None,
        "amount": None if one.base is None else in_stock_unit(one.base, one.product),
        "currency": one.currency,
        "cost": None if one.cost is None else money(one.cost),
    }


urlpatterns = [path("farms/<uuid:farm>/costs", Costs.as_view())]
