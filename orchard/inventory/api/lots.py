"""The addresses of lots."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from orchard.api.fields import (
    QUANTITY_SCHEMA,
    ArchivedQuery,
    Day,
    Flag,
    Id,
    Input,
    Reference,
    Shown,
    Text,
    Word,
    YesNo,
)
from orchard.farms.resources import Changing, PutAway
from orchard.inventory import amounts, queries, services
from orchard.inventory.api.fields import InStore, PriceField, may_see_prices
from orchard.inventory.models import CONDITIONS, Lot


class LotShown(Shown):
    product = Id()
    number = serializers.CharField()
    expires_on = serializers.DateField(allow_null=True, help_text="may be used through the whole of this day")
    made_on = serializers.DateField(allow_null=True)
    location = serializers.SerializerMethodField()
    supplier = serializers.CharField(allow_null=True)
    quarantined = serializers.BooleanField()
    quarantine_reason = serializers.CharField(allow_null=True)
    gs1 = serializers.CharField(allow_null=True, help_text="what was scanned")
    opened_on = serializers.DateField(allow_null=True, help_text="the day its container was first opened")
    condition = serializers.ChoiceField(choices=CONDITIONS, help_text="anything but `good` sets it aside")
    price = serializers.SerializerMethodField(
        help_text="what was paid for an amount of it; null where unknown, and for a crew member"
    )
    usable = serializers.SerializerMethodField(
        help_text="not expired today, not quarantined, not put away: however much of it there is"
    )
    on_hand = serializers.SerializerMethodField()
    reserved = serializers.SerializerMethodField(help_text="promised to work orders")
    available = serializers.SerializerMethodField(help_text="on hand less reserved; none of an unusable lot")
    archived = serializers.BooleanField()

    @extend_schema_field(PriceField(allow_null=True))
    def get_price(self, row: Lot) -> dict[str, Any] | None:
        return row.price if may_see_prices(self.context["by"]) else None

    def get_location(self, row: Lot) -> str | None:
        return row.location or None

    def get_usable(self, row: Lot) -> bool:
        return queries.may_be_used(row, on=self.context["today"])

    @extend_schema_field(QUANTITY_SCHEMA)
    def get_on_hand(self, row: Lot) -> dict[str, str]:
        return amounts.shown_stock(row.on_hand_base, row.product)

    @extend_schema_field(QUANTITY_SCHEMA)
    def get_reserved(self, row: Lot) -> dict[str, str]:
        return amounts.shown_stock(row.reserved_base, row.product)

    @extend_schema_field(QUANTITY_SCHEMA)
    def get_available(self, row: Lot) -> dict[str, str]:
        return amounts.shown_stock(queries.available(row, on=self.context["today"]), row.product)


class LotInput(Input):
    id = Id(made_here=True, required=False)
    product = Reference(queries.products, required=False, allow_null=True)
    number = Text(max_length=20, required=False, allow_null=True)
    expires_on = Day(required=False, allow_null=True)
    made_on = Day(required=False, allow_null=True)
    location = Text(max_length=200, required=False, allow_null=True, allow_blank=True)
    supplier = Text(max_length=200, required=False, allow_null=True)
    quarantined = YesNo(required=False)
    quarantine_reason = Text(required=False, allow_null=True)
    gs1 = Text(
        max_length=200,
        required=False,
        allow_null=True,
        help_text="`(01)…(17)…(10)…` with brackets or FNC1, in place of product, number and expires_on",
    )

    opened_on = Day(required=False, allow_null=True, help_text="the day its container was first opened")
    condition = Word(CONDITIONS, required=False, help_text="anything but `good` sets it aside (quarantine)")
    price = PriceField(required=False, allow_null=True, help_text="what was paid for an amount of it")

    def validate_location(self, value: str | None) -> str:
        return value or ""


class LotChange(LotInput):
    id = None  # type: ignore[assignment]
    product = None  # type: ignore[assignment]
    gs1 = None  # type: ignore[assignment]
    number = Text(max_length=20, required=False)
    archived = YesNo(required=False)


class LotQuery(ArchivedQuery):
    product = Id(required=False, source="product__id")
    number = Text(required=False)
    location = Text(required=False)
    usable = Flag(required=False, help_text="true: those that may be used today")
    expires_before = Day(required=False, source="expires_on__lt")
    quarantined = Flag(required=False)


class Lots(InStore, PutAway):
    """Batches of products at their places."""

    resource = "lot"
    shown = LotShown
    asked = LotInput
    query = LotQuery

    def all_rows(self) -> QuerySet[Lot]:
        return queries.lots(farm=self.farm)

    def rows(self, *, usable: bool | None = None, **filters: Any) -> QuerySet[Lot]:
        rows = super().rows(**filters)
        if usable is None:
            return rows
        condition = queries.usable(on=self.today())
        return rows.filter(condition if usable else ~condition)

    def create(self, **values: Any) -> Lot:
        return services.add_lot(farm=self.farm, by=self.by, now=self.now, **values)


class LotHere(InStore, Changing):
    """One lot."""

    resource = "lot"
    shown = LotShown
    asked = LotChange

    def rows(self) -> QuerySet[Lot]:
        return queries.lots(farm=self.farm)

    def find(self, **kwargs: Any) -> None:
        if self.request.method == "PATCH" and (lot := self.rows().filter(id=kwargs["id"]).first()):
            services.hold_lots(lot.product)
        super().find(**kwargs)

    def change(self, row: Lot, **values: Any) -> Lot:
        return services.change_lot(lot=row, by=self.by, now=self.now, **values)
