"""The few pages that stand before the crew and office pages: where to begin, signing in, and readiness."""

from __future__ import annotations

import datetime as dt
import socket
from urllib.parse import urlsplit

from django.conf import settings
from django.db import DatabaseError, connection
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils import timezone

from orchard.farms import fence, queries
from orchard.farms.models import Person

LATE = dt.timedelta(minutes=5)
NO_ANSWER = "no answer"


def start(request: HttpRequest) -> HttpResponse:
    """Say what is here, and to whom it is open."""
    person = request.user if isinstance(request.user, Person) else None
    farms = list(queries.farms_of(person)) if person else []
    return render(request, "web/start.html", {"person": person, "farms": farms})


def readyz(request: HttpRequest) -> JsonResponse:
    """Say whether the database answers, what carries background work, and how far the outbox lags.

    What was set aside in the outbox is told and does not make it unready: requests are answered as before,
    and what helps is a person who looks (`/admin/`, `manage.py replay_outbox`), not another process.
    """
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
        with fence.opened(fence.EVERY_FARM):
            waiting = queries.outbox_lag(now=timezone.now())
        database = "ok"
    except DatabaseError:
        waiting, database = None, NO_ANSWER
    late = waiting is not None and waiting.oldest is not None and waiting.oldest > LATE
    outbox = (
        {"waiting": waiting.waiting, "set_aside": waiting.set_aside, "oldest_s": waiting.oldest_seconds}
        if waiting
        else None
    )
    broker = broker_answers(settings.REDIS_URL)
    ready = database == "ok" and broker != NO_ANSWER and not late
    body = {"database": database, "broker": broker, "outbox": outbox}
    return JsonResponse({"ready": ready, **body}, status=200 if ready else 503)


def broker_answers(url: str) -> str:
    """Return `ok` or `no answer` of the broker at a URL; without one, that jobs run in the process.

    A connection is all that is asked for: the web process itself needs no broker.
    """
    if not url:
        return "none: in the process"
    at = urlsplit(url)
    try:
        with socket.create_connection((at.hostname or "localhost", at.port or 6379), timeout=1):
            return "ok"
    except OSError:
        return NO_ANSWER
