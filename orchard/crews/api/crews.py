"""The addresses of crews."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.urls import path
from rest_framework import serializers

from orchard.api.fields import (
    Id,
    Input,
    Listed,
    Reference,
    Shown,
    Text,
    YesNo,
)
from orchard.crews import queries, services
from orchard.crews.models import Crew
from orchard.farms.resources import Changing, PutAway, Removing


class CrewShown(Shown):
    name = serializers.CharField()
    members = serializers.SerializerMethodField(help_text="worker ids")
    lead = Id(allow_null=True)
    archived = serializers.BooleanField()

    def get_members(self, row: Crew) -> list[str]:
        return sorted(str(worker.id) for worker in row.members.all())


class CrewInput(Input):
    id = Id(made_here=True, required=False)
    name = Text(max_length=200)
    members = Listed(child=Reference(queries.workers), min_length=1, help_text="worker ids, one at least")
    lead = Reference(queries.workers, required=False, allow_null=True)


class CrewChange(CrewInput):
    id = None  # type: ignore[assignment]
    archived = YesNo(required=False)


class Crews(PutAway):
    """People who go out together."""

    resource = "crew"
    shown = CrewShown
    asked = CrewInput

    def all_rows(self) -> QuerySet[Crew]:
        return queries.crews(farm=self.farm)

    def create(self, **values: Any) -> Crew:
        return services.add_crew(farm=self.farm, by=self.by, now=self.now, **values)


class CrewHere(Changing, Removing):
    """One crew."""

    resource = "crew"
    shown = CrewShown
    asked = CrewChange

    def rows(self) -> QuerySet[Crew]:
        return queries.crews(farm=self.farm)

    def change(self, row: Crew, **values: Any) -> Crew:
        changed = services.change_crew(crew=row, by=self.by, now=self.now, **values)
        return queries.crews(farm=self.farm).get(key=changed.key)


_AT = "farms/<uuid:farm>/"
urlpatterns = [
    path(f"{_AT}crews", Crews.as_view()),
    path(f"{_AT}crews/<uuid:id>", CrewHere.as_view()),
]
