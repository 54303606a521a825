"""What is noticed of each request: its id, one line in the log, and its place in the figures."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from typing import Any

from django.http import HttpRequest
from django.http.response import HttpResponseBase
from prometheus_client import CollectorRegistry, Counter, Histogram

from orchard.farms import request_ids

log = logging.getLogger("orchard.requests")

METHODS = frozenset({"GET", "HEAD", "OPTIONS", "POST", "PUT", "PATCH", "DELETE"})
OTHER = "other"
REGISTRY = CollectorRegistry()
REQUESTS = Counter(
    "orchard_requests",
    "requests that were answered",
    ("method", "route", "status"),
    registry=REGISTRY,
)
SECONDS = Histogram(
    "orchard_request_seconds",
    "time to a request's answer [s]; a reader of the change feed may wait 30 s by its own wish",
    ("method", "route"),
    buckets=(0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10, 30),
    registry=REGISTRY,
)


def observed(answer: Callable[[HttpRequest], HttpResponseBase]) -> Callable[[HttpRequest], HttpResponseBase]:
    """Give each request its id, and write down how it was answered (middleware, the outermost)."""

    def observe(request: HttpRequest) -> HttpResponseBase:
        began = time.perf_counter()
        with request_ids.request(request.headers.get(request_ids.HEADER)) as id:
            response = answer(request)
            response[request_ids.HEADER] = id
            _note(request, response, seconds=time.perf_counter() - began)
            return response

    return observe


def _note(request: HttpRequest, response: HttpResponseBase, *, seconds: float) -> None:
    method = request.method if request.method in METHODS else OTHER
    route, named = _route(request)
    REQUESTS.labels(method, route, str(response.status_code)).inc()
    SECONDS.labels(method, route).observe(seconds)
    said = {"method": method, "route": route, "status": response.status_code, "ms": round(seconds * 1000, 1)}
    log.info("answered", extra={**said, "farm": named.get("farm")})


def _route(request: HttpRequest) -> tuple[str, dict[str, Any]]:
    """Return the pattern that an address fits, and what it names; `other` where it fits none."""
    found = request.resolver_match
    if found is None or found.route is None or "^" in found.route:
        return OTHER, {}
    return "/" + found.route, found.kwargs
