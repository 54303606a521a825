"""The addresses of what a crew asks: the day's work to take along, where to go in, the hours they worked."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from typing import Any

from django.urls import path
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from orchard.api.fields import Day, Flag, Id, Moment, Query, between
from orchard.api.refusals import Fault, NotThere
from orchard.blocks import queries as blocks
from orchard.crews import queries as crews
from orchard.farms.actors import Role
from orchard.farms.endpoint import Endpoint
from orchard.tasks import day, entry, hours
from orchard.tasks.api.orders import OrderEndpoint, WorkOrderShown
from orchard.tasks.api.papers import PostingNoticeShown, TankSheetShown

DECIMAL_HOURS = {"type": "string", "pattern": r"^\d+(\.\d+)?$"}


class DayQuery(Query):
    on = Day(required=False, help_text="today on the farm where absent")
    mine = Flag(required=False, help_text="true: only of crews that the sender belongs to")


class DayBundleShown(serializers.Serializer):
    """Everything of a day's work in one file, to be taken where there is no signal."""

    as_of = Moment()
    on = serializers.DateField()
    zone = serializers.CharField()
    emergency = serializers.CharField(allow_null=True)
    work_orders = WorkOrderShown(many=True)
    tank_sheets = TankSheetShown(many=True)
    posting_notice = PostingNoticeShown()


class DayBundle(OrderEndpoint):
    """The day's work in one file: orders, tank sheets, closed blocks, whom to call."""

    verbs = {"GET": "read"}
    shown = DayBundleShown  # type: ignore[assignment]
    query = DayQuery

    def get(self, request: Request, **kwargs: Any) -> Response:
        """Read it."""
        asked = self.filters()
        on = asked.get("on") or self.now.astimezone(zoneinfo.ZoneInfo(self.farm.zone)).date()
        found = day.orders_of(farm=self.farm, on=on, worker=self._worker(asked.get("mine")))
        told = {
            "as_of": self.now,
            "on": on,
            "zone": self.farm.zone,
            "emergency": self.farm.emergency,
            "work_orders": found,
            "tank_sheets": day.sheets_of(found),
            "posting_notice": day.closed_blocks(farm=self.farm, now=self.now),
        }
        context = {**self.context(), **self.beside(found)}
        return Response(DayBundleShown(told, context=context).data)

    def _worker(self, mine: bool | None) -> Any:
        if not mine:
            return None
        if self.by.worker is None:
            raise NotThere(Fault("not_found", _("you are entered as no worker of this farm"), "/mine"))
        return self.by.worker


class BecauseShown(serializers.Serializer):
    finished_at = Moment(allow_null=True, help_text="null: it is being sprayed")
    products = serializers.ListField(child=serializers.CharField())


class GearShown(serializers.Serializer):
    code = serializers.CharField()
    says = serializers.CharField()


class EntryShown(serializers.Serializer):
    """May I go in?"""

    block = Id()
    may_enter = serializers.BooleanField()
    state = serializers.ChoiceField(choices=["open", "closed", "unknown", "being_sprayed"])
    until = Moment(allow_null=True, help_text="in the farm's time; null: open, or nobody can say")
    zone = serializers.CharField(help_text="IANA name of the farm's zone")
    says = serializers.CharField()
    because = BecauseShown(many=True)
    gear = GearShown(many=True, help_text="what a label wants on whoever has to go in before")


class Entry(Endpoint):
    """Whether a block may be entered now, until when not, why, and with what on."""

    resource = "posting_notice"
    shown = EntryShown

    def get(self, request: Request, **kwargs: Any) -> Response:
        """Read it."""
        self.filters()
        block = blocks.blocks(farm=self.farm).filter(id=kwargs["block"]).first()
        if block is None:
            raise NotThere(Fault("not_found", _("there is no such block on this farm")))
        return Response(self.show(entry.answer(block=block, now=self.now)))


@extend_schema_field(DECIMAL_HOURS)
class Hours(serializers.CharField):
    """Hours as a decimal."""


class HoursOfOrder(serializers.Serializer):
    work_order = Id()
    number = serializers.IntegerField()
    kind = serializers.CharField()
    on = serializers.DateField(help_text="day of the start, in the farm's zone")
    hours = Hours(help_text="from start to end, pauses taken off")


class WorkHoursShown(serializers.Serializer):
    items = HoursOfOrder(many=True)
    total = Hours(help_text="of all items [h]")


class HoursQuery(Query):
    """The days, both included."""


between(HoursQuery, Day, since="since", until="until")


class WorkHours(Endpoint):
    """The hours that a worker was out with a crew; a crew member sees their own only."""

    resource = "work_hours"
    shown = WorkHoursShown
    query = HoursQuery

    def get(self, request: Request, **kwargs: Any) -> Response:
        """Read them."""
        asked: dict[str, dt.date] = self.filters()
        worker = crews.workers(farm=self.farm).filter(id=kwargs["worker"]).first()
        if worker is None or (self.by.role == Role.CREW_MEMBER and self.by.worker != worker.id):
            raise NotThere(Fault("not_found", _("there is no such worker for you")))
        return Response(self.show(hours.of_worker(worker=worker, **asked)))


_AT = "farms/<uuid:farm>/"
urlpatterns = [
    path(f"{_AT}day-bundle", DayBundle.as_view()),
    path(f"{_AT}blocks/<uuid:block>/entry", Entry.as_view()),
    path(f"{_AT}workers/<uuid:worker>/hours", WorkHours.as_view()),
]
