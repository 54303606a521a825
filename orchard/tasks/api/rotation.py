"""The address of the rotation: how often each mode of action was used on each block."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.urls import path
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from orchard.api.fields import Day, Id, Query, Reference, between
from orchard.api.refusals import Fault, Unprocessable
from orchard.blocks import queries as ground
from orchard.farms.endpoint import Endpoint
from orchard.tasks import rotation

A_YEAR = dt.timedelta(days=364)


class CeilingShown(serializers.Serializer):
    """What a label or published advice allows of it, and how much of that is used up."""

    basis = serializers.ChoiceField(choices=["label", "regulation", "published", "practice", "farm"])
    whose = serializers.CharField(help_text="name of the product, else id of the rule")
    counts = serializers.ChoiceField(
        choices=["season", "in_a_row"],
        help_text="`season`: days of spraying; `in_a_row`: the latest, with no other group between",
    )
    used = serializers.IntegerField(help_text="applications")
    most = serializers.IntegerField(help_text="applications")
    state = serializers.ChoiceField(
        choices=["open", "reached", "passed"], help_text="`reached`: the next would be one too many"
    )


class ProductInGroup(serializers.Serializer):
    """One product of the group."""

    name = serializers.CharField()
    applications = serializers.IntegerField(source="used", help_text="days on which it was used")


class GroupShown(serializers.Serializer):
    """One mode of action."""

    scheme = serializers.CharField(help_text="`FRAC`, `IRAC`, `HRAC`")
    code = serializers.CharField()
    applications = serializers.IntegerField(
        source="used", help_text="days of spraying; the tanks of one day are one"
    )
    in_a_row = serializers.IntegerField(help_text="the latest of them, with no other group between")
    last_on = serializers.DateField()
    products = ProductInGroup(many=True)
    limits = CeilingShown(many=True, source="ceilings")
    says = serializers.SerializerMethodField(help_text="what is used up or passed, in sentences")

    @extend_schema_field({"type": "array", "items": {"type": "string"}})
    def get_says(self, group: rotation.Group) -> list[str]:
        return group.says()


class BlockRotationShown(serializers.Serializer):
    """One block."""

    block = Id()
    block_name = serializers.CharField(source="block.name")
    groups = GroupShown(many=True)
    unknown = serializers.ListField(
        child=serializers.CharField(),
        help_text="products whose mode of action neither label nor table tells: they are counted nowhere",
    )


class RotationShown(serializers.Serializer):
    """A season's modes of action, block by block."""

    items = BlockRotationShown(many=True)


class RotationQuery(Query):
    block = Reference(ground.blocks, required=False)


between(RotationQuery, Day, since="since", until="until")


class Rotation(Endpoint):
    """Applications by mode of action and block, by the records that stand, with what labels allow.

    Without days: the year up to today. What a mix check would say of the next spray stands in the mix check.
    """

    resource = "rotation"
    shown = RotationShown
    query = RotationQuery
    unprocessable = True

    def get(self, request: Request, **kwargs: Any) -> Response:
        """Read it."""
        asked = self.filters()
        until = asked.get("until") or self.now.astimezone(self.context()["zone"]).date()
        since = asked.get("since") or until - A_YEAR
        if until < since:
            raise Unprocessable(Fault("out_of_range", _("it ends before it begins"), "/to"))
        found = rotation.rotations(farm=self.farm, since=since, until=until, block=asked.get("block"))
        return Response(self.show({"items": found}))


urlpatterns = [path("farms/<uuid:farm>/rotation", Rotation.as_view())]
