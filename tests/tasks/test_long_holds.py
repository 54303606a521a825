"""What is reserved for an order that is held for weeks goes back to the store."""

from __future__ import annotations

import datetime as dt

import pytest
from django.utils import timezone

from orchard.farms.models import AuditEntry
from orchard.inventory.models import Reservation
from orchard.tasks.models import WorkOrder
from orchard.tasks.services import holds
from scheduling import jobs
from tests.callers import Caller
from tests.inventory.store import fresh
from tests.tasks.lowbell import lowbell
from tests.tasks.test_work_orders import made

pytestmark = pytest.mark.django_db

FORTNIGHT = dt.timedelta(days=14)


@pytest.fixture
def farm():
    return lowbell(now=timezone.now())


@pytest.fixture
def manager(farm):
    return Caller(farm.farm, "manager")


@pytest.fixture
def held(manager, farm):
    path = made(manager, farm)
    assert manager.act(path, "issue").status_code == 200
    assert manager.act(path, "hold", {"reason": "rain"}).status_code == 200
    return path


def open_():
    return Reservation.objects.filter(status="open")


def released(now):
    return holds.release_long_held(longest=FORTNIGHT, now=now)


def test_a_short_hold_keeps_what_is_reserved(held):
    assert released(timezone.now() + dt.timedelta(days=13)) == 0
    assert open_().exists()


def test_a_long_hold_gives_it_back_once_and_says_so(held):
    now = timezone.now() + dt.timedelta(days=15)

    assert released(now) == 1
    assert released(now) == 0
    assert not open_().exists()
    assert {row.lot.reserved_base for row in Reservation.objects.all()} == {0}
    entry = AuditEntry.objects.get(action="release_stock")
    assert (entry.by_kind, "more than 14 days" in entry.reason) == ("system", True)


def test_an_order_that_goes_on_keeps_its_stock(held, manager):
    manager.act(held, "resume")

    assert released(timezone.now() + dt.timedelta(days=15)) == 0
    assert open_().exists()


def test_who_goes_on_after_a_long_hold_has_it_reserved_again(held, manager):
    before = sorted((row.lot.id, row.quantity_base) for row in open_())
    released(timezone.now() + dt.timedelta(days=15))
    WorkOrder.objects.update(updated_at=timezone.now())

    assert manager.act(held, "resume").status_code == 200

    assert sorted((row.lot.id, row.quantity_base) for row in open_()) == before


def test_who_goes_on_when_others_have_taken_it_is_told_and_not_stopped(held, manager):
    released(timezone.now() + dt.timedelta(days=15))
    for row in Reservation.objects.all():
        lot = fresh(row.lot)
        lot.quarantined, lot.quarantine_reason = True, "wet"
        lot.save()

    assert manager.act(held, "resume").status_code == 200

    assert not open_().exists()
    assert "is short by" in AuditEntry.objects.get(action="resume").reason


def test_a_job_looks_for_long_holds(held, settings):
    settings.HOLD_KEEPS_STOCK_DAYS = 0
    WorkOrder.objects.update(updated_at=timezone.now() - dt.timedelta(minutes=1))

    assert jobs.free_long_held.apply().get() == 1
