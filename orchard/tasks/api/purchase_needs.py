"""The address of what is to be bought."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any

from django.db.models import QuerySet
from django.urls import path
from rest_framework import serializers

from orchard.api.fields import Flag, Id, ListQuery
from orchard.farms.resources import Collection
from orchard.inventory import queries as store
from orchard.inventory.amounts import in_stock_unit
from orchard.inventory.api.fields import EveryDigit
from orchard.inventory.models import Product
from orchard.tasks import need_queries
from orchard.tasks.need_queries import PurchaseNeed


class PurchaseNeedShown(serializers.Serializer):
    """One product, in its unit of stock."""

    product = Id()
    needed = EveryDigit(help_text="by open orders, draft to held, less what they have used")
    on_hand = EveryDigit(help_text="what may be used today and on the day it is needed, reserved or not")
    short = EveryDigit(help_text="what is to be bought")
    needed_by = serializers.DateField(help_text="the day on which the first of the orders starts")
    work_orders = serializers.ListField(child=serializers.UUIDField(), help_text="first to start first")
    not_counted = serializers.ListField(
        child=serializers.UUIDField(),
        help_text="those of the orders whose amount cannot be turned into the unit of stock, for want of a "
        "density on the label or of a size of the job: what they take comes on top",
    )


class PurchaseNeedQuery(ListQuery):
    all = Flag(required=False, help_text="true: what there is enough of as well")


class PurchaseNeeds(Collection):
    """What the plan will use, less what is there: one row for each product that runs short."""

    resource = "purchase_need"
    shown = PurchaseNeedShown
    query = PurchaseNeedQuery
    needs: Mapping[uuid.UUID, PurchaseNeed]

    def rows(self, *, all: bool | None = None, **filters: Any) -> QuerySet[Product]:
        self.needs = need_queries.purchase_needs(farm=self.farm, at=self.now)
        wanted = [key for key, need in self.needs.items() if all or need.short > 0 or need.not_counted]
        return store.products(farm=self.farm).filter(key__in=wanted, **filters)

    def listed(self, found: list[Any]) -> list[dict[str, Any]]:
        rows = [_row(self.needs[product.key]) for product in found]
        return [dict(one) for one in PurchaseNeedShown(rows, many=True, context=self.context()).data]


def _row(need: PurchaseNeed) -> dict[str, Any]:
    return {
        "product": need.product,
        "needed": in_stock_unit(need.needed, need.product),
        "on_hand": in_stock_unit(need.on_hand, need.product),
        "short": in_stock_unit(need.short, need.product),
        "needed_by": need.needed_by,
        "work_orders": need.work_orders,
        "not_counted": need.not_counted,
    }


urlpatterns = [path("farms/<uuid:farm>/purchase-needs", PurchaseNeeds.as_view())]
