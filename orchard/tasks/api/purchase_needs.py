"""The address of what is to be bought."""

from __future__ import annotations

import datetime as dt
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
    short = EveryDigit(help_text="what of it no lot can give that is still good on its day")
    planned = EveryDigit(
        help_text="by lines of active season plans that no order stands for yet, one pass of each"
    )
    safety_stock = EveryDigit(allow_null=True, help_text="what is to stay on the shelf whatever is planned")
    to_order = EveryDigit(
        help_text="what is to be bought for needed and planned, with the safety stock back on the shelf"
    )
    container = EveryDigit(allow_null=True, help_text="what one whole container holds")
    containers = serializers.IntegerField(
        allow_null=True, help_text="whole containers to buy; null where it is not known what one holds"
    )
    needed_by = serializers.DateField(help_text="the day on which the first of it is needed")
    order_by = serializers.DateField(
        allow_null=True, help_text="the last day to order on, by the lead time; null: nothing to order"
    )
    late = serializers.BooleanField(help_text="that day is over")
    work_orders = serializers.ListField(child=serializers.UUIDField(), help_text="first to start first")
    not_counted = serializers.ListField(
        child=serializers.UUIDField(),
        help_text="those of the orders whose amount cannot be turned into the unit of stock, for want of a "
        "density on the label or of a size of the job: what they take comes on top",
    )
    lines_not_counted = serializers.IntegerField(help_text="lines of plans on blocks, for the same reasons")


class PurchaseNeedQuery(ListQuery):
    all = Flag(required=False, help_text="true: what there is enough of as well")
    ahead = Flag(
        required=False,
        help_text="true: also what season plans will use up, and what is below its safety stock",
    )


class PurchaseNeeds(Collection):
    """What the plan will use, less what is there: one row for each product that runs short."""

    resource = "purchase_need"
    shown = PurchaseNeedShown
    query = PurchaseNeedQuery
    needs: Mapping[uuid.UUID, PurchaseNeed]

    def rows(
        self, *, all: bool | None = None, ahead: bool | None = None, **filters: Any
    ) -> QuerySet[Product]:
        self.needs = need_queries.purchase_needs(farm=self.farm, at=self.now)
        wanted = [
            key
            for key, need in self.needs.items()
            if all or need.short > 0 or need.not_counted or (ahead and need.to_order > 0)
        ]
        return store.products(farm=self.farm).filter(key__in=wanted, **filters)

    def listed(self, found: list[Any]) -> list[dict[str, Any]]:
        today = store.day_on_farm(farm=self.farm, at=self.now)
        rows = [_row(self.needs[product.key], today) for product in found]
        return [dict(one) for one in PurchaseNeedShown(rows, many=True, context=self.context()).data]


def _row(need: PurchaseNeed, today: dt.date) -> dict[str, Any]:
    sums = ("needed", "on_hand", "short", "planned", "to_order")
    return {
        "product": need.product,
        **{name: in_stock_unit(getattr(need, name), need.product) for name in sums},
        "safety_stock": need.product.safety_stock,
        "container": need.product.container,
        "containers": need.containers,
        "order_by": need.order_by,
        "late": need.order_by is not None and need.order_by < today,
        "lines_not_counted": need.lines_not_counted,
        "needed_by": need.needed_by,
        "work_orders": need.work_orders,
        "not_counted": need.not_counted,
    }


urlpatterns = [path("farms/<uuid:farm>/purchase-needs", PurchaseNeeds.as_view())]
