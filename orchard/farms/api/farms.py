"""The addresses of farms."""

from __future__ import annotations

import uuid
from typing import Any

from django.db.models import QuerySet
from django.urls import path
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from orchard.api.fields import (
    QUANTITY_SCHEMA,
    Id,
    Input,
    Listed,
    Shown,
    Text,
    Word,
    YesNo,
    wrong,
)
from orchard.api.refusals import Fault, Refusal, RoleNotAllowed
from orchard.farms import access, queries, services
from orchard.farms.actors import Actor, Role
from orchard.farms.models import Farm, Token
from orchard.farms.resources import Changing, Collection


@extend_schema_field({"type": "object", "additionalProperties": QUANTITY_SCHEMA})
class Limits(serializers.DictField):
    """Limits of the farm's own, by name."""

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        if not isinstance(data, dict):
            raise wrong(_("is an object of quantities by name"))
        return data


class FarmShown(Shown):
    name = serializers.CharField()
    zone = serializers.CharField(help_text="IANA name")
    units = serializers.ChoiceField(choices=["us", "metric"])
    region = serializers.CharField(help_text="ISO 3166-1 or 3166-2")
    measures = serializers.ListField(child=serializers.CharField(), help_text="units of the measuring set")
    limits = Limits(help_text="limits that are stricter than a label's")
    emergency = serializers.CharField(
        allow_null=True, help_text="whom to call and where; stands on papers and on the card"
    )
    gate_code = serializers.CharField(
        allow_null=True, help_text="for those who are signed in; on no paper or card"
    )
    labels_need_approval = serializers.BooleanField(
        help_text="true: a label that somebody else than a manager enters is only in force once approved"
    )
    archived = serializers.BooleanField()


class FarmInput(Input):
    id = Id(made_here=True, required=False, help_text="UUIDv7 that the client made")
    name = Text(max_length=200)
    zone = Text(max_length=64, help_text="IANA name, such as America/Los_Angeles")
    units = Word(["us", "metric"])
    region = Text(max_length=6, help_text="ISO 3166, such as US-CA")
    measures = Listed(child=Text(max_length=20), required=False)
    limits = Limits(required=False)
    emergency = Text(allow_null=True, allow_blank=True, required=False)
    gate_code = Text(max_length=100, allow_null=True, allow_blank=True, required=False)
    labels_need_approval = YesNo(required=False)

    def validate_region(self, value: str) -> str:
        country, dash, part = value.partition("-")
        if not (len(country) == 2 and country.isascii() and country.isalpha() and country.isupper()):
            raise wrong(_("is an ISO 3166 code, such as US-CA or ES"))
        if dash and not (part.isascii() and part.isalnum() and part.isupper() and len(part) <= 3):
            raise wrong(_("is an ISO 3166 code, such as US-CA or ES"))
        return value


class FarmChange(FarmInput):
    id = None  # type: ignore[assignment]
    archived = YesNo(required=False)


class Farms(Collection):
    """The farms that the sender belongs to."""

    resource = "farm"
    verbs = {}
    shown = FarmShown
    asked = FarmInput

    def enter(self, request: Request, **kwargs: Any) -> None:
        self.who = access.signed_in(request)
        self.farm = Farm(zone="UTC")

    def rows(self, **filters: Any) -> QuerySet[Farm]:
        if isinstance(self.who, Token):
            return Farm.objects.filter(id=self.who.farm.id, **filters)
        return queries.farms_of(self.who).filter(**filters)

    def cursors_of(self) -> uuid.UUID:
        return uuid.UUID(int=0)  # no one farm's

    def post(self, request: Request, **kwargs: Any) -> Response:
        """Make a farm; its maker becomes the owner."""
        if isinstance(self.who, Token):
            raise RoleNotAllowed(Fault("role_not_allowed", _("a farm is made by a person who has signed in")))
        self.by = Actor(kind="person", id=self.who.id, name=str(self.who), role=Role.OWNER)
        return self.once(self._post)

    def create(self, **values: Any) -> Farm:  # type: ignore[override]
        assert not isinstance(self.who, Token)
        return services.add_farm(by=self.by, now=self.now, owner=self.who, **values)

    def _audit_refusal(self, refusal: Refusal) -> None:
        """There is no farm yet to write it to."""


class FarmHere(Changing):
    """One farm."""

    resource = "farm"
    shown = FarmShown
    asked = FarmChange

    def find(self, **kwargs: Any) -> None:
        self.thing = self.farm
        if self.request.method == "PATCH":
            self.thing = Farm.objects.select_for_update(no_key=True).get(id=self.farm.id)

    def change(self, row: Farm, **values: Any) -> Farm:
        return services.change_farm(farm=row, by=self.by, now=self.now, **values)


urlpatterns = [
    path("farms", Farms.as_view()),
    path("farms/<uuid:farm>", FarmHere.as_view()),
]
