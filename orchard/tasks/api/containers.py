"""The addresses of containers: what became of each, and whether they add up."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django.db.models import QuerySet
from django.urls import path
from rest_framework import serializers

from orchard.api.fields import (
    Amount,
    Flag,
    Id,
    Input,
    ListQuery,
    Moment,
    Reference,
    Shown,
    Text,
    Whole,
    Word,
    between,
)
from orchard.farms.resources import Collection, Making, Single
from orchard.inventory import container_queries as queries
from orchard.inventory import queries as store
from orchard.inventory.models import ContainerRecord, Product
from orchard.inventory.shelf_models import CONTAINER_KINDS, DISPOSALS, RINSES
from orchard.tasks import queries as tasks
from orchard.tasks.services import containers


class ContainerRecordShown(Shown):
    kind = serializers.ChoiceField(choices=CONTAINER_KINDS)
    product = Id()
    lot = Id(allow_null=True)
    count = serializers.IntegerField()
    rinse = serializers.ChoiceField(choices=RINSES, allow_null=True)
    water = Amount(allow_null=True, help_text="rinse water; with a load it is part of that load's spray")
    disposal = serializers.ChoiceField(choices=DISPOSALS, allow_null=True)
    taken_by = serializers.CharField(allow_null=True)
    work_order = serializers.UUIDField(allow_null=True)
    load = serializers.UUIDField(allow_null=True, help_text="the load that the rinse water went into")
    emptied_at = Moment(allow_null=True)
    late = serializers.SerializerMethodField(help_text="rinsed more than 3 h after it was emptied")
    at = Moment()
    note = serializers.CharField(allow_null=True)

    def get_late(self, row: ContainerRecord) -> bool:
        return queries.is_late(row)


class ContainerRecordInput(Input):
    id = Id(made_here=True, required=False)
    kind = Word(
        CONTAINER_KINDS,
        help_text="`issued`: given out to a crew; `brought_back`: not emptied; `rinsed`: emptied and rinsed; "
        "`disposed`: left the farm",
    )
    product = Reference(store.products)
    lot = Reference(store.lots, required=False, allow_null=True)
    count = Whole(min_value=1, max_value=10_000)
    rinse = Word(RINSES, required=False, allow_null=True)
    water = Amount("volume", required=False, allow_null=True)
    disposal = Word(DISPOSALS, required=False, allow_null=True)
    taken_by = Text(max_length=200, required=False, allow_null=True)
    load = Reference(tasks.all_loads, required=False, allow_null=True, help_text="that got the rinse water")
    emptied_at = Moment(past=True, required=False, allow_null=True, help_text="the load's time if absent")
    at = Moment(past=True, required=False)
    note = Text(required=False, allow_null=True)


class ContainerRecordQuery(ListQuery):
    product = Id(required=False, source="product__id")
    lot = Id(required=False, source="lot__id")
    kind = Word(CONTAINER_KINDS, required=False)
    work_order = Id(required=False)
    load = Id(required=False)


between(ContainerRecordQuery, Moment, since="at__gte", until="at__lte")


class ContainerRecords(Making):
    """What became of containers: never changed."""

    resource = "container_record"
    shown = ContainerRecordShown
    asked = ContainerRecordInput
    query = ContainerRecordQuery

    def rows(self, **filters: Any) -> QuerySet[ContainerRecord]:
        return queries.records(farm=self.farm).filter(**filters)

    def create(self, **values: Any) -> ContainerRecord:
        return containers.record_containers(farm=self.farm, by=self.by, now=self.now, **values)


class ContainerRecordHere(Single):
    """One entry."""

    resource = "container_record"
    shown = ContainerRecordShown

    def rows(self) -> QuerySet[ContainerRecord]:
        return queries.records(farm=self.farm)


class ContainersShown(serializers.Serializer):
    """The containers of one product."""

    product = Id()
    product_name = serializers.CharField()
    issued = serializers.IntegerField(help_text="given out")
    brought_back = serializers.IntegerField(help_text="not emptied, back in the store")
    rinsed = serializers.IntegerField(help_text="emptied and rinsed")
    disposed = serializers.IntegerField(help_text="gone from the farm, rinsed")
    disposed_unrinsed = serializers.IntegerField(help_text="gone as hazardous waste")
    out = serializers.IntegerField(help_text="neither back nor rinsed nor gone: look for them")
    empty = serializers.IntegerField(help_text="rinsed and still here")
    agrees = serializers.BooleanField(help_text="none is out")
    last_issued_at = Moment(allow_null=True)


class ContainersQuery(ListQuery):
    product = Id(required=False, source="id")
    agrees = Flag(required=False)


class Containers(Collection):
    """Whether what was given out came back or was rinsed, product by product."""

    resource = "container"
    shown = ContainersShown
    query = ContainersQuery
    tallies: dict[uuid.UUID, queries.Tally]
    issued: dict[uuid.UUID, dt.datetime]

    def rows(self, *, agrees: bool | None = None, **filters: Any) -> QuerySet[Product]:
        self.tallies = queries.tallies(farm=self.farm)
        self.issued = queries.last_issued(farm=self.farm)
        wanted = [key for key, one in self.tallies.items() if agrees is None or (one.out == 0) == agrees]
        return store.products(farm=self.farm).filter(key__in=wanted, **filters)

    def listed(self, found: list[Any]) -> list[dict[str, Any]]:
        rows = [self._row(product, self.tallies[product.key]) for product in found]
        return [dict(one) for one in ContainersShown(rows, many=True, context=self.context()).data]

    def _row(self, product: Product, tally: queries.Tally) -> dict[str, Any]:
        names = ("issued", "brought_back", "rinsed", "disposed_unrinsed", "out", "empty")
        return {
            "product": product,
            "product_name": product.name,
            **{name: getattr(tally, name) for name in names},
            "disposed": tally.disposed_rinsed,
            "agrees": tally.out == 0,
            "last_issued_at": self.issued.get(product.key),
        }


_AT = "farms/<uuid:farm>/"
urlpatterns = [
    path(f"{_AT}container-records", ContainerRecords.as_view()),
    path(f"{_AT}container-records/<uuid:id>", ContainerRecordHere.as_view()),
    path(f"{_AT}containers", Containers.as_view()),
]
