"""The addresses of products and of the versions of their labels."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from orchard.api.fields import (
    Amount,
    ArchivedQuery,
    Day,
    Id,
    Input,
    Listed,
    Shown,
    Text,
    YesNo,
)
from orchard.api.refusals import Fault, NotThere
from orchard.farms.resources import Changing, Making, PutAway, Removing, Single
from orchard.inventory import queries, services
from orchard.inventory.api.fields import InStore, LabelField
from orchard.inventory.models import LabelVersion, Product


class ProductShown(Shown):
    name = serializers.CharField()
    stock_unit = serializers.CharField(help_text="what balances are shown in")
    gtins = serializers.ListField(child=serializers.CharField(), help_text="14 digits each: the packs of it")
    lead_time = Amount(allow_null=True, help_text="from order to delivery")
    label = serializers.SerializerMethodField(  # type: ignore[assignment]
        help_text="id of the label version that is in force today"
    )
    archived = serializers.BooleanField()

    def get_label(self, row: Product) -> str | None:
        in_force: list[LabelVersion] = row.in_force  # type: ignore[attr-defined]
        return str(in_force[0].id) if in_force else None


class ProductInput(Input):
    id = Id(made_here=True, required=False)
    name = Text(max_length=200)
    stock_unit = Text(max_length=20, help_text="`lb`, `g`, `gal`, `fl_oz`, `mL` …")
    gtins = Listed(child=Text(max_length=14), required=False)
    lead_time = Amount("time", sign="zero", required=False, allow_null=True)


class ProductChange(ProductInput):
    id = None  # type: ignore[assignment]
    archived = YesNo(required=False)


class ProductQuery(ArchivedQuery):
    name = Text(required=False)
    gtin = Text(required=False, source="gtins__contains", help_text="14 digits")

    def validate_gtin(self, value: str) -> list[str]:
        return [value]


class _Products(InStore):
    resource = "product"
    shown = ProductShown

    def with_label(self) -> QuerySet[Product]:
        return queries.with_label(queries.products(farm=self.farm), on=self.today())


class Products(_Products, PutAway):
    """What is bought and used."""

    asked = ProductInput
    query = ProductQuery

    def all_rows(self) -> QuerySet[Product]:
        return self.with_label()

    def create(self, **values: Any) -> Product:
        made = services.add_product(farm=self.farm, by=self.by, now=self.now, **values)
        return self.with_label().get(key=made.key)


class ProductHere(_Products, Changing, Removing):
    """One product."""

    asked = ProductChange

    def rows(self) -> QuerySet[Product]:
        return self.with_label()

    def change(self, row: Product, **values: Any) -> Product:
        return services.change_product(product=row, by=self.by, now=self.now, **values)


class LabelShown(Shown):
    product = Id()
    label = serializers.JSONField(help_text="the label as in the mix check")  # type: ignore[assignment]
    effective_from = serializers.DateField()
    effective_until = serializers.DateField(allow_null=True, help_text="in force through this day")


class LabelInput(Input):
    id = Id(made_here=True, required=False)
    label = LabelField()  # type: ignore[assignment]
    effective_from = Day()
    effective_until = Day(required=False, allow_null=True)


class _BelowProduct(InStore):
    resource = "label_version"
    shown = LabelShown

    def find(self, **kwargs: Any) -> None:
        found = queries.products(farm=self.farm).filter(id=kwargs["product"]).first()
        if found is None:
            raise NotThere(Fault("not_found", "there is no such product on this farm"))
        self.product = found
        super().find(**kwargs)

    def rows(self, **filters: Any) -> QuerySet[LabelVersion]:
        """Return the versions of the product's label."""
        return queries.labels(product=self.product).filter(**filters)


class Labels(_BelowProduct, Making):
    """The versions of a product's label; never changed, a newer one takes over."""

    asked = LabelInput

    def create(self, **values: Any) -> LabelVersion:
        return services.add_label(product=self.product, by=self.by, now=self.now, **values)


class LabelHere(_BelowProduct, Single):
    """One version of a label."""
