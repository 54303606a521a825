"""The addresses of the weather, by the hour and by the day."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.db.models import QuerySet
from django.urls import path
from django.utils.translation import gettext_noop
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from orchard.api.fields import (
    Amount,
    Day,
    DecimalText,
    Id,
    Input,
    Listed,
    ListQuery,
    Moment,
    Query,
    Text,
    Whole,
    Word,
    YesNo,
    between,
)
from orchard.blocks import queries, services, weather_sense
from orchard.farms.resources import Collection

MOST_WEATHER = 2000

KINDS = ["observed", "forecast"]


class HourFields(Input):
    at = Moment()
    kind = Word(KINDS)
    temperature = Amount("temperature", sign="any", required=False, allow_null=True)
    humidity_percent = DecimalText(least="0", most="100", unit="%", required=False, allow_null=True)
    wind = Amount("length/time", sign="zero", required=False, allow_null=True)
    gust = Amount("length/time", sign="zero", required=False, allow_null=True)
    wind_direction = Whole(
        min_value=0,
        max_value=360,
        unit=gettext_noop("degrees"),
        required=False,
        allow_null=True,
        help_text="degrees",
    )
    rain = Amount("length", sign="zero", required=False, allow_null=True)
    leaf_wet = YesNo(required=False, allow_null=True)


class DayFields(Input):
    on = Day()
    kind = Word(KINDS)
    minimum = Amount("temperature", sign="any", required=False, allow_null=True)
    maximum = Amount("temperature", sign="any", required=False, allow_null=True)
    mean = Amount("temperature", sign="any", required=False, allow_null=True)
    humidity_percent = DecimalText(least="0", most="100", unit="%", required=False, allow_null=True)
    wind = Amount("length/time", sign="zero", required=False, allow_null=True)
    gust = Amount("length/time", sign="zero", required=False, allow_null=True)
    wind_direction = Whole(
        min_value=0,
        max_value=360,
        unit=gettext_noop("degrees"),
        required=False,
        allow_null=True,
        help_text="degrees",
    )
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
    doubts = serializers.ListField(
        child=serializers.CharField(),
        help_text="names of fields that are likely wrong; they count as not known",
    )
    stale = serializers.SerializerMethodField(help_text="a forecast so old that there should be a newer one")

    @extend_schema_field({"type": "boolean"})
    def get_stale(self, row: Any) -> bool:
        now: dt.datetime = self.context["now"]
        return weather_sense.is_stale(kind=row.kind, received_at=row.received_at, now=now)


class HourShown(_Weathered):
    at = Moment()
    temperature = Amount(allow_null=True)
    leaf_wet = serializers.BooleanField(allow_null=True)


class DayShown(_Weathered):
    on = serializers.DateField()
    minimum = Amount(allow_null=True)
    maximum = Amount(allow_null=True)
    mean = Amount(allow_null=True)


class DoubtShown(serializers.Serializer):
    pointer = serializers.CharField(help_text="which value of the post")
    code = serializers.ChoiceField(choices=["spike", "unit_suspect", "gust_below_wind"])
    detail = serializers.CharField()


class StoredShown(serializers.Serializer):
    stored = serializers.IntegerField()
    questions = DoubtShown(
        many=True, required=False, help_text="values that are likely wrong; they count as not known"
    )


class PageQuery(Query):
    limit = ListQuery().fields["limit"]
    cursor = Text(max_length=1000, required=False)
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
        services.refuse_what_is_to_come(farm=self.farm, rows=asked["items"], now=self.now)
        stored = self.stores(
            farm=self.farm, station=asked.get("station", ""), rows=asked["items"], now=self.now
        )
        answer: dict[str, Any] = {"stored": stored.rows}
        if stored.doubts:
            answer["questions"] = [
                {"pointer": f"/items/{one.place}/{one.name}", "code": one.code, "detail": one.says}
                for one in stored.doubts
            ]
        return Response(answer)


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
    path(f"{_AT}weather/hours", Hours.as_view()),
    path(f"{_AT}weather/days", Days.as_view()),
]
