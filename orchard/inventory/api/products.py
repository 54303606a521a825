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
    Moment,
    Shown,
    Text,
    YesNo,
)
from orchard.farms.resources import Acting, Changing, Making, PutAway, Removing, Single
from orchard.inventory import amounts, queries, services
from orchard.inventory.api.fields import BelowProduct, InStore, LabelField
from orchard.inventory.models import LABEL_STATUSES, LabelVersion, Product
from orchard.inventory.shelf_models import DOCUMENTS


class ProductShown(Shown):
    name = serializers.CharField()
    stock_unit = serializers.CharField(help_text="what balances are shown in")
    gtins = serializers.ListField(child=serializers.CharField(), help_text="14 digits each: the packs of it")
    lead_time = Amount(allow_null=True, help_text="from order to delivery")
    container = Amount(allow_null=True, help_text="what one whole container of it holds")
    safety_stock = Amount(allow_null=True, help_text="what is to stay on the shelf whatever is planned")
    store_minimum = Amount(allow_null=True, help_text="coldest that its label lets it be kept at")
    store_maximum = Amount(allow_null=True, help_text="hottest that its label lets it be kept at")
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
    container = Amount(*amounts.DIMENSIONS, required=False, allow_null=True)
    safety_stock = Amount(*amounts.DIMENSIONS, sign="zero", required=False, allow_null=True)
    store_minimum = Amount("temperature", sign="any", required=False, allow_null=True)
    store_maximum = Amount("temperature", sign="any", required=False, allow_null=True)


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


class DocumentOfLabel(serializers.Serializer):
    """A paper that the label was copied from."""

    id = Id()
    kind = serializers.ChoiceField(choices=DOCUMENTS)
    sha256 = serializers.CharField(help_text="of its bytes")


class LabelShown(Shown):
    product = Id()
    label = serializers.JSONField(help_text="the label as in the mix check")  # type: ignore[assignment]
    effective_from = serializers.DateField()
    effective_until = serializers.DateField(allow_null=True, help_text="in force through this day")
    status = serializers.ChoiceField(
        choices=LABEL_STATUSES, help_text="only an approved one is ever in force"
    )
    decided_at = Moment(allow_null=True, help_text="when it was approved or withdrawn by hand")
    decided_by = serializers.CharField(allow_null=True)
    decision_reason = serializers.CharField(allow_null=True)
    documents = DocumentOfLabel(many=True, read_only=True)


class LabelInput(Input):
    id = Id(made_here=True, required=False)
    label = LabelField()  # type: ignore[assignment]
    effective_from = Day()
    effective_until = Day(required=False, allow_null=True)


class _Labels(BelowProduct):
    resource = "label_version"
    shown = LabelShown

    def rows(self, **filters: Any) -> QuerySet[LabelVersion]:
        """Return the versions of the product's label."""
        return queries.labels(product=self.product).filter(**filters)


class Labels(_Labels, Making):
    """The versions of a product's label; never changed, a newer one takes over."""

    asked = LabelInput

    def create(self, **values: Any) -> LabelVersion:
        return services.add_label(product=self.product, by=self.by, now=self.now, **values)


class LabelHere(_Labels, Single):
    """One version of a label."""


class DecisionInput(Input):
    reason = Text(required=False, allow_null=True)


class ApproveLabel(_Labels, Acting):
    """Let a proposed label come into force from its first day."""

    action = "approve"
    asked = DecisionInput

    def do(self, row: LabelVersion, **values: Any) -> LabelVersion:
        return services.approve_label(version=row, by=self.by, now=self.now, **values)


class WithdrawalInput(Input):
    reason = Text()


class WithdrawLabel(_Labels, Acting):
    """Take a mistaken label out of force, as if it had never held."""

    action = "withdraw"
    asked = WithdrawalInput

    def do(self, row: LabelVersion, **values: Any) -> LabelVersion:
        return services.withdraw_label(version=row, by=self.by, now=self.now, **values)
