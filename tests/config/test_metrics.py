"""The figures that an operator's Prometheus reads."""

import datetime as dt

import pytest
from django.utils import timezone
from prometheus_client.parser import text_string_to_metric_families

from orchard.farms import journal
from orchard.farms.actors import SYSTEM
from orchard.farms.models import OutboxEvent, Webhook, WebhookDelivery
from tests.callers import Caller
from tests.factories import FarmFactory

pytestmark = pytest.mark.django_db


def figures(client):
    text = client.get("/metrics").content.decode()
    return {
        (sample.name, *sorted(sample.labels.items())): sample.value
        for family in text_string_to_metric_families(text)
        for sample in family.samples
    }


def test_requests_are_counted_by_route_and_never_by_address(client):
    owner = Caller(FarmFactory(), "owner")
    of_blocks = (("method", "GET"), ("route", "/api/v1/farms/<uuid:farm>/blocks"))
    counted = ("orchard_requests_total", *of_blocks, ("status", "200"))
    timed = ("orchard_request_seconds_count", *of_blocks)
    before = figures(client)

    owner.get("blocks")
    owner.get("blocks?limit=3")
    client.generic("BREW", "/api/v1/nowhere/at/all")
    after = figures(client)

    assert after[counted] - before.get(counted, 0) == 2
    assert after[timed] - before.get(timed, 0) == 2
    assert not any("nowhere" in str(key) or "BREW" in str(key) for key in after)
    assert not any(str(owner.farm.id) in str(key) for key in after)


def test_work_that_waits_and_webhooks_that_fail_are_told(client):
    farm, now = FarmFactory(), timezone.now()
    hook = journal.create(Webhook, farm=farm, by=SYSTEM, now=now, url="https://a.example", events=["*"],
                          secret="x", paused_because="gone")  # fmt: skip
    for state, error in (("waiting", None), ("waiting", "no answer"), ("failed", "no answer")):
        kind = "work_order.issued"
        event = journal.later(kind, farm=farm, subject=farm.id, by=SYSTEM, now=now)
        WebhookDelivery.objects.create(
            farm=farm, created_at=now, updated_at=now, created_by_kind="system", webhook=hook, event=event,
            kind=kind, subject=farm.id, seq=1, request_body={}, state=state, error=error, next_at=now,
        )  # fmt: skip
    OutboxEvent.objects.filter(id=event).update(set_aside_at=now - dt.timedelta(hours=1))

    seen = figures(client)

    assert seen["orchard_webhook_deliveries_waiting",] == 2
    assert seen["orchard_webhook_deliveries_failing",] == 1
    assert seen["orchard_webhook_deliveries_failed",] == 1
    assert seen["orchard_webhooks_paused",] == 1
    kind = ("kind", "work_order.issued")
    assert seen["orchard_jobs", kind, ("state", "waiting")] == 2
    assert seen["orchard_jobs", kind, ("state", "set_aside")] == 1
