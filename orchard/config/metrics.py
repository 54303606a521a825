"""`/metrics`: what an operator's Prometheus reads: the requests of this web server, and what waits in the
database, which is read when it is asked for.

With several web processes (`WEB_CONCURRENCY`) each keeps its counts in a file of one folder, and whichever
is asked adds them up; `gunicorn_settings` makes the folder.
"""

from __future__ import annotations

import os
from collections.abc import Iterator

from django.db import DatabaseError
from django.db.models import Count
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from prometheus_client import CollectorRegistry, exposition, multiprocess
from prometheus_client.core import GaugeMetricFamily
from prometheus_client.registry import Collector

from orchard.config import observing
from orchard.farms import fence, queries
from orchard.tasks.models import PlanningRun

FOLDER = "PROMETHEUS_MULTIPROC_DIR"


class Waiting(Collector):
    """How much waits for the background work, over all farms."""

    def collect(self) -> Iterator[GaugeMetricFamily]:
        try:
            with fence.opened(fence.EVERY_FARM):
                found = [*_outbox(), *_webhooks(), *_planning()]
        except DatabaseError:
            yield _gauge("orchard_database_up", "1 where the database answers", 0)
            return
        yield _gauge("orchard_database_up", "1 where the database answers", 1)
        yield from found


def _outbox() -> Iterator[GaugeMetricFamily]:
    lag = queries.outbox_lag(now=timezone.now())
    yield _gauge("orchard_outbox_waiting", "events still to be delivered", lag.waiting)
    yield _gauge("orchard_outbox_failing", "of them, events whose last try failed", lag.failing)
    yield _gauge("orchard_outbox_set_aside", "events set aside after too many tries", lag.set_aside)
    oldest = lag.oldest.total_seconds() if lag.oldest else 0
    yield _gauge("orchard_outbox_oldest_seconds", "age of the oldest event that waits [s]", oldest)
    jobs = GaugeMetricFamily(
        "orchard_jobs", "events of the outbox that are not done, by their kind", labels=("kind", "state")
    )
    for kind, state, count in queries.jobs_to_do():
        jobs.add_metric((kind, state), count)
    yield jobs


def _webhooks() -> Iterator[GaugeMetricFamily]:
    seen = queries.webhooks_lag()
    yield _gauge("orchard_webhook_deliveries_waiting", "deliveries on their way", seen.waiting)
    yield _gauge("orchard_webhook_deliveries_failing", "of them, those whose last try failed", seen.failing)
    yield _gauge("orchard_webhook_deliveries_failed", "deliveries that were given up", seen.failed)
    yield _gauge("orchard_webhooks_paused", "webhooks that we stopped sending to", seen.paused)


def _planning() -> Iterator[GaugeMetricFamily]:
    runs = GaugeMetricFamily("orchard_planning_runs", "planning runs by their status", labels=("status",))
    counts = PlanningRun.objects.values_list("status").annotate(Count("key")).order_by("status")
    for status, count in counts:
        runs.add_metric((status,), count)
    yield runs


def _gauge(name: str, says: str, value: float) -> GaugeMetricFamily:
    return GaugeMetricFamily(name, says, value=value)


def _registry() -> CollectorRegistry:
    """Return what is told: counts of all web processes, and what waits."""
    told = CollectorRegistry()
    told.register(Waiting())
    if FOLDER in os.environ:
        multiprocess.MultiProcessCollector(told)  # type: ignore[no-untyped-call]
    else:
        told.register(observing.REGISTRY)
    return told


def metrics(request: HttpRequest) -> HttpResponse:
    """Write the figures out as Prometheus reads them."""
    write, content_type = exposition.choose_encoder(request.headers.get("Accept", ""))
    return HttpResponse(write(_registry()), content_type=content_type)
