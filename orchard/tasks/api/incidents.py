"""The addresses of incidents: every role may tell, nobody may take back."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.urls import path
from rest_framework import serializers

from orchard.api.fields import Amount, Id, Input, ListQuery, Moment, Reference, Shown, Text, Word
from orchard.blocks import queries as blocks
from orchard.farms.resources import Making, Single
from orchard.inventory import queries as store
from orchard.tasks import queries
from orchard.tasks.models import Incident
from orchard.tasks.services import incidents

KINDS = ("spill", "exposure", "drift", "injury", "plant_damage", "equipment", "other")


class IncidentShown(Shown):
    kind = serializers.ChoiceField(choices=KINDS)
    place = serializers.CharField()
    at = Moment()
    block = Id(allow_null=True)
    work_order = Id(allow_null=True)
    product = Id(allow_null=True)
    amount = Amount(allow_null=True)
    what = serializers.CharField(allow_null=True)
    done_about_it = serializers.CharField(allow_null=True)


class IncidentInput(Input):
    """Only the kind and the place are needed: tell first, the rest can be told in another."""

    id = Id(made_here=True, required=False)
    kind = Word(KINDS)
    place = Text(max_length=300, help_text="in words")
    at = Moment(past=True, required=False, help_text="now where absent")
    block = Reference(blocks.blocks, required=False, allow_null=True)
    work_order = Reference(queries.work_orders, required=False, allow_null=True)
    product = Reference(store.products, required=False, allow_null=True)
    amount = Amount("mass", "volume", "count", required=False, allow_null=True)
    what = Text(required=False, allow_null=True)
    done_about_it = Text(required=False, allow_null=True)


class IncidentQuery(ListQuery):
    kind = Word(KINDS, required=False)
    block = Id(required=False, source="block__id")
    work_order = Id(required=False, source="work_order__id")


class Incidents(Making):
    """Spills, exposures, drift, injuries, damage: append-only."""

    resource = "incident"
    shown = IncidentShown
    asked = IncidentInput
    query = IncidentQuery

    def rows(self, **filters: Any) -> QuerySet[Incident]:
        return queries.incidents(farm=self.farm, **filters)

    def create(self, **values: Any) -> Incident:
        return incidents.add_incident(farm=self.farm, by=self.by, now=self.now, **values)


class IncidentHere(Single):
    """One of them."""

    resource = "incident"
    shown = IncidentShown

    def rows(self) -> QuerySet[Incident]:
        return queries.incidents(farm=self.farm)


urlpatterns = [
    path("farms/<uuid:farm>/incidents", Incidents.as_view()),
    path("farms/<uuid:farm>/incidents/<uuid:id>", IncidentHere.as_view()),
]
