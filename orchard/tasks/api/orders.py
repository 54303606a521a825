"""The addresses of work orders and their loads."""

from __future__ import annotations

import hashlib
import json
import uuid
from collections.abc import Mapping, Sequence
from typing import Any

from django.db.models import QuerySet
from django.urls import path
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from orchard.api.fields import (
    Amount,
    Flag,
    Id,
    Input,
    Listed,
    ListQuery,
    Moment,
    Reference,
    Shown,
    Text,
    Word,
)
from orchard.api.refusals import Fault, NotThere
from orchard.api.remembered import reading_once
from orchard.blocks import queries as blocks
from orchard.crews import queries as crews
from orchard.farms.endpoint import Endpoint
from orchard.farms.resources import Changing, Collection, Making, Single
from orchard.farms.rows import FarmRow
from orchard.inventory import amounts as stock_amounts
from orchard.inventory.models import Reservation
from orchard.tasks import programme_queries, queries, windows
from orchard.tasks.api.checks import Rated, label_version
from orchard.tasks.api.fields import Kept, SprayInput, WaterInput, as_said
from orchard.tasks.models import Load, WorkOrder
from orchard.tasks.services import cautions, issue, orders
from orchard.tasks.services import place as where
from orchard.tasks.states import KINDS, STATES


class KeptWindow(Kept):
    """The days of a plan and why; what the sentence is made of is for the pages."""

    def to_representation(self, value: Any) -> Any:
        return value and {name: one for name, one in value.items() if name != "told"}


OBJECTS = {"type": "array", "items": {"type": "object"}}


@extend_schema_field(OBJECTS)
class KeptList(serializers.JSONField):
    """Parts that are written out as they were kept."""


class ReservedShown(serializers.Serializer):
    product = Id()
    lot = Id()
    quantity = Amount(help_text="what is still promised, in the product's stock unit")


class WorkOrderShown(Shown):
    etag = serializers.SerializerMethodField(  # type: ignore[assignment]
        help_text="entity tag for `If-Match`; another one as well where `blocked_by` is another"
    )
    number = serializers.IntegerField(help_text="short, for people")
    kind = serializers.ChoiceField(choices=list(KINDS))
    status = serializers.ChoiceField(choices=list(STATES))
    revision = serializers.IntegerField()
    title = serializers.CharField()
    instructions = serializers.CharField(allow_null=True)
    block = Id(allow_null=True)
    sprayer = Id(allow_null=True)
    crew = Id(allow_null=True)
    handlers = serializers.SerializerMethodField(help_text="workers of the crew; empty: all who may handle")
    starts_at = Moment()
    ends_at = Moment(allow_null=True)
    products = KeptList(help_text="`[{product, rate, label}]`")
    spray = Kept(allow_null=True)
    targets = serializers.ListField(child=serializers.CharField())
    water = Kept(allow_null=True)
    measures = serializers.ListField(
        child=serializers.CharField(), allow_null=True, help_text="the farm's where null"
    )
    programme = Id(allow_null=True)
    line = Id(allow_null=True)
    window = KeptWindow(allow_null=True, help_text="`{earliest, latest, because}` where a plan gave one")
    mix_check = Id(allow_null=True, help_text="what the last issue or start rested on")
    loads_planned = KeptList(help_text="as `report.loads` of the mix check")
    totals = KeptList(help_text="as `report.totals` of the mix check")
    reservations = serializers.SerializerMethodField()
    blocked_by = serializers.SerializerMethodField(
        help_text="`[{pointer, code, detail …}]`: what `issue`, or after it `start`, would refuse now"
    )
    issued_at = Moment(allow_null=True, help_text="when it was issued first")
    started_at = Moment(allow_null=True)
    finished_at = Moment(allow_null=True)
    held_from = serializers.CharField(allow_null=True)
    held_reason = serializers.CharField(allow_null=True)
    pauses = KeptList(
        help_text="`[{from_state, reason, note, at, until, treated: {trees, area, spray, percent}}]`"
    )
    re_entry_until = Moment(allow_null=True)
    application_record = serializers.SerializerMethodField()
    possible_duplicates = KeptList(help_text="`[{id, received_at, by, body}]`")
    conflicts = KeptList(
        help_text="what was told and does not fit: `[{id, action, codes, happened_at, received_at, by, role, "
        "body, settled_at, settled_by, note}]`; `settled_at` null: a person has to look"
    )
    cautions = serializers.SerializerMethodField(
        help_text="`[{code, detail, refers_to, short}]`: what refuses nothing and is good to know before the "
        "start, and while it goes on"
    )
    exclusion_zone = serializers.SerializerMethodField(
        help_text="`{distance, droplets, source}`: how far others stay away while it sprays; null: no spray"
    )

    def get_etag(self, row: WorkOrder) -> str:
        return tag(row, [*self.context["blocked_by"].get(row.id, []), *self.context["cautions"][row.id]])

    @extend_schema_field({"type": "array", "items": {"type": "string", "format": "uuid"}})
    def get_handlers(self, row: WorkOrder) -> list[str]:
        return sorted(str(one.id) for one in row.handlers.all())

    @extend_schema_field(ReservedShown(many=True))
    def get_reservations(self, row: WorkOrder) -> list[dict[str, Any]]:
        found: Sequence[Reservation] = self.context["reservations"].get(row.id, [])
        return [
            {"product": str(one.product.id), "lot": str(one.lot.id), "quantity": still_open(one)}
            for one in found
        ]

    @extend_schema_field(OBJECTS)
    def get_blocked_by(self, row: WorkOrder) -> list[dict[str, Any]]:
        blocked: Mapping[uuid.UUID, list[Fault]] = self.context["blocked_by"]
        return [fault.as_json() for fault in blocked[row.id]]

    @extend_schema_field(OBJECTS)
    def get_cautions(self, row: WorkOrder) -> list[dict[str, Any]]:
        return [fault.as_json() for fault in self.context["cautions"][row.id]]

    @extend_schema_field({"type": ["object", "null"]})
    def get_exclusion_zone(self, row: WorkOrder) -> dict[str, Any] | None:
        return where.exclusion_zone(row)

    @extend_schema_field({"type": ["string", "null"], "format": "uuid"})
    def get_application_record(self, row: WorkOrder) -> str | None:
        record = self.context["records"].get(row.id)
        return str(record.id) if record else None


def still_open(row: Reservation) -> dict[str, str]:
    """Return what of a reservation is still promised, in the product's unit of stock."""
    return stock_amounts.shown_stock(row.open_base, row.product)


class WorkOrderInput(Input):
    id = Id(made_here=True, required=False)
    kind = Word(KINDS)
    title = Text(max_length=300, required=False, allow_null=True)
    instructions = Text(required=False, allow_null=True)
    block = Reference(blocks.blocks, required=False, allow_null=True)
    sprayer = Reference(crews.plain_sprayers, required=False, allow_null=True)
    crew = Reference(crews.crews, required=False, allow_null=True)
    handlers = Listed(child=Reference(crews.workers), required=False)
    starts_at = Moment(help_text="planned")
    ends_at = Moment(required=False, allow_null=True, help_text="planned")
    products = Listed(child=Rated(), required=False, max_length=20)
    spray = SprayInput(required=False, allow_null=True)
    targets = Listed(child=Text(max_length=100), required=False)
    water = WaterInput(required=False, allow_null=True)
    measures = Listed(child=Text(max_length=20), required=False, allow_null=True)
    programme = Reference(programme_queries.programmes, required=False, allow_null=True)
    line = Id(required=False, allow_null=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        values = dict(attrs)
        for place, one in enumerate(values.get("products") or []):
            label_version(one, place)
        for name in ("products", "spray", "water"):
            if name in values:
                values[name] = as_said(values[name])
        return values


class WorkOrderChange(WorkOrderInput):
    id = None  # type: ignore[assignment]


class WorkOrderQuery(ListQuery):
    status = Word(STATES, required=False)
    kind = Word(KINDS, required=False)
    block = Id(required=False, source="block__id")
    crew = Id(required=False, source="crew__id")
    sprayer = Id(required=False, source="sprayer__id")
    programme = Id(required=False, source="programme__id")
    until = Moment(required=False, help_text="`starts_at` at or before")
    mine = Flag(required=False, help_text="true: of crews that the sender, as a worker, belongs to")
    overdue = Flag(required=False, help_text="true: still open though the planned time is over")


WorkOrderQuery._declared_fields["from"] = Moment(  # type: ignore[attr-defined]
    required=False, source="since", help_text="`starts_at` at or after"
)


class OrderEndpoint(Endpoint):
    """What every address that answers with work orders shows beside the row itself."""

    resource = "work_order"
    shown = WorkOrderShown

    def beside(self, found: Sequence[WorkOrder]) -> dict[str, Any]:
        """Return the reservations and records of these orders, and what blocks each of them now."""
        with reading_once():
            blocked = {row.id: issue.blocked_by(order=row, by=self.by, now=self.now) for row in found}
            good_to_know = {row.id: list(cautions.of_order(row, now=self.now)) for row in found}
        return {
            "reservations": queries.reservations(farm=self.farm, orders=found),
            "records": queries.records_of(farm=self.farm, orders=found),
            "blocked_by": blocked,
            "cautions": good_to_know,
        }

    def show(self, row: WorkOrder) -> dict[str, Any]:
        context = {**self.context(), **self.beside([row])}
        return dict(WorkOrderShown(row, context=context).data)

    def tag(self, row: FarmRow) -> str:
        assert isinstance(row, WorkOrder)
        blocked = issue.blocked_by(order=row, by=self.by, now=self.now)
        return tag(row, [*blocked, *cautions.of_order(row, now=self.now)])

    def is_version(self, row: FarmRow, asked: str) -> bool:
        return asked == row.etag or asked.startswith(row.etag[:-1] + "~")


def tag(row: WorkOrder, beside: Sequence[Fault]) -> str:
    """Return the entity tag of an order as it is shown: its version, and what blocks it or is good to know.

    Both change with the weather, the store and the clock; a reader who has its version is not told that
    nothing is new.
    """
    if not beside:
        return row.etag
    told = json.dumps([fault.as_json() for fault in beside], sort_keys=True, default=str)
    return f'{row.etag[:-1]}~{hashlib.sha256(told.encode()).hexdigest()[:12]}"'


class WorkOrders(OrderEndpoint, Making):
    """Crew work: what, where, who, with what."""

    asked = WorkOrderInput
    query = WorkOrderQuery

    def rows(
        self, *, overdue: bool | None = None, mine: bool | None = None, **filters: Any
    ) -> QuerySet[WorkOrder]:
        rows = queries.work_orders(farm=self.farm, **filters)
        if mine:
            rows = rows.filter(queries.of_worker(self.by.worker))
        if overdue is None:
            return rows
        return rows.filter(queries.late(self.now)) if overdue else rows.exclude(queries.late(self.now))

    def listed(self, found: list[Any]) -> list[dict[str, Any]]:
        context = {**self.context(), **self.beside(found)}
        return [dict(one) for one in WorkOrderShown(found, many=True, context=context).data]

    def create(self, **values: Any) -> WorkOrder:
        return orders.add_order(farm=self.farm, by=self.by, now=self.now, **values)


class WorkOrderHere(OrderEndpoint, Changing):
    """One work order."""

    asked = WorkOrderChange

    def rows(self) -> QuerySet[WorkOrder]:
        return queries.work_orders(farm=self.farm)

    def change(self, row: WorkOrder, **values: Any) -> WorkOrder:
        return orders.change_order(order=row, by=self.by, now=self.now, **values)


class BelowOrder(Endpoint):
    """What stands below one work order of the farm."""

    resource = "work_order"
    order_row: WorkOrder

    def find(self, **kwargs: Any) -> None:
        found = queries.work_orders(farm=self.farm).filter(id=kwargs["order"]).first()
        if found is None:
            raise NotThere(Fault("not_found", _("there is no such work order on this farm")))
        self.order_row = found
        super().find(**kwargs)


class LoadShown(Shown):
    work_order = Id()
    number = serializers.IntegerField()
    spray = Amount(help_text="mixed")
    products = KeptList(help_text="`[{product, lots: [{lot, amount}]}]`")
    planned = Kept(allow_null=True, help_text="`{number, spray, water, products}`; null: not in the plan")
    at = Moment(help_text="as it was told")
    received_at = Moment()
    mixed_by = Id(allow_null=True, help_text="worker")
    area_done = Amount(allow_null=True)
    trees_done = serializers.IntegerField(allow_null=True)
    trees_skipped = serializers.IntegerField(allow_null=True)
    leftover = Amount(allow_null=True)
    note = serializers.CharField(allow_null=True)
    stock = serializers.ChoiceField(choices=["pending", "posted", "short"])
    missing = serializers.JSONField(allow_null=True, help_text="what the book did not hold")


class Loads(BelowOrder, Collection):
    """The tanks that were mixed for the order."""

    shown = LoadShown
    order = ("number", "id")

    def rows(self, **filters: Any) -> QuerySet[Load]:
        return queries.loads(order=self.order_row).filter(**filters)


class LoadHere(BelowOrder, Single):
    """One load."""

    shown = LoadShown

    def rows(self) -> QuerySet[Load]:
        return queries.loads(order=self.order_row)


class ReasonShown(serializers.Serializer):
    limit = serializers.ChoiceField(
        choices=["wind", "rain", "frost", "heat", "inversion", "wet", "re_entry", "quiet_hours"]
    )
    basis = serializers.ChoiceField(choices=["label", "farm", "published"])
    says = serializers.CharField()


class WindowShown(serializers.Serializer):
    open = serializers.BooleanField()
    until = Moment()
    closed_by = ReasonShown(many=True)


WindowShown._declared_fields["from"] = Moment(source="since")  # type: ignore[attr-defined]


class ForecastSeenShown(serializers.Serializer):
    received_at = Moment(
        allow_null=True, help_text="when the oldest hour of the day to come was posted; null where none was"
    )
    stale = serializers.BooleanField(help_text="there should be a newer one: look outside, or post one")
    stale_from = Moment(
        allow_null=True,
        help_text="the first hour whose forecast is that old; hours before it are of a newer one",
    )


class WindowsShown(serializers.Serializer):
    items = WindowShown(many=True)
    forecast = ForecastSeenShown()


class Windows(BelowOrder):
    """The hours in which the order may be sprayed, from the weather hours, and what closes the others."""

    shown = WindowsShown

    def get(self, request: Request, **kwargs: Any) -> Response:
        """Read them from now on."""
        self.filters()
        found = {
            "items": windows.of_order(order=self.order_row, now=self.now),
            "forecast": windows.forecast_seen(farm=self.farm, now=self.now),
        }
        return Response(self.show(found))


ORDER = "farms/<uuid:farm>/work-orders"
urlpatterns = [
    path(ORDER, WorkOrders.as_view()),
    path(f"{ORDER}/<uuid:id>", WorkOrderHere.as_view()),
    path(f"{ORDER}/<uuid:order>/loads", Loads.as_view()),
    path(f"{ORDER}/<uuid:order>/loads/<uuid:id>", LoadHere.as_view()),
    path(f"{ORDER}/<uuid:order>/windows", Windows.as_view()),
]
