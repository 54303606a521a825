"""How a page of a farm is entered: signed in, on one's own farm, in one's language, with a role that may."""

from __future__ import annotations

import datetime as dt
import functools
import hashlib
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.db import transaction
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.utils import timezone, translation

from orchard.api import permissions
from orchard.api.refusals import NotThere
from orchard.farms import access, fence, queries
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

    def show(self, template: str, *, status: int = 200, version: str = "", **shown: Any) -> HttpResponse:
        """Return the page, with what every page of a farm shows.

        :param version: what the page's content hangs on, so that a phone knows whether what it kept is old
        """
        shared = {
            "visit": self,
            "farm": self.farm,
            "by": self.by,
            "bar": nav.bar_of(self.by),
            "farms": self.farms,
            "codes": fields.said_of_codes(),
        }
        response = render(self.request, template, {**shared, **shown}, status=status)
        if version:
            response["X-Version"] = hashlib.sha256(version.encode()).hexdigest()[:16]
        response["Cache-Control"] = "private, no-store"
        return response

    def missing(self) -> HttpResponse:
        """Return the page of what is not there; another farm's is not there either."""
        return self.show("web/refused.html", status=404, missing=True)


Page = Callable[..., HttpResponse]


def farm_page(resource: str, verb: str = "read", *, acts: bool = False) -> Callable[[Page], Page]:
    """Make a page of a view that takes a `Visit` and what else its address names.

    A page is read in one transaction, in which its farm is open.

    :param resource, verb: row of the permission table that a reader needs
    :param acts: the view calls an address with a transaction of its own, and opens the farm where it reads
    """

    def with_door(view: Page) -> Page:
        @functools.wraps(view)
        def enter(request: HttpRequest, farm: uuid.UUID, **named: Any) -> HttpResponse:
            if not isinstance(request.user, Person):
                return _to_sign_in(request)
            try:
                with fence.as_before(), transaction.atomic():
                    visit = _visit(request, request.user, farm, page=view.__name__)
                    if not visit.may(resource, verb):
                        return visit.show("web/refused.html", status=403)
                    if not acts:
                        return view(visit, **named)
            except NotThere:
                return render(request, "web/refused.html", {"missing": True}, status=404)
            return view(visit, **named)

        return enter

    return with_door


def _visit(request: HttpRequest, person: Person, farm: uuid.UUID, *, page: str) -> Visit:
    found, by = access.enter_as(person, farm)
    _speak(request, by)
    farms = list(queries.farms_of(person).order_by("name", "id"))
    return Visit(
        request=request, person=person, farm=found, by=by, now=timezone.now(), page=page, farms=farms
    )


def _to_sign_in(request: HttpRequest) -> HttpResponse:
    query = urlencode({"next": request.get_full_path()})
    return HttpResponseRedirect(f"{settings.LOGIN_URL}?{query}")


def _speak(request: HttpRequest, by: Actor) -> None:
    """Speak the language that was chosen on this phone, else the member's own."""
    if settings.LANGUAGE_COOKIE_NAME not in request.COOKIES:
        translation.activate(by.language)
        request.LANGUAGE_CODE = translation.get_language()  # type: ignore[attr-defined]
