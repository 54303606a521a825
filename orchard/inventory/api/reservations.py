"""What is promised to work orders, and what the book could not give."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from orchard.api.fields import QUANTITY_SCHEMA, Flag, Id, Input, ListQuery, Moment, Shown, Text, Word
from orchard.farms.resources import Acting, Collection, Single
from orchard.inventory import amounts, queries
from orchard.inventory.api.fields import EveryDigit
from orchard.inventory.models import Reservation, Shortage
from orchard.inventory.services import shortages

STATUSES = ("open", "used", "released")


class ReservationShown(Shown):
    work_order = serializers.UUIDField()
    product = Id()
    lot = Id()
    quantity = serializers.SerializerMethodField(
        help_text="while open what is still promised, then what was promised; in the product's stock unit"
    )
    status = serializers.ChoiceField(choices=STATUSES)

    @extend_schema_field(QUANTITY_SCHEMA)
    def get_quantity(self, row: Reservation) -> dict[str, str]:
        base = row.open_base if row.status == "open" else row.quantity_base
        return amounts.shown_stock(base, row.product)


class ReservationQuery(ListQuery):
    product = Id(required=False, source="product__id")
    lot = Id(required=False, source="lot__id")
    work_order = Id(required=False)
    status = Word(STATUSES, required=False)


class Reservations(Collection):
    """What is, or was, promised to work orders."""

    resource = "reservation"
    shown = ReservationShown
    query = ReservationQuery

    def rows(self, **filters: Any) -> QuerySet[Reservation]:
        return queries.reservations(farm=self.farm).filter(**filters)


class ReservationHere(Single):
    """One promise."""

    resource = "reservation"
    shown = ReservationShown

    def rows(self) -> QuerySet[Reservation]:
        return queries.reservations(farm=self.farm)


class ShortageShown(Shown):
    product = Id()
    lot = Id(allow_null=True)
    work_order = serializers.UUIDField()
    load = serializers.UUIDField(
        help_text="id of the load; of the application record where a record, or its correction, took it"
    )
    missing = EveryDigit(help_text="in the product's stock unit")
    answered_at = Moment(allow_null=True)
    answer = serializers.CharField(allow_null=True)


class ShortageQuery(ListQuery):
    product = Id(required=False, source="product__id")
    work_order = Id(required=False)
    answered = Flag(required=False)


class Shortages(Collection):
    """Questions for the storekeeper: loads and records that used more than the book held."""

    resource = "shortage"
    shown = ShortageShown
    query = ShortageQuery

    def rows(self, *, answered: bool | None = None, **filters: Any) -> QuerySet[Shortage]:
        rows = queries.shortages(farm=self.farm).filter(**filters)
        return rows if answered is None else rows.filter(answered_at__isnull=not answered)


class ShortageHere(Single):
    """One question."""

    resource = "shortage"
    shown = ShortageShown

    def rows(self) -> QuerySet[Shortage]:
        return queries.shortages(farm=self.farm)


class AnswerInput(Input):
    answer = Text(help_text="what was found out")


class AnswerShortage(Acting):
    """Answer a question: what was found out; movements or a stocktake mend the ledger."""

    action = "answer"
    resource = "shortage"
    shown = ShortageShown
    asked = AnswerInput
    happened = True  # it was found out, and a question has one answer whatever else changed

    def rows(self) -> QuerySet[Shortage]:
        return queries.shortages(farm=self.farm)

    def do(self, row: Shortage, **values: Any) -> Shortage:
        return shortages.answer_shortage(shortage=row, by=self.by, now=self.now, **values)
