"""The addresses of blocks, stages, scouting, forecasts and weather."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from decimal import Decimal
from typing import Any

from django.db.models import Q, QuerySet
from django.urls import path
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from mixing.quantities import EXACT, Quantity, plain
from orchard.api.fields import (
    Amount,
    ArchivedQuery,
    Day,
    DecimalText,
    Flag,
    Id,
    Input,
    Listed,
    ListQuery,
    Moment,
    Query,
    Reference,
    Shown,
    Text,
    Whole,
    Word,
    YesNo,
    between,
    wrong,
)
from orchard.api.refusals import Fault, NotThere
from orchard.blocks import outlines, queries, services
from orchard.blocks.models import Block, ScoutingCount, StageObservation
from orchard.crews import queries as crews
from orchard.farms.endpoint import Changing, Collection, Endpoint, Making, PutAway, Removing, Single

MOST_WEATHER = 2000
OUTLINE = {
    "type": "object",
    "description": "GeoJSON Polygon (RFC 7946), longitude first; either winding is taken",
    "properties": {
        "type": {"const": "Polygon"},
        "coordinates": {"type": "array", "items": {"type": "array"}},
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


class StageShown(Shown):
    block = Id()
    bbch = serializers.IntegerField(help_text="BBCH code, 0 to 99")
    observed_on = serializers.DateField()
    leaf_drop_percent = DecimalText(allow_null=True)
    cultivar = serializers.CharField(allow_null=True)
    observer = Id(allow_null=True, help_text="worker")
    note = serializers.CharField(allow_null=True)


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
        return {200: {"type": "object", "description": "a GeoJSON FeatureCollection"}}

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


class BelowBlock(Endpoint):
    """What stands below one block of the farm."""

    block: Block

    def find(self, **kwargs: Any) -> None:
        found = queries.blocks(farm=self.farm).filter(id=kwargs["block"]).first()
        if found is None:
            raise NotThere(Fault("not_found", "there is no such block on this farm"))
        self.block = found
        super().find(**kwargs)


class StageInput(Input):
    id = Id(made_here=True, required=False)
    bbch = Whole(min_value=0, max_value=99)
    observed_on = Day()
    leaf_drop_percent = DecimalText(least="0", most="100", required=False, allow_null=True)
    cultivar = Text(max_length=100, required=False, allow_null=True)
    observer = Reference(crews.workers, required=False, allow_null=True)
    note = Text(required=False, allow_null=True)

    def validate_observed_on(self, value: dt.date) -> dt.date:
        if value > self.context["now"].astimezone(self.context["zone"]).date():
            raise wrong("this lies in the future: say when it was seen", "time_in_future")
        return value


class Stages(BelowBlock, Making):
    """What stages were seen in the block. A wrong one is answered by a new one."""

    resource = "stage_observation"
    shown = StageShown
    asked = StageInput

    def rows(self, **filters: Any) -> QuerySet[StageObservation]:
        return queries.stages(block=self.block).filter(**filters)

    def create(self, **values: Any) -> StageObservation:
        return services.add_stage(block=self.block, by=self.by, now=self.now, **values)


class Stage(BelowBlock, Single):
    """One observation."""

    resource = "stage_observation"
    shown = StageShown

    def rows(self) -> QuerySet[StageObservation]:
        return queries.stages(block=self.block)


class ScoutingShown(Shown):
    block = Id()
    target = serializers.CharField()
    method = serializers.CharField()
    sample_size = serializers.IntegerField()
    count = serializers.IntegerField()
    per_sample = serializers.SerializerMethodField(help_text="count over sample size, decimal")
    observed_at = Moment()
    cultivar = serializers.CharField(allow_null=True)
    observer = Id(allow_null=True)
    note = serializers.CharField(allow_null=True)

    @extend_schema_field(DecimalText())
    def get_per_sample(self, row: ScoutingCount) -> str:
        return plain(EXACT.divide(Decimal(row.count), Decimal(row.sample_size)), 6)


class ScoutingInput(Input):
    id = Id(made_here=True, required=False)
    target = Text(max_length=100)
    method = Word(["visual", "trap", "shoot_strikes", "beat_tray"])
    sample_size = Whole(min_value=1)
    count = Whole(min_value=0)
    observed_at = Moment(past=True)
    cultivar = Text(max_length=100, required=False, allow_null=True)
    observer = Reference(crews.workers, required=False, allow_null=True)
    note = Text(required=False, allow_null=True)


class ScoutingQuery(ListQuery):
    target = Text(required=False)


between(ScoutingQuery, Moment, since="observed_at__gte", until="observed_at__lte")


class Scouting(BelowBlock, Making):
    """What looks for pests and diseases found."""

    resource = "scouting_count"
    shown = ScoutingShown
    asked = ScoutingInput
    query = ScoutingQuery

    def rows(self, **filters: Any) -> QuerySet[ScoutingCount]:
        return queries.scouting(block=self.block).filter(**filters)

    def create(self, **values: Any) -> ScoutingCount:
        return services.add_scouting(block=self.block, by=self.by, now=self.now, **values)


class ScoutingHere(BelowBlock, Single):
    """One count."""

    resource = "scouting_count"
    shown = ScoutingShown

    def rows(self) -> QuerySet[ScoutingCount]:
        return queries.scouting(block=self.block)


class ForecastLine(serializers.Serializer):
    event = serializers.ChoiceField(choices=["budburst", "first_bloom", "full_bloom"])
    bbch = serializers.IntegerField()
    predicted = serializers.DateField()
    low80 = serializers.DateField(help_text="one in ten is earlier")
    high80 = serializers.DateField(help_text="one in ten is later")
    issued_on = serializers.DateField()
    model = serializers.CharField(help_text="how it was made, and from which places")


class ForecastShown(serializers.Serializer):
    items = ForecastLine(many=True)


class Forecast(BelowBlock):
    """When the block is expected to reach its stages. Empty where nothing has been worked out."""

    resource = "forecast"
    shown = ForecastShown

    def get(self, request: Request, **kwargs: Any) -> Response:
        """Read the latest forecast of each event."""
        self.filters()
        return Response(self.show({"items": queries.forecasts(block=self.block)}))


KINDS = ["observed", "forecast"]


class HourFields(Input):
    at = Moment()
    kind = Word(KINDS)
    temperature = Amount("temperature", sign="any", required=False, allow_null=True)
    humidity_percent = DecimalText(least="0", most="100", required=False, allow_null=True)
    wind = Amount("length/time", sign="zero", required=False, allow_null=True)
    gust = Amount("length/time", sign="zero", required=False, allow_null=True)
    wind_direction = Whole(min_value=0, max_value=360, required=False, allow_null=True, help_text="degrees")
    rain = Amount("length", sign="zero", required=False, allow_null=True)
    leaf_wet = YesNo(required=False, allow_null=True)


class DayFields(Input):
    on = Day()
    kind = Word(KINDS)
    minimum = Amount("temperature", sign="any", required=False, allow_null=True)
    maximum = Amount("temperature", sign="any", required=False, allow_null=True)
    mean = Amount("temperature", sign="any", required=False, allow_null=True)
    humidity_percent = DecimalText(least="0", most="100", required=False, allow_null=True)
    wind = Amount("length/time", sign="zero", required=False, allow_null=True)
    gust = Amount("length/time", sign="zero", required=False, allow_null=True)
    wind_direction = Whole(min_value=0, max_value=360, required=False, allow_null=True, help_text="degrees")
    rain = Amount("length", sign="zero", required=False, allow_null=True)


class HoursInput(Input):
    station = Text(max_length=60, required=False, allow_blank=True)
    items = Listed(child=HourFields(), max_length=MOST_WEATHER)


class DaysInput(Input):
    station = Text(max_length=60, required=False, allow_blank=True)
    items = Listed(child=DayFields(), max_length=MOST_WEATHER)


class _Weathered(serializers.Serializer):
    id = Id()
    station = serializers.CharField()
    kind = serializers.ChoiceField(choices=KINDS)
    humidity_percent = DecimalText(allow_null=True)
    wind = Amount(allow_null=True)
    gust = Amount(allow_null=True)
    wind_direction = serializers.IntegerField(allow_null=True)
    rain = Amount(allow_null=True)
    received_at = Moment()


class HourShown(_Weathered):
    at = Moment()
    temperature = Amount(allow_null=True)
    leaf_wet = serializers.BooleanField(allow_null=True)


class DayShown(_Weathered):
    on = serializers.DateField()
    minimum = Amount(allow_null=True)
    maximum = Amount(allow_null=True)
    mean = Amount(allow_null=True)


class StoredShown(serializers.Serializer):
    stored = serializers.IntegerField()


class PageQuery(Query):
    limit = ListQuery().fields["limit"]
    cursor = Text(required=False)
    kind = Word(KINDS, required=False)
    station = Text(required=False, allow_blank=True)


class HourQuery(PageQuery):
    pass


class DayQuery(PageQuery):
    pass


between(HourQuery, Moment, since="since", until="until")
between(DayQuery, Day, since="since", until="until")


class Weather(Collection):
    """What hours and days of weather share. Write `stores`."""

    resource = "weather"
    stores: Any

    @property
    def responses(self) -> Any:
        return {200: StoredShown} if self.request and self.request.method == "POST" else None

    def post(self, request: Request, **kwargs: Any) -> Response:
        """Store up to 2,000 rows."""
        return self.once(self._store)

    def _store(self) -> Response:
        asked = self.asked_for()
        stored = self.stores(
            farm=self.farm, station=asked.get("station", ""), rows=asked["items"], now=self.now
        )
        return Response({"stored": stored})


class Hours(Weather):
    """Weather by the hour, observed or forecast; a later post of the same hour replaces."""

    shown = HourShown
    asked = HoursInput
    query = HourQuery
    order = ("at", "station", "kind", "id")
    stores = staticmethod(services.store_hours)

    def rows(self, *, since: Any = None, until: Any = None, **filters: Any) -> QuerySet[Any]:
        return queries.hours(farm=self.farm, since=since, until=until).filter(**filters)


class Days(Weather):
    """Weather by the day, in the farm's zone."""

    shown = DayShown
    asked = DaysInput
    query = DayQuery
    order = ("on", "station", "kind", "id")
    stores = staticmethod(services.store_days)

    def rows(self, *, since: Any = None, until: Any = None, **filters: Any) -> QuerySet[Any]:
        return queries.days(farm=self.farm, since=since, until=until).filter(**filters)


_AT = "farms/<uuid:farm>/"
urlpatterns = [
    path(f"{_AT}blocks", Blocks.as_view()),
    path(f"{_AT}blocks.geojson", Outlines.as_view()),
    path(f"{_AT}blocks/<uuid:id>", BlockHere.as_view()),
    path(f"{_AT}blocks/<uuid:block>/stages", Stages.as_view()),
    path(f"{_AT}blocks/<uuid:block>/stages/<uuid:id>", Stage.as_view()),
    path(f"{_AT}blocks/<uuid:block>/scouting", Scouting.as_view()),
    path(f"{_AT}blocks/<uuid:block>/scouting/<uuid:id>", ScoutingHere.as_view()),
    path(f"{_AT}blocks/<uuid:block>/forecast", Forecast.as_view()),
    path(f"{_AT}weather/hours", Hours.as_view()),
    path(f"{_AT}weather/days", Days.as_view()),
]
