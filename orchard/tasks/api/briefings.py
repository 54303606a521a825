"""The addresses of briefings, and of what the heat of an order's day asks of its crew."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.urls import path
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from orchard.api.fields import Id, Input, Listed, ListQuery, Moment, Reference, Shown, Text, Word
from orchard.crews import queries as crews
from orchard.farms.resources import Making, Single
from orchard.tasks import queries, safety_queries
from orchard.tasks.api.fields import Kept
from orchard.tasks.api.orders import ORDER, BelowOrder
from orchard.tasks.models import Briefing
from orchard.tasks.services import briefings, checking


class BriefingShown(Shown):
    work_order = Id(allow_null=True)
    held_at = Moment()
    language = serializers.ChoiceField(choices=["en", "es"])
    topics = serializers.ListField(child=serializers.CharField())
    present = serializers.ListField(child=serializers.UUIDField(), help_text="workers")
    acknowledged = serializers.ListField(
        child=serializers.UUIDField(), help_text="workers who said that they understood"
    )
    heat = Kept(
        allow_null=True,
        help_text="`{on, highest, people, hours, water, points: [{code, says, source}]}` as it stood then; "
        "null: no weather of that day was stored, so nothing is known",
    )
    note = serializers.CharField(allow_null=True)


class BriefingInput(Input):
    id = Id(made_here=True, required=False)
    work_order = Reference(queries.work_orders, required=False, allow_null=True)
    held_at = Moment(past=True, required=False, help_text="now where absent")
    language = Word(["en", "es"], required=False)
    topics = Listed(child=Text(max_length=300), min_length=1)
    present = Listed(child=Reference(crews.workers), min_length=1)
    acknowledged = Listed(child=Reference(crews.workers), required=False)
    note = Text(required=False, allow_null=True)


class BriefingQuery(ListQuery):
    work_order = Id(required=False, source="work_order__id")


class Briefings(Making):
    """What was talked through before the work, with whom; a hot day adds its own points: append-only."""

    resource = "briefing"
    shown = BriefingShown
    asked = BriefingInput
    query = BriefingQuery

    def rows(self, **filters: Any) -> QuerySet[Briefing]:
        return safety_queries.briefings(farm=self.farm, **filters)

    def create(self, **values: Any) -> Briefing:
        return briefings.add_briefing(farm=self.farm, by=self.by, now=self.now, **values)


class BriefingHere(Single):
    """One of them."""

    resource = "briefing"
    shown = BriefingShown

    def rows(self) -> QuerySet[Briefing]:
        return safety_queries.briefings(farm=self.farm)


class HeatShown(serializers.Serializer):
    heat = Kept(
        allow_null=True,
        help_text="`{on, highest, people, hours, water, points: [{code, says, source}]}`; null: no weather "
        "of that day is stored, so nothing is known",
    )


class Heat(BelowOrder):
    """What the heat of the order's day asks of its crew: water, shade, rest, each with its source."""

    shown = HeatShown

    def get(self, request: Request, **kwargs: Any) -> Response:
        """Read it."""
        self.filters()
        found = briefings.heat_of_order(order=self.order_row, language=checking.language())
        return Response(self.show({"heat": found}))


urlpatterns = [
    path("farms/<uuid:farm>/briefings", Briefings.as_view()),
    path("farms/<uuid:farm>/briefings/<uuid:id>", BriefingHere.as_view()),
    path(f"{ORDER}/<uuid:order>/heat", Heat.as_view()),
]
