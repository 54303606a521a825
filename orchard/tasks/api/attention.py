"""The address of what is late or runs out."""

from __future__ import annotations

from typing import Any

from django.urls import path
from django.utils.translation import gettext_noop
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from orchard.api.fields import Query, WholeAsked
from orchard.farms.actors import Role
from orchard.farms.endpoint import Endpoint
from orchard.farms.models import Farm
from orchard.farms.rows import FarmRow
from orchard.tasks.attention import Attention, attention

DAYS = 14
REFERENCE = {
    "type": "object",
    "properties": {"kind": {"type": "string"}, "id": {"type": "string", "format": "uuid"}},
}


class AttentionShown(serializers.Serializer):
    code = serializers.ChoiceField(
        choices=[
            "line_missed",
            "line_open",
            "order_overdue",
            "record_due",
            "lot_expiring",
            "expiry_differs",
            "promise_broken",
            "product_short",
            "stock_low",
            "containers_out",
            "shortage_open",
            "book_below_nothing",
            "work_set_aside",
            "calibration_due",
            "recalibrate",
            "qualification_expiring",
        ]
    )
    says = serializers.CharField()
    due_on = serializers.DateField(allow_null=True, help_text="the day on which it is, or was, too late")
    refers_to = serializers.SerializerMethodField(help_text="what it is about")
    because_of = serializers.SerializerMethodField(
        help_text="what it rests on: the stage observation, the block, the worker; or null"
    )
    url = serializers.CharField(source="about.path")

    @extend_schema_field(REFERENCE)
    def get_refers_to(self, row: Attention) -> dict[str, str]:
        return _reference(row.about)

    @extend_schema_field({**REFERENCE, "nullable": True})
    def get_because_of(self, row: Attention) -> dict[str, str] | None:
        return None if row.also is None else _reference(row.also)


def _reference(row: FarmRow | Farm) -> dict[str, str]:
    return {"kind": row.resource, "id": str(row.id)}


class AttentionsShown(serializers.Serializer):
    items = AttentionShown(many=True)


class AttentionQuery(Query):
    days = WholeAsked(
        min_value=0,
        max_value=366,
        unit=gettext_noop("days"),
        required=False,
        help_text=f"days to look ahead, {DAYS} where absent",
    )


class Attentions(Endpoint):
    """What is late or runs out: plan lines, orders, records, lots, stock, calibrations, qualifications;
    and background work that failed too often and waits for somebody."""

    resource = "attention"
    shown = AttentionsShown
    query = AttentionQuery

    def get(self, request: Request, **kwargs: Any) -> Response:
        """Read it, what is due first first."""
        found = attention(
            farm=self.farm,
            days=self.filters().get("days", DAYS),
            with_people=self.by.role != Role.CREW_MEMBER,
            now=self.now,
        )
        return Response(self.show({"items": found}))


urlpatterns = [path("farms/<uuid:farm>/attention", Attentions.as_view())]
