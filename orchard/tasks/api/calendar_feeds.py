"""Private addresses at which calendar programs, which send no token, read the schedule."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from orchard.api import problems, rates
from orchard.api.fields import Id, Input, Reference, Shown, Text
from orchard.api.refusals import Fault
from orchard.crews import queries as crews
from orchard.farms import fence, queries, services
from orchard.farms.actors import Role
from orchard.farms.models import CalendarFeed
from orchard.farms.resources import Making, Removing
from orchard.tasks import programme_queries
from orchard.tasks.api.schedule import MOST, calendar

BEFORE = dt.timedelta(days=400)
"""How far back a feed goes: a season and a little."""


class FeedShown(Shown):
    name = serializers.CharField()
    crew = Id(source="crew.id", allow_null=True, default=None, help_text="null: all crews")


class FeedInput(Input):
    id = Id(made_here=True, required=False)
    name = Text(max_length=200, help_text="whose calendar it is, to know it by")
    crew = Reference(crews.crews, required=False, allow_null=True)


class Feeds(Making):
    """Private addresses of the schedule as a calendar. The answer to POST shows the `address`, this once.

    Whoever has the address reads titles, times and blocks, and nothing else; nobody can write with it.
    """

    resource = "calendar_feed"
    shown = FeedShown
    asked = FeedInput

    def rows(self, **filters: Any) -> QuerySet[CalendarFeed]:
        return mine(queries.calendar_feeds(farm=self.farm), by=self.by).filter(**filters)

    def create(self, **values: Any) -> CalendarFeed:
        made = services.add_calendar_feed(farm=self.farm, by=self.by, now=self.now, **values)
        self.address = self.request.build_absolute_uri(f"/calendars/{made.secret}.ics")
        return made.feed

    def post(self, request: Request, **kwargs: Any) -> Response:
        """Make one."""
        response = self.once(self._post)
        if response.status_code == 201 and hasattr(self, "address"):
            response.data = {**response.data, "address": self.address}
        return response


class FeedHere(Removing):
    """One feed; DELETE revokes its address at once."""

    resource = "calendar_feed"
    shown = FeedShown

    def rows(self) -> QuerySet[CalendarFeed]:
        return mine(queries.calendar_feeds(farm=self.farm), by=self.by)

    def remove(self, row: CalendarFeed) -> None:
        services.revoke_calendar_feed(feed=row, by=self.by, now=self.now)


def mine(feeds: QuerySet[CalendarFeed], *, by: Any) -> QuerySet[CalendarFeed]:
    """Return the feeds that somebody may see: their own, and all for a manager."""
    if by.role in (Role.OWNER, Role.MANAGER):
        return feeds
    return feeds.filter(created_by_kind=by.kind, created_by_id=by.id)


@require_safe
def read(request: HttpRequest, secret: str) -> HttpResponse:
    """Answer a calendar program: the orders as iCalendar (RFC 5545); 404 for an address that was revoked."""
    now = timezone.now()
    feed = services.feed_of(secret)
    if feed is None:
        return problems.plain(404, Fault("not_found", _("there is no calendar here: ask for a new address")))
    allowance = rates.count(caller=f"calendar:{feed.pk}", at=now.timestamp())
    if allowance is not None and allowance.left < 0:
        return problems.plain(429, Fault("too_many_requests", _("ask less often: once an hour is plenty")))
    with fence.opened(feed.farm.id):
        crew = feed.crew.id if feed.crew else None
        orders = programme_queries.schedule(farm=feed.farm, since=now - BEFORE, crew=crew)
        body = calendar(orders.order_by("starts_at", "id")[:MOST], name=f"{feed.farm.name}: {feed.name}")
    response = HttpResponse(body, content_type="text/calendar; charset=utf-8")
    response["Cache-Control"] = "private, max-age=300"
    return response


_AT = "farms/<uuid:farm>/calendar-feeds"
urlpatterns = [
    path(_AT, Feeds.as_view()),
    path(f"{_AT}/<uuid:id>", FeedHere.as_view()),
]
at_the_root = [path("calendars/<str:secret>.ics", read)]
