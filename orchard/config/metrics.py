"""`/metrics`: what an operator's Prometheus reads. Each collector reads the database when it is asked."""

from __future__ import annotations

from collections.abc import Iterator

from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from prometheus_client import CollectorRegistry, exposition
from prometheus_client.core import GaugeMetricFamily
from prometheus_client.registry import Collector

from orchard.farms import fence, queries


class Outbox(Collector):
    """How much waits for the background work, over all farms."""

    def collect(self) -> Iterator[GaugeMetricFamily]:
        try:
            with fence.opened(fence.EVERY_FARM):
                lag = queries.outbox_lag(now=timezone.now())
        except DatabaseError:
            yield _gauge("orchard_database_up", "1 where the database answers", 0)
            return
        yield _gauge("orchard_database_up", "1 where the database answers", 1)
        yield _gauge("orchard_outbox_waiting", "events still to be delivered", lag.waiting)
        yield _gauge("orchard_outbox_failing", "of them, events whose last try failed", lag.failing)
        yield _gauge("orchard_outbox_set_aside", "events set aside after too many tries", lag.set_aside)
        oldest = lag.oldest.total_seconds() if lag.oldest else 0
        yield _gauge("orchard_outbox_oldest_seconds", "age of the oldest event that waits [s]", oldest)


def _gauge(name: str, says: str, value: float) -> GaugeMetricFamily:
    return GaugeMetricFamily(name, says, value=value)


REGISTRY = CollectorRegistry()
REGISTRY.register(Outbox())


def metrics(request: HttpRequest) -> HttpResponse:
    """Write the figures out as Prometheus reads them."""
    write, content_type = exposition.choose_encoder(request.headers.get("Accept", ""))
    return HttpResponse(write(REGISTRY), content_type=content_type)
