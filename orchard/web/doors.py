"""How a page of a farm is entered: signed in, on one's own farm, in one's language, with a role that may."""

from __future__ import annotations

import datetime as dt
import functools
import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.utils import timezone, translation

from orchard.api import permissions
from orchard.api.refusals import NotThere
from orchard.farms import access, queries
from orchard.farms.actors import Actor
from orchard.farms.models import Farm, Person
from orchard.web import fields, nav


@dataclass(frozen=True, slots=True)
class Visit:
    """One person at one page of one farm.

    :ivar page: name of the page's address, which the bar marks
    """

    request: HttpRequest
    person: Person
    farm: Farm
    by: Actor
    now: dt.datetime
    page: str
    farms: list[Farm]

    def may(self, resource: str, verb: str) -> bool:
        """Return whether this person may do that."""
        return permissions.allows(role=self.by.role, scopes=self.by.scopes, resource=resource, verb=verb)

    def show(self, template: str, *, status: int = 200, **shown: Any) -> HttpResponse:
        """Return the page, with what every page of a farm shows."""
        shared = {
            "visit": self,
            "farm": self.farm,
            "by": self.by,
            "bar": nav.bar_of(self.by),
            "farms": self.farms,
            "codes": fields.said_of_codes(),
        }
        response = render(self.request, template, {**shared, **shown}, status=status)
        response["Cache-Control"] = "private, no-store"
        return response

    def missing(self) -> HttpResponse:
        """Return the page of what is not there; another farm's is not there either."""
        return self.show("web/refused.html", status=404, missing=True)


Page = Callable[..., HttpResponse]


def farm_page(resource: str, verb: str = "read", **verbs: str) -> Callable[[Page], Page]:
    """Make a page of a view that takes a `Visit` and what else its address names.

    :param resource, verb: row of the permission table that a reader needs
    :param verbs: verb that another method needs, as `POST="update"`
    """

    def with_door(view: Page) -> Page:
        @functools.wraps(view)
        def enter(request: HttpRequest, farm: uuid.UUID, **named: Any) -> HttpResponse:
            if not isinstance(request.user, Person):
                return _to_sign_in(request)
            try:
                found, by = access.enter_as(request.user, farm)
            except NotThere:
                return render(request, "web/refused.html", {"missing": True}, status=404)
            _speak(request, by)
            visit = Visit(
                request=request,
                person=request.user,
                farm=found,
                by=by,
                now=timezone.now(),
                page=view.__name__,
                farms=list(queries.farms_of(request.user).order_by("name", "id")),
            )
            if not visit.may(resource, _wanted(request, verb, verbs)):
                return visit.show("web/refused.html", status=403)
            return view(visit, **named)

        return enter

    return with_door


def _wanted(request: HttpRequest, verb: str, verbs: Mapping[str, str]) -> str:
    return verbs.get(request.method or "GET", verb)


def _to_sign_in(request: HttpRequest) -> HttpResponse:
    query = urlencode({"next": request.get_full_path()})
    return HttpResponseRedirect(f"{settings.LOGIN_URL}?{query}")


def _speak(request: HttpRequest, by: Actor) -> None:
    """Speak the language that was chosen on this phone, else the member's own."""
    if settings.LANGUAGE_COOKIE_NAME not in request.COOKIES:
        translation.activate(by.language)
        request.LANGUAGE_CODE = translation.get_language()  # type: ignore[attr-defined]
