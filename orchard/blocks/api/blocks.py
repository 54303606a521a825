"""The addresses of blocks and their outlines."""

from __future__ import annotations

import zoneinfo
from typing import Any

from django.db.models import Q, QuerySet
from django.urls import path
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from mixing.quantities import Quantity, plain
from orchard.api.fields import (
    Amount,
    ArchivedQuery,
    Day,
    Flag,
    Id,
    Input,
    Listed,
    Moment,
    Shown,
    Text,
    Whole,
    YesNo,
    wrong,
)
from orchard.blocks import outlines, queries, services
from orchard.blocks.api.seen import StageShown
from orchard.blocks.models import Block
from orchard.farms.endpoint import Endpoint
from orchard.farms.resources import Changing, PutAway, Removing

_PLACE = {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 3}
_RING = {"type": "array", "items": _PLACE, "minItems": 4, "description": "the first place again at the end"}
OUTLINE = {
    "type": "object",
    "description": "GeoJSON Polygon (RFC 7946), longitude first; either winding is taken",
    "properties": {
        "type": {"type": "string", "enum": ["Polygon"]},
        "coordinates": {"type": "array", "items": _RING, "minItems": 1},
    },
    "required": ["type", "coordinates"],
}


@extend_schema_field(OUTLINE)
class Outline(serializers.Field):
    """A GeoJSON polygon."""

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        try:
            return outlines.normalised(data)
        except outlines.OutlineFault as fault:
            raise wrong(str(fault), "outline_invalid") from None

    def to_representation(self, value: Any) -> Any:
        return value


class Shortened(Amount):
    """A quantity that is kept exactly and shown to four places."""

    def to_representation(self, value: Quantity) -> dict[str, str]:
        return {"value": plain(value.value, 4), "unit": value.unit}


class BlockShown(Shown):
    name = serializers.CharField()
    crop = serializers.CharField()
    cultivars = serializers.ListField(child=serializers.CharField())
    outline = Outline(allow_null=True)
    area = Shortened(allow_null=True, help_text="shown to 4 places, kept exactly")
    row_spacing = Amount(allow_null=True)
    tree_spacing = Amount(allow_null=True)
    trees = serializers.IntegerField(allow_null=True)
    height = Amount(allow_null=True)
    canopy_width = Amount(allow_null=True)
    planted_year = serializers.IntegerField(allow_null=True)
    harvest_from = serializers.DateField(allow_null=True, help_text="first picking that is planned")
    computed = serializers.ListField(
        child=serializers.CharField(), help_text="what was worked out, not given"
    )
    archived = serializers.BooleanField()
    outline_area = serializers.SerializerMethodField(help_text="ground inside the outline")
    stage = serializers.SerializerMethodField(help_text="latest observation")
    re_entry_until = Moment(allow_null=True)
    harvest_not_before = serializers.DateField(allow_null=True)
    last_application = Id(allow_null=True)

    @extend_schema_field(Amount(allow_null=True))
    def get_outline_area(self, row: Block) -> dict[str, str] | None:
        return outlines.area(row.outline).as_json() if row.outline else None

    @extend_schema_field(StageShown(allow_null=True))
    def get_stage(self, row: Block) -> dict[str, Any] | None:
        seen = next(iter(getattr(row, "seen", ())), None)
        return dict(StageShown(seen, context=self.context).data) if seen else None


class BlockInput(Input):
    id = Id(made_here=True, required=False)
    name = Text(max_length=200)
    crop = Text(max_length=60, help_text="`peach`, `nectarine`, `apple` …")
    cultivars = Listed(child=Text(max_length=100), required=False)
    outline = Outline(required=False, allow_null=True)
    area = Amount("area", required=False, allow_null=True)
    row_spacing = Amount("length", required=False, allow_null=True)
    tree_spacing = Amount("length", required=False, allow_null=True)
    trees = Whole(min_value=1, required=False, allow_null=True)
    height = Amount("length", required=False, allow_null=True)
    canopy_width = Amount("length", required=False, allow_null=True)
    planted_year = Whole(min_value=1800, max_value=2200, required=False, allow_null=True)
    harvest_from = Day(required=False, allow_null=True)


class BlockChange(BlockInput):
    id = None  # type: ignore[assignment]
    archived = YesNo(required=False)


class BlockQuery(ArchivedQuery):
    name = Text(required=False)
    crop = Text(required=False)
    in_re_entry = Flag(required=False, help_text="true: closed to workers now")


class _Blocks(Endpoint):
    resource = "block"
    shown = BlockShown

    def with_stage(self) -> QuerySet[Block]:
        today = self.now.astimezone(zoneinfo.ZoneInfo(self.farm.zone)).date()
        return queries.with_stage(queries.blocks(farm=self.farm), on=today)


class Blocks(_Blocks, PutAway):
    """The farm's blocks."""

    asked = BlockInput
    query = BlockQuery

    def all_rows(self) -> QuerySet[Block]:
        return self.with_stage()

    def rows(self, *, in_re_entry: bool | None = None, **filters: Any) -> QuerySet[Block]:
        rows = super().rows(**filters)
        closed = Q(re_entry_until__gt=self.now)
        return rows if in_re_entry is None else rows.filter(closed if in_re_entry else ~closed)

    def create(self, **values: Any) -> Block:
        return services.add_block(farm=self.farm, by=self.by, now=self.now, **values)


class BlockHere(_Blocks, Changing, Removing):
    """One block."""

    asked = BlockChange

    def rows(self) -> QuerySet[Block]:
        return self.with_stage()

    def change(self, row: Block, **values: Any) -> Block:
        return services.change_block(block=row, by=self.by, now=self.now, **values)


class Outlines(_Blocks):
    """The blocks as a GeoJSON feature collection (RFC 7946)."""

    @property
    def responses(self) -> Any:
        return {
            (200, "application/geo+json"): {"type": "object", "description": "a GeoJSON FeatureCollection"}
        }

    def get(self, request: Request, **kwargs: Any) -> Response:
        """Read all blocks that are not put away."""
        self.filters()
        rows = self.with_stage().filter(archived=False).order_by("id")
        shown = BlockShown(rows, many=True, context=self.context()).data
        features = [
            {
                "type": "Feature",
                "id": one["id"],
                "geometry": one["outline"],
                "properties": {name: value for name, value in one.items() if name not in ("id", "outline")},
            }
            for one in shown
        ]
        return Response(
            {"type": "FeatureCollection", "features": features}, content_type="application/geo+json"
        )


_AT = "farms/<uuid:farm>/"
urlpatterns = [
    path(f"{_AT}blocks", Blocks.as_view()),
    path(f"{_AT}blocks.geojson", Outlines.as_view()),
    path(f"{_AT}blocks/<uuid:id>", BlockHere.as_view()),
]
