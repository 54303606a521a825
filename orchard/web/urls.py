"""The addresses of the pages."""

from __future__ import annotations

from django.contrib.auth.views import LogoutView
from django.urls import path
from django.views.i18n import set_language

from orchard.web import offline, pages, signing_in
from orchard.web.crew import emergency, incident, sent, today, work
from orchard.web.office import block, filed, first_steps, hours, mix, people, plan, season, store

_FARM = "farms/<uuid:farm>"
_ORDER = f"{_FARM}/work/<uuid:order>"
urlpatterns = [
    path("", pages.start, name="start"),
    path("sign-in", signing_in.SignIn.as_view(), name="sign-in"),
    path("sign-out", LogoutView.as_view(), name="sign-out"),
    path("language", set_language, name="language"),
    path("readyz", pages.readyz),
    path("worker.js", offline.worker, name="worker"),
    path("site.webmanifest", offline.manifest, name="manifest"),
    path("offline", offline.without_signal, name="offline"),
    path("signed-out", offline.signed_out, name="signed-out"),
    path(f"{_FARM}/key", offline.key, name="key"),
    path(f"{_FARM}/today", today.today, name="today"),
    path(f"{_FARM}/sent", sent.sent, name="sent"),
    path(f"{_FARM}/incident", incident.incident, name="incident"),
    path(f"{_FARM}/emergency", emergency.emergency, name="emergency"),
    path(f"{_FARM}/season", season.season, name="season"),
    path(f"{_FARM}/season/<uuid:block>", block.block, name="block"),
    path(f"{_FARM}/plan", plan.plan, name="plan"),
    path(f"{_FARM}/plan/<uuid:order>/hours", hours.hours, name="hours"),
    path(f"{_FARM}/plan/<uuid:order>/<slug:move>", plan.decide, name="decide"),
    path(f"{_FARM}/mix", mix.mix, name="mix"),
    path(f"{_FARM}/store", store.store, name="store"),
    path(f"{_FARM}/store/questions/<uuid:shortage>", store.answer, name="answer"),
    path(f"{_FARM}/people", people.people, name="people"),
    path(f"{_FARM}/records", filed.filed, name="filed"),
    path(f"{_FARM}/first-steps", first_steps.first_steps, name="first-steps"),
    path(_ORDER, work.work, name="work"),
    path(f"{_ORDER}/<slug:action>", work.act, name="act"),
]
