"""The addresses of what was seen in a block, and of what is expected there."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from decimal import Decimal
from typing import Any

from django.db.models import QuerySet
from django.urls import path
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from mixing.quantities import EXACT, plain
from orchard.api.fields import (
    Day,
    DecimalText,
    Flag,
    Id,
    Input,
    Listed,
    ListQuery,
    Moment,
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
from orchard.blocks import efficacy, outlook_words, queries, services
from orchard.blocks.models import Block, ScoutingCount, StageObservation
from orchard.crews import queries as crews
from orchard.farms.endpoint import Endpoint
from orchard.farms.resources import Making, Single


class BelowBlock(Endpoint):
    """What stands below one block of the farm."""

    block: Block

    def find(self, **kwargs: Any) -> None:
        found = queries.blocks(farm=self.farm).filter(id=kwargs["block"]).first()
        if found is None:
            raise NotThere(Fault("not_found", _("there is no such block on this farm")))
        self.block = found
        super().find(**kwargs)


class StageShown(Shown):
    block = Id()
    bbch = serializers.IntegerField(help_text="BBCH code, 0 to 99")
    observed_on = serializers.DateField()
    leaf_drop_percent = DecimalText(allow_null=True)
    cultivar = serializers.CharField(allow_null=True)
    observer = Id(allow_null=True, help_text="worker")
    note = serializers.CharField(allow_null=True)


class StageInput(Input):
    id = Id(made_here=True, required=False)
    bbch = Whole(min_value=0, max_value=99)
    observed_on = Day()
    leaf_drop_percent = DecimalText(least="0", most="100", unit="%", required=False, allow_null=True)
    cultivar = Text(max_length=100, required=False, allow_null=True)
    observer = Reference(crews.workers, required=False, allow_null=True)
    note = Text(required=False, allow_null=True)

    def validate_observed_on(self, value: dt.date) -> dt.date:
        if value > self.context["now"].astimezone(self.context["zone"]).date():
            raise wrong(_("this lies in the future: say when it was seen"), "time_in_future")
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


class RatingInput(Input):
    """How many were in one class of a scale."""

    rating = Whole(min_value=0, max_value=100, help_text="0 is healthy; the highest given is the scale's end")
    count = Whole(min_value=0)


class Ratings(Listed):
    """The classes of a scale, each rating once."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("max_length", 101)
        super().__init__(child=RatingInput(), **kwargs)


class ScoutingShown(Shown):
    block = Id()
    target = serializers.CharField()
    method = serializers.CharField()
    sample_size = serializers.IntegerField()
    count = serializers.IntegerField()
    per_sample = serializers.SerializerMethodField(help_text="count over sample size, decimal")
    untreated = serializers.BooleanField(help_text="trees that were left untreated to compare with")
    classes = Ratings(allow_null=True)
    severity_percent = serializers.SerializerMethodField(
        help_text="sum of rating x count over all counted x the scale's end; null where not rated"
    )
    observed_at = Moment()
    cultivar = serializers.CharField(allow_null=True)
    observer = Id(allow_null=True)
    note = serializers.CharField(allow_null=True)

    @extend_schema_field(DecimalText())
    def get_per_sample(self, row: ScoutingCount) -> str:
        return plain(EXACT.divide(Decimal(row.count), Decimal(row.sample_size)), 6)

    @extend_schema_field(DecimalText(allow_null=True))
    def get_severity_percent(self, row: ScoutingCount) -> str | None:
        ratings = {one["rating"]: one["count"] for one in row.classes or []}
        found = efficacy.severity(ratings, worst=max(ratings, default=0))
        return None if found is None else plain(found)


class ScoutingInput(Input):
    id = Id(made_here=True, required=False)
    target = Text(
        max_length=100,
        help_text="what was looked for; `open flowers`, of weeds too: what harms bees waits for a count of 0",
    )
    method = Word(["visual", "trap", "shoot_strikes", "beat_tray"])
    sample_size = Whole(min_value=1)
    count = Whole(min_value=0)
    untreated = YesNo(required=False, help_text="true: trees left untreated to compare with")
    classes = Ratings(required=False, allow_null=True, help_text="adds up to `sample_size`")
    observed_at = Moment(past=True)
    cultivar = Text(max_length=100, required=False, allow_null=True)
    observer = Reference(crews.workers, required=False, allow_null=True)
    note = Text(required=False, allow_null=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        rated = attrs.get("classes")
        if not rated:
            return attrs
        faults: dict[str, list[str]] = {}
        if len({one["rating"] for one in rated}) < len(rated):
            faults["classes"] = ["each rating is given once"]
        elif sum(one["count"] for one in rated) != attrs["sample_size"]:
            faults["classes"] = ["the classes do not add up to the sample size"]
        elif sum(one["count"] for one in rated if one["rating"] > 0) != attrs["count"]:
            faults["count"] = ["is not what the classes above 0 add up to"]
        if faults:
            raise serializers.ValidationError(faults, code="invalid")
        return attrs


class ScoutingQuery(ListQuery):
    target = Text(required=False)
    untreated = Flag(required=False, help_text="true: only the trees left untreated")


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


class LastSafeDayShown(serializers.Serializer):
    on = serializers.DateField(help_text="in nine springs of ten bud colour comes later")
    says = serializers.CharField(help_text="what it rests on; in the language asked for")


class RefusedShown(serializers.Serializer):
    code = serializers.ChoiceField(choices=sorted(outlook_words.REFUSALS))
    says = serializers.CharField(help_text="why no date is given, and what is wanted")


class ForecastShown(serializers.Serializer):
    items = ForecastLine(many=True)
    issued_on = serializers.DateField(allow_null=True, help_text="null where none was tried yet")
    last_safe_day = LastSafeDayShown(
        allow_null=True, help_text="for a spray that must be on before bud colour"
    )
    remarks = serializers.ListField(
        child=serializers.CharField(),
        help_text="what was left out, or is unlike the places fitted: show them",
    )
    refused = RefusedShown(allow_null=True, help_text="why no date is given for now; `items` may be older")
    old = serializers.CharField(
        allow_null=True, help_text="said where `items` are older than a day: show it with every date of them"
    )


class Forecast(BelowBlock):
    """When the block is expected to reach its stages. Empty where nothing has been worked out."""

    resource = "forecast"
    shown = ForecastShown

    def get(self, request: Request, **kwargs: Any) -> Response:
        """Read the latest forecast of each event, and what must be said beside it."""
        self.filters()
        items = queries.forecasts(block=self.block)
        today = self.now.astimezone(zoneinfo.ZoneInfo(self.farm.zone)).date()
        beside = outlook_words.beside(queries.outlook(block=self.block), items, today=today)
        return Response(self.show({"items": items, **beside}))


_AT = "farms/<uuid:farm>/"
urlpatterns = [
    path(f"{_AT}blocks/<uuid:block>/stages", Stages.as_view()),
    path(f"{_AT}blocks/<uuid:block>/stages/<uuid:id>", Stage.as_view()),
    path(f"{_AT}blocks/<uuid:block>/scouting", Scouting.as_view()),
    path(f"{_AT}blocks/<uuid:block>/scouting/<uuid:id>", ScoutingHere.as_view()),
    path(f"{_AT}blocks/<uuid:block>/forecast", Forecast.as_view()),
]
