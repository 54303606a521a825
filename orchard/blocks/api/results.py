"""The address of what a treatment did in a block, by what was counted."""

from __future__ import annotations

from typing import Any

from django.urls import path
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from mixing.quantities import plain
from orchard.api.fields import DecimalText, Moment, Query, Text
from orchard.blocks import queries
from orchard.blocks.api.seen import BelowBlock
from orchard.blocks.results import Result, results


class PoolShown(serializers.Serializer):
    count = serializers.IntegerField(help_text="diseased units, or animals")
    size = serializers.IntegerField(help_text="units, traps or trays looked at")


class ResultShown(serializers.Serializer):
    """What came of a treatment on one target."""

    target = serializers.CharField()
    method = serializers.CharField(help_text="of counting")
    looked_on = serializers.DateField(
        allow_null=True, help_text="the last day after it on which they were counted"
    )
    before = PoolShown(allow_null=True)
    after = PoolShown(allow_null=True)
    check_before = PoolShown(allow_null=True, help_text="untreated trees")
    check_after = PoolShown(allow_null=True, help_text="untreated trees")
    efficacy_percent = DecimalText(allow_null=True, source="found.percent", default=None)
    efficacy_low = DecimalText(
        allow_null=True, source="found.low", default=None, help_text="lower end of the 95 % interval"
    )
    efficacy_high = DecimalText(
        allow_null=True, source="found.high", default=None, help_text="upper end of the 95 % interval"
    )
    efficacy_method = serializers.CharField(
        allow_null=True, source="found.method", default=None, help_text="`abbott` or `henderson_tilton`"
    )
    severity = serializers.SerializerMethodField(
        help_text="severity index afterwards [percent], `{treated, untreated}`; null where not rated"
    )
    says = serializers.CharField()

    @extend_schema_field({"type": "object", "nullable": True})
    def get_severity(self, row: Result) -> dict[str, str] | None:
        if row.found is None or row.found.severity is None:
            return None
        treated, untreated = row.found.severity
        return {"treated": plain(treated), "untreated": plain(untreated)}


class ResultsShown(serializers.Serializer):
    items = ResultShown(many=True)


class ResultsQuery(Query):
    treated_at = Moment(help_text="when the treatment ended")
    until = Moment(required=False, help_text="counts after this are left out: when the next treatment began")
    target = Text(required=False)


class Results(BelowBlock):
    """What a treatment did, by counts before and after it, with untreated trees beside.

    Henderson-Tilton where treated and untreated trees were counted before, else Abbott; the 95 % interval by
    the logarithm of the ratio (Katz and others, Biometrics 34, 1978).
    """

    resource = "scouting_count"
    shown = ResultsShown
    query = ResultsQuery

    def get(self, request: Request, **kwargs: Any) -> Response:
        """Work it out."""
        asked = self.filters()
        rows = queries.scouting(block=self.block).order_by("observed_at", "id")
        if "target" in asked:
            rows = rows.filter(target=asked["target"])
        found = results(
            rows, treated_at=asked["treated_at"], until=asked.get("until"), zone=self.context()["zone"]
        )
        return Response(self.show({"items": found}))


urlpatterns = [path("farms/<uuid:farm>/blocks/<uuid:block>/efficacy", Results.as_view())]
