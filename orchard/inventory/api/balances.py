"""The addresses of what lots held at any moment of the past, as JSON and as CSV."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponse
from django.utils.translation import gettext as _
from rest_framework import serializers
from rest_framework.request import Request

from orchard.api import spreadsheets
from orchard.api.fields import Id, ListQuery, Moment, Text
from orchard.farms.resources import Collection
from orchard.inventory import amounts, balance_queries
from orchard.inventory.api.fields import EveryDigit, InStore

COLUMNS = (
    "at",
    "product",
    "product_id",
    "lot",
    "lot_id",
    "location",
    "expires_on",
    "on_hand",
    "on_hand_unit",
    "base",
    "base_unit",
    "note",
)


class BalanceShown(serializers.Serializer):
    """What one lot held."""

    lot = Id()
    number = serializers.CharField()
    product = Id()
    product_name = serializers.CharField()
    location = serializers.CharField(allow_null=True, help_text="as it is today")
    expires_on = serializers.DateField(allow_null=True)
    at = Moment(help_text="the moment that this holds for")
    on_hand = EveryDigit(help_text="in the product's stock unit")
    base = EveryDigit(help_text="the same in g, mL or count, exact")
    note = serializers.CharField(
        allow_null=True, help_text="said where this is less than nothing: what day was told wrong; else null"
    )


class BalanceQuery(ListQuery):
    at = Moment(past=True, required=False, help_text="now where absent")
    known_at = Moment(
        past=True, required=False, help_text="leave out what was entered later: what the book said then"
    )
    product = Id(required=False, source="product__id")
    lot = Id(required=False, source="id")
    location = Text(required=False)


class Balances(InStore, Collection):
    """What lots held at a moment: what was told later of the time before it counts too, unless `known_at`."""

    resource = "stock_balance"
    shown = BalanceShown
    query = BalanceQuery
    at: dt.datetime

    def rows(self, *, at: dt.datetime | None = None, **filters: Any) -> QuerySet[Any]:
        self.at = at or self.now
        return balance_queries.balances(farm=self.farm, at=self.at, **filters)

    def listed(self, found: list[Any]) -> list[dict[str, Any]]:
        rows = [_row(lot, self.at) for lot in found]
        return [dict(one) for one in BalanceShown(rows, many=True, context=self.context()).data]


def _row(lot: Any, at: dt.datetime) -> dict[str, Any]:
    return {
        "lot": lot.id,
        "number": lot.number,
        "product": lot.product.id,
        "product_name": lot.product.name,
        "location": lot.location or None,
        "expires_on": lot.expires_on,
        "at": at,
        "on_hand": amounts.in_stock_unit(lot.balance, lot.product),
        "base": amounts.Quantity(lot.balance, lot.product.base_unit),
        "note": _below_nothing() if lot.balance < 0 else None,
    }


def _below_nothing() -> str:
    return _(
        "more was taken out than had come in by then: find the receipt with the wrong day, or the one that "
        "is missing"
    )


class BalancesCsv(Balances):
    """The same as CSV in UTF-8, every lot; numbers with a point and their unit in the column beside."""

    @property
    def responses(self) -> Any:
        return {(200, "text/csv"): str}

    def get(self, request: Request, **kwargs: Any) -> HttpResponse:
        """Read it."""
        asked = self.filters()
        for name in ("limit", "cursor", "created_since", "updated_since"):
            asked.pop(name, None)
        rows = list(self.rows(**asked).order_by("product__name", "number", "location", "id"))
        return spreadsheets.file("stock-balances", COLUMNS, map(_cells, self.listed(rows)))


def _cells(one: dict[str, Any]) -> dict[str, Any]:
    return {
        "product": one["product_name"],
        "lot": one["number"],
        "location": one["location"],
        "at": one["at"],
        "product_id": one["product"],
        "lot_id": one["lot"],
        "expires_on": one["expires_on"],
        "on_hand": one["on_hand"]["value"],
        "on_hand_unit": one["on_hand"]["unit"],
        "base": one["base"]["value"],
        "base_unit": one["base"]["unit"],
        "note": one["note"],
    }
