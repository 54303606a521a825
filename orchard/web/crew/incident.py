"""Telling of a danger or an accident: anybody, from anywhere, at once, with as little as place and kind."""

from __future__ import annotations

import uuid
from typing import Any

from django.http import HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.translation import gettext as _
from uuid6 import uuid7

from orchard.web import acting, fields
from orchard.web.crew.work import Form
from orchard.web.doors import Visit, farm_page
from orchard.web.fields import Field


@farm_page("incident", "create", acts=True)
def incident(visit: Visit) -> HttpResponse:
    """Ask what happened, and pass it on."""
    request = visit.request
    if request.method != "POST":
        told = {"work_order": _known_id(request.GET.get("order", ""))}
        return _page(visit, fields.typed(_fields(), told), wrong=[], key=str(uuid7()))
    headers = {"Idempotency-Key": request.POST.get("key") or str(uuid7())}
    path = f"{visit.farm.path}/incidents"
    answer = acting.call(request, path, acting.body_of(request.POST), headers=headers)
    if answer.status_code < 400:
        return HttpResponseRedirect(reverse("incident", args=[visit.farm.id]) + "?told=1")
    typed = fields.typed(_fields(), request.POST.dict())
    known, wrong = fields.judged(typed, acting.problem(answer)["errors"])
    key = request.POST.get("key", "")
    return _page(visit, known, wrong=fields.on_top(known, wrong), key=key, status=answer.status_code)


def _known_id(text: str) -> str:
    try:
        return str(uuid.UUID(text))
    except ValueError:
        return ""


def _fields() -> list[Field]:
    kinds = (
        ("", _("Choose")),
        ("injury", _("Somebody is hurt")),
        ("exposure", _("Spray on a person, in eyes or mouth")),
        ("spill", _("Spilled")),
        ("drift", _("Spray drifted where it should not")),
        ("plant_damage", _("Trees or plants harmed")),
        ("equipment", _("Sprayer or machine broken")),
        ("other", _("Something else")),
    )
    return [
        Field("id", kind="hidden"),
        Field("at", kind="hidden", now=True),
        Field("work_order", kind="hidden"),
        Field("kind", _("What is it?"), "choice", choices=kinds, required=True),
        Field("place", _("Where?"), required=True),
        Field("what", _("What happened?"), "long"),
        Field("done_about_it", _("What was done about it?"), "long"),
    ]


def _page(visit: Visit, known: list[Field], *, wrong: list[str], key: str, status: int = 200) -> HttpResponse:
    shown: dict[str, Any] = {"form": Form("incident", known, [], wrong, key)}
    return visit.show("web/crew/incident.html", status=status, told="told" in visit.request.GET, **shown)
