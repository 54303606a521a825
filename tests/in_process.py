"""The application as a web server calls it, inside a transaction that a test keeps open."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from django.core import signals
from django.core.handlers.wsgi import WSGIHandler
from django.db import close_old_connections

from tests import database


def application() -> Callable[..., Iterable[bytes]]:
    """Return the WSGI application, whose answers are whole when it returns."""
    handler = WSGIHandler()

    def answered(environ: Any, start: Any) -> list[bytes]:
        for moment in (signals.request_started, signals.request_finished):
            moment.disconnect(close_old_connections)  # it would end the transaction that is kept open
        answer = handler(environ, start)
        try:
            return list(answer)
        finally:
            answer.close()

    return database.with_no_farm_open(answered)
