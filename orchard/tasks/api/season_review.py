"""The address of the season review, as JSON and as CSV."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from django.urls import path
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from mixing.quantities import Quantity, plain
from orchard.api import spreadsheets
from orchard.api.fields import (
    QUANTITY_SCHEMA,
    Amount,
    Day,
    DecimalText,
    Id,
    Moment,
    Query,
    Reference,
    between,
)
from orchard.api.refusals import Fault, Unprocessable
from orchard.blocks import queries as ground
from orchard.blocks.api.results import ResultShown
from orchard.farms.endpoint import Endpoint
from orchard.inventory.api.fields import may_see_prices
from orchard.tasks import programme_queries, review
from orchard.tasks.review.windows import LineDone, Spray, window

A_YEAR = dt.timedelta(days=364)
PLACES = Decimal("0.0001")
STAGES = {"type": "object", "properties": {"from": {"type": "integer"}, "to": {"type": "integer"}}}


@extend_schema_field(QUANTITY_SCHEMA)
class Rounded(Amount):
    """A quantity to four places, for reading."""

    def to_representation(self, value: Quantity) -> dict[str, str]:
        return {"value": plain(value.value.quantize(PLACES)), "unit": value.unit}


class LineShown(serializers.Serializer):
    programme = Id()
    line = serializers.CharField(source="line.id")
    title = serializers.CharField(source="line.title")
    kind = serializers.CharField(source="line.kind")
    stage = serializers.SerializerMethodField(help_text="BBCH, both in")
    state = serializers.ChoiceField(
        choices=["done", "done_outside", "planned", "open", "not_yet", "missed", "unknown"]
    )
    work_orders = serializers.ListField(child=Id())
    application_records = serializers.SerializerMethodField(help_text="ids")
    observation = Id(source="seen", allow_null=True, help_text="the stage observation that it rests on")
    says = serializers.CharField()

    @extend_schema_field(STAGES)
    def get_stage(self, row: LineDone) -> dict[str, int]:
        stages = window(row.line)
        return {"from": stages.start, "to": stages.end}

    @extend_schema_field({"type": "array", "items": {"type": "string", "format": "uuid"}})
    def get_application_records(self, row: LineDone) -> list[str]:
        return [str(one.record.id) for one in row.sprays]


class SprayShown(serializers.Serializer):
    application_record = Id(source="record")
    finished_at = Moment(source="record.finished_at")
    products = serializers.SerializerMethodField(help_text="names")
    targets = serializers.SerializerMethodField()
    bbch = serializers.IntegerField(allow_null=True, help_text="stage on record")
    line = serializers.SerializerMethodField(
        help_text="id of the line of the plan that it carried out, or null"
    )
    in_window = serializers.BooleanField(
        allow_null=True, help_text="inside the line's stage window; null where no line or no stage says"
    )

    @extend_schema_field({"type": "array", "items": {"type": "string"}})
    def get_products(self, row: Spray) -> list[str]:
        return [one["name"] for one in row.record.body["products"]]

    @extend_schema_field({"type": "array", "items": {"type": "string"}})
    def get_targets(self, row: Spray) -> list[str]:
        return list(row.record.body.get("targets") or [])

    @extend_schema_field({"type": "string", "format": "uuid", "nullable": True})
    def get_line(self, row: Spray) -> str | None:
        return None if row.line is None else str(row.line["id"])


class MetalShown(serializers.Serializer):
    of = serializers.CharField(help_text="element, `copper`")
    amount = Rounded(help_text="as the element, over the season")
    per_area = Rounded(allow_null=True, help_text="kg/ha or lb/acre; null where the block has no area")
    limit = Rounded(allow_null=True, help_text="what the strictest of the labels used allows in a year")


class CostShown(serializers.Serializer):
    currency = serializers.CharField()
    amount = DecimalText(help_text="of the products, by the price of their lots")
    per_area = DecimalText(allow_null=True)
    area_unit = serializers.CharField(allow_null=True)


class CostsShown(serializers.Serializer):
    items = CostShown(many=True)
    without_price = serializers.ListField(child=serializers.CharField(), help_text="what is not in the sum")


class ToChangeShown(serializers.Serializer):
    code = serializers.CharField(
        help_text="`missed_window`, `outside_window`, `metal_near_limit`, `weak_result`, `cannot_tell`, "
        "`not_counted`, `limit_passed`, `keep`"
    )
    says = serializers.CharField()


class BlockReviewShown(serializers.Serializer):
    block = Id()
    name = serializers.CharField(source="block.name")
    crop = serializers.CharField(source="block.crop")
    area = Rounded(source="block.area", allow_null=True)
    lines = LineShown(many=True)
    sprays = SprayShown(many=True)
    metal = MetalShown(many=True, source="metals")
    results = ResultShown(many=True)
    cost = serializers.SerializerMethodField(help_text="null for crew members")
    what_to_change = ToChangeShown(many=True, source="changes")

    @extend_schema_field(CostsShown(allow_null=True))
    def get_cost(self, row: review.BlockReview) -> dict[str, Any] | None:
        if not may_see_prices(self.context["by"]):
            return None
        return dict(CostsShown(row.costs, context=self.context).data)


class SeasonReviewShown(serializers.Serializer):
    since = serializers.DateField(help_text="first day")
    until = serializers.DateField(help_text="last day")
    programmes = serializers.ListField(child=Id())
    blocks = BlockReviewShown(many=True)
    says = serializers.ListField(
        child=serializers.CharField(), help_text="what to bear in mind when reading it"
    )


class SeasonReviewQuery(Query):
    programme = Reference(
        programme_queries.programmes, required=False, help_text="its lines, and its days where none are given"
    )
    block = Reference(ground.blocks, required=False)


between(SeasonReviewQuery, Day, since="since", until="until")


class SeasonReview(Endpoint):
    """The season block by block: sprays against their stage windows, metal per area, what came of it, cost.

    Without days: those of the programme, else the year up to today.
    """

    resource = "season_review"
    shown = SeasonReviewShown
    query = SeasonReviewQuery
    unprocessable = True

    def get(self, request: Request, **kwargs: Any) -> Any:
        """Read it."""
        return Response(self.show(self.reviewed()))

    def reviewed(self) -> review.SeasonReview:
        """Return the review that is asked for.

        :raises Unprocessable: where it ends before it begins
        """
        asked = self.filters()
        programme = asked.get("programme")
        today = self.now.astimezone(self.context()["zone"]).date()
        until = asked.get("until") or (programme.ends_on if programme else today)
        since = asked.get("since") or (programme.starts_on if programme else until - A_YEAR)
        if until < since:
            raise Unprocessable(Fault("out_of_range", _("it ends before it begins"), "/to"))
        return review.season_review(
            farm=self.farm, since=since, until=until, programme=programme, block=asked.get("block")
        )


COLUMNS = (
    "block", "block_name", "what", "title", "at", "bbch", "window_from", "window_to", "in_window", "state",
    "value", "unit", "per_area_value", "per_area_unit", "low", "high", "says",
)  # fmt: skip


class SeasonReviewCsv(SeasonReview):
    """The review as CSV in UTF-8, one line a fact: `line`, `spray`, `metal`, `result`, `cost`, `change`."""

    http_method_names = ["get", "head", "options"]

    @property
    def responses(self) -> Any:
        return {(200, "text/csv"): str}

    def get(self, request: Request, **kwargs: Any) -> Any:
        """Read it."""
        rows = (
            {"block": block["block"], "block_name": block["name"], **facts}
            for block in self.show(self.reviewed())["blocks"]
            for facts in _facts(block)
        )
        return spreadsheets.file("season-review", COLUMNS, rows)


def _facts(block: dict[str, Any]) -> Iterator[dict[str, Any]]:
    for line in block["lines"]:
        stages = {"window_from": line["stage"]["from"], "window_to": line["stage"]["to"]}
        yield {"what": "line", "title": line["title"], "state": line["state"], "says": line["says"], **stages}
    for spray in block["sprays"]:
        yield {
            "what": "spray",
            "title": " + ".join(spray["products"]),
            "at": spray["finished_at"],
            "bbch": spray["bbch"],
            "in_window": spray["in_window"],
            "says": "; ".join(spray["targets"]),
        }
    for metal in block["metal"]:
        per_area = metal["per_area"] or {}
        yield {
            "what": "metal",
            "title": metal["of"],
            **metal["amount"],
            "per_area_value": per_area.get("value"),
            "per_area_unit": per_area.get("unit"),
        }
    for one in block["results"]:
        yield {
            "what": "result",
            "title": one["target"],
            "at": one["looked_on"],
            "value": one["efficacy_percent"],
            "unit": "percent",
            "low": one["efficacy_low"],
            "high": one["efficacy_high"],
            "says": one["says"],
        }
    for cost in (block["cost"] or {"items": []})["items"]:
        yield {
            "what": "cost",
            "value": cost["amount"],
            "unit": cost["currency"],
            "per_area_value": cost["per_area"],
            "per_area_unit": f"{cost['currency']}/{cost['area_unit']}" if cost["area_unit"] else None,
        }
    for change in block["what_to_change"]:
        yield {"what": "change", "title": change["code"], "says": change["says"]}


_AT = "farms/<uuid:farm>/season-review"
urlpatterns = [
    path(_AT, SeasonReview.as_view()),
    path(f"{_AT}.csv", SeasonReviewCsv.as_view()),
]
