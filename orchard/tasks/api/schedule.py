"""The schedule for other systems: JSON, CSV and iCalendar of the same orders."""

from __future__ import annotations

import csv
import datetime as dt
import io
import uuid
from collections.abc import Iterable, Mapping
from typing import Any

import icalendar
from django.db.models import QuerySet
from django.http import HttpResponse
from django.urls import path
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request

from orchard.api.fields import DAY, Amount, Day, Id, ListQuery, Moment, Query, Text, Word, between
from orchard.api.spreadsheets import safe
from orchard.farms.resources import Collection
from orchard.farms.rows import entity_tag, path_of
from orchard.tasks import programme_queries as queries
from orchard.tasks.models import WorkOrder

MOST = 5000
COLUMNS = (
    "id",
    "kind",
    "title",
    "status",
    "block_id",
    "block",
    "crew_id",
    "crew",
    "starts_at",
    "ends_at",
    "earliest",
    "latest",
    "because",
    "re_entry_until",
    "loads",
    "updated_at",
    "url",
)


@extend_schema_field(
    {"oneOf": [{"type": "string", "format": "date-time"}, {"type": "string", "format": "date"}]}
)
class MomentOrDay(Moment):
    """A moment, or a whole day in the farm's zone."""

    def __init__(self, *, end: bool = False, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.end = end

    def to_internal_value(self, value: Any) -> dt.datetime:
        if not (isinstance(value, str) and DAY.match(value)):
            return super().to_internal_value(value)
        day = Day().to_internal_value(value) + dt.timedelta(days=self.end)
        return dt.datetime.combine(day, dt.time(), tzinfo=self.context["zone"])


class EndOfDay(MomentOrDay):
    """The same, a day being meant to its end."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(end=True, **kwargs)


class Named(serializers.Serializer):
    id = Id()
    name = serializers.CharField()


class PlannedWindow(serializers.Serializer):
    earliest = serializers.CharField(allow_null=True)
    latest = serializers.CharField(allow_null=True)
    because = serializers.CharField(allow_null=True)


class ProductTotal(serializers.Serializer):
    name = serializers.CharField()
    total = Amount()


class ScheduleItem(serializers.Serializer):
    """One order. The document shows it; `item` writes it, since a page has many."""

    id = Id()
    kind = serializers.CharField()
    title = serializers.CharField()
    status = serializers.CharField()
    block = Named(allow_null=True)
    crew = Named(allow_null=True)
    starts_at = Moment()
    ends_at = Moment(allow_null=True)
    window = PlannedWindow(allow_null=True)
    re_entry_until = Moment(allow_null=True)
    loads = serializers.IntegerField(help_text="loads that are planned")
    products = ProductTotal(many=True)
    updated_at = Moment()
    etag = serializers.CharField()
    url = serializers.CharField()


def item(
    row: queries.Scheduled, *, farm: uuid.UUID, names: Mapping[str, str], zone: dt.tzinfo
) -> dict[str, Any]:
    """Return one order as `ScheduleItem` describes it, with moments and ids as they are.

    :param names: of the farm's products by their id
    """
    return {
        "id": row.id,
        "kind": row.kind,
        "title": row.title,
        "status": row.status,
        "block": _named(row.block_id, row.block_name),
        "crew": _named(row.crew_id, row.crew_name),
        "starts_at": _moment(row.starts_at, zone),
        "ends_at": _moment(row.ends_at, zone),
        "window": row.window and {name: row.window.get(name) for name in ("earliest", "latest", "because")},
        "re_entry_until": _moment(row.re_entry_until, zone),
        "loads": row.load_count,
        "products": [{"name": names.get(one["id"], ""), "total": one["exact"]} for one in row.totals],
        "updated_at": _moment(row.updated_at, zone),
        "etag": entity_tag(version=row.version, created_at=row.created_at),
        "url": path_of(farm=farm, collection=WorkOrder.collection, id=row.id),
    }


def _named(id: uuid.UUID | None, name: str | None) -> dict[str, object] | None:
    return None if id is None else {"id": id, "name": name}


def _moment(at: dt.datetime | None, zone: dt.tzinfo) -> dt.datetime | None:
    return None if at is None else at.astimezone(zone)


class ScheduleQuery(Query):
    limit = ListQuery().fields["limit"]
    cursor = Text(max_length=1000, required=False)
    crew = Id(required=False)
    block = Id(required=False)
    status = Word(list(queries.SHOWN), required=False)
    updated_since = Moment(required=False)


between(ScheduleQuery, MomentOrDay, EndOfDay, since="since", until="until")


class Schedule(Collection):
    """Who goes where with what, and when: all orders but drafts."""

    resource = "schedule"
    shown = ScheduleItem
    query = ScheduleQuery
    order = ("starts_at", "id")

    def rows(self, **filters: Any) -> QuerySet[WorkOrder]:
        return queries.schedule(farm=self.farm, **filters)

    def read(self, rows: QuerySet[WorkOrder]) -> list[queries.Scheduled]:
        return queries.scheduled(rows)

    def listed(self, found: list[Any]) -> list[dict[str, Any]]:
        names = queries.product_names(farm=self.farm, ids={one["id"] for row in found for one in row.totals})
        return [item(row, farm=self.farm.id, names=names, zone=self.zone()) for row in found]


class File(Schedule):
    """The whole of it as one file, 5,000 orders at most."""

    def wanted(self) -> dict[str, Any]:
        """Return the filters of the query; a file has no pages."""
        return {name: value for name, value in self.filters().items() if name not in ("limit", "cursor")}


class Csv(File):
    """The schedule as CSV in UTF-8."""

    @property
    def responses(self) -> Any:
        return {(200, "text/csv"): str}

    def get(self, request: Request, **kwargs: Any) -> HttpResponse:
        """Read it."""
        out = io.StringIO()
        writer = csv.DictWriter(out, COLUMNS, extrasaction="ignore", lineterminator="\r\n")
        writer.writeheader()
        found = self.read(self.rows(**self.wanted()).order_by(*self.order)[:MOST])
        writer.writerows(flat(one) for one in self.listed(found))
        response = HttpResponse(out.getvalue(), content_type="text/csv; charset=utf-8")
        response["Content-Disposition"] = 'attachment; filename="schedule.csv"'
        return response


def flat(item: dict[str, Any]) -> dict[str, str]:
    """Return one item as a row of cells, none of which a spreadsheet takes for a formula."""
    window, block, crew = item["window"] or {}, item["block"] or {}, item["crew"] or {}
    cells = {
        **item,
        **window,
        "block_id": block.get("id"),
        "block": block.get("name"),
        "crew_id": crew.get("id"),
        "crew": crew.get("name"),
    }
    return {name: safe(_cell(cells.get(name))) for name in COLUMNS}


def _cell(value: object) -> str:
    if isinstance(value, dt.datetime):
        return value.isoformat()
    return "" if value is None else str(value)


class Ics(File):
    """The schedule as a calendar (RFC 5545): UID is the order's, SEQUENCE its revision."""

    @property
    def responses(self) -> Any:
        return {(200, "text/calendar"): str}

    def get(self, request: Request, **kwargs: Any) -> HttpResponse:
        """Read it."""
        found = self.rows(**self.wanted()).order_by(*self.order)[:MOST]
        return HttpResponse(calendar(found, name=self.farm.name), content_type="text/calendar; charset=utf-8")


def calendar(orders: Iterable[WorkOrder], *, name: str) -> bytes:
    """Return the orders as one calendar."""
    made = icalendar.Calendar()
    made.add("prodid", "-//orchard operations//schedule//EN")
    made.add("version", "2.0")
    made.add("name", name)
    for order in orders:
        made.add_component(event(order))
    return bytes(made.to_ical())


def event(order: WorkOrder) -> icalendar.Event:
    """Return one order as an event; one that was cancelled stays, and says so."""
    made = icalendar.Event()
    made.add("uid", str(order.id))
    made.add("sequence", order.revision)
    made.add("dtstamp", order.updated_at.astimezone(dt.UTC))
    made.add("dtstart", order.starts_at.astimezone(dt.UTC))
    if order.ends_at is not None and order.ends_at > order.starts_at:
        made.add("dtend", order.ends_at.astimezone(dt.UTC))
    made.add("summary", order.title)
    made.add("status", "CANCELLED" if order.status == "cancelled" else "CONFIRMED")
    if order.block is not None:
        made.add("location", order.block.name)
    return made


_AT = "farms/<uuid:farm>/"
urlpatterns = [
    path(f"{_AT}schedule", Schedule.as_view()),
    path(f"{_AT}schedule.csv", Csv.as_view()),
    path(f"{_AT}schedule.ics", Ics.as_view()),
]
