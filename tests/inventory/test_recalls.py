"""A recall finds every container of its number, also one that comes in at that very moment."""

from __future__ import annotations

import threading
import time

import pytest
from django.db import connection, transaction
from django.utils import timezone

from orchard.farms.actors import SYSTEM
from orchard.inventory import services
from orchard.inventory.models import Lot
from tests.callers import Caller
from tests.factories import FarmFactory, amount
from tests.inventory.store import at_once, copper, fresh, lot

pytestmark = pytest.mark.django_db(transaction=True)

RECALL = {"condition": "recalled", "quarantine_reason": "maker's letter of 2 March"}


@pytest.fixture
def shed():
    """Return five pounds of copper in the shed, of a number that will be recalled."""
    return lot(copper(FarmFactory()), "5", number="C-1", location="shed")


def bought(shed):
    return services.add_lot(
        farm=shed.farm, product=shed.product, number="C-1", location="barn", by=SYSTEM, now=timezone.now()
    )


def brought(shed):
    return services.move(
        farm=shed.farm,
        kind="transfer",
        lot=shed,
        quantity=amount("2", "lb"),
        location="barn",
        reason="for Monday",
        by=SYSTEM,
        now=timezone.now(),
    )


def read_right(shed):
    """Find out that what stood in the book as C-7 is C-1."""
    misread = lot(shed.product, number="C-7", location="barn")
    services.hold_lots(shed.product)
    return services.change_lot(lot=fresh(misread), number="C-1", by=SYSTEM, now=timezone.now())


def somebody_waits_for_a_row():
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT EXISTS (SELECT FROM pg_stat_activity WHERE datname = current_database() "
            "AND wait_event_type = 'Lock')"
        )
        return cursor.fetchone()[0]


def while_open(first, second):
    """Do the first and, with its transaction still open, the second from a connection of its own."""
    answers = []

    def other():
        try:
            answers.append(second())
        finally:
            connection.close()

    thread = threading.Thread(target=other)
    with transaction.atomic():
        first()
        thread.start()
        until = time.monotonic() + 5
        while thread.is_alive() and not somebody_waits_for_a_row() and time.monotonic() < until:
            time.sleep(0.01)
    thread.join(10)
    return answers[0]


def deadlocks():
    with connection.cursor() as cursor:
        cursor.execute("SELECT deadlocks FROM pg_stat_database WHERE datname = current_database()")
        return cursor.fetchone()[0]


def set_aside(shed):
    rows = Lot.objects.for_farm(shed.farm).filter(number="C-1")
    return {row.location: (row.condition, row.quarantined) for row in rows}


@pytest.mark.parametrize("comes", [bought, brought, read_right])
def test_a_container_that_comes_in_while_its_number_is_recalled_is_set_aside(shed, comes):
    keeper = Caller(shed.farm, "storekeeper")

    told = while_open(lambda: comes(shed), lambda: keeper.patch(f"lots/{shed.id}", RECALL))

    assert told.status_code in (200, 412)  # 412: what the keeper read of the shed has changed since
    if told.status_code == 412:
        assert keeper.patch(f"lots/{shed.id}", RECALL).status_code == 200
    assert set_aside(shed) == {"shed": ("recalled", True), "barn": ("recalled", True)}


@pytest.mark.parametrize("comes", [bought, brought])
def test_a_container_that_comes_in_just_after_its_recall_finds_it(shed, comes):
    def recall():
        services.hold_lots(shed.product)
        services.change_lot(lot=fresh(shed), by=SYSTEM, now=timezone.now(), **RECALL)

    while_open(recall, lambda: comes(shed))

    assert set_aside(shed) == {"shed": ("recalled", True), "barn": ("recalled", True)}


def test_recalls_transfers_and_loads_of_one_lot_at_once_wait_in_no_circle(shed):
    van = lot(shed.product, "5", number="C-1", location="van")
    keepers = [Caller(shed.farm, "storekeeper") for _ in range(2)]
    there = {"kind": "transfer", "quantity": {"value": "1", "unit": "lb"}, "reason": "for Monday"}
    before = deadlocks()

    answers = at_once(
        *(
            doing
            for keeper in keepers
            for doing in (
                lambda keeper=keeper: keeper.patch(f"lots/{shed.id}", RECALL),
                lambda keeper=keeper: keeper.patch(f"lots/{van.id}", RECALL),
                lambda keeper=keeper: keeper.post(
                    "stock-movements", {**there, "lot": str(shed.id), "location": "van"}
                ),
                lambda keeper=keeper: keeper.post(
                    "stock-movements", {**there, "lot": str(van.id), "location": "shed"}
                ),
            )
        )
    )

    assert {answer.status_code for answer in answers} <= {200, 201, 412}
    assert deadlocks() == before
