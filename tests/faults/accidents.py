"""What goes wrong, and when: each kind of accident in turn, at moments that the seed chooses."""

from __future__ import annotations

import random
import threading
import time
import uuid
from collections import Counter

import psycopg
import redis
from django.db import DatabaseError, connection
from kombu.exceptions import OperationalError

from orchard.farms.models import OutboxEvent
from scheduling.celery import app
from tests.faults.servers import Servers

KINDS = (
    "worker killed",
    "web killed",
    "redis killed",
    "database restarted",
    "redis flushed",
    "job killed in the worker",
    "requests killed in the web server",
)
LOADS_AN_ACCIDENT = 200
"""After so many loads on average; a short run has every kind once all the same."""
SOONEST_SECONDS = 1.5
"""Between two accidents, so that a server that was killed can be started again."""
LOOK_BACK = 1000
"""So many numbers of events are looked at again; few transactions are open for longer."""


class Accidents:
    """Lets servers fail as loads come in."""

    def __init__(self, servers: Servers, *, loads: int, number: int | None, chance: random.Random) -> None:
        number = number or max(len(KINDS), loads // LOADS_AN_ACCIDENT)
        deck: list[str] = []
        while len(deck) < number:
            deck += chance.sample(KINDS, len(KINDS))
        moments = sorted(chance.uniform(0, loads * 0.95) for _ in range(number))
        self._ahead = list(zip(moments, deck[:number], strict=True))
        self._servers, self._last = servers, 0.0
        self.happened: Counter[str] = Counter()

    def happen(self, taken: int) -> None:
        """Let the next accident happen where so many loads were taken, and start again what was killed."""
        soon = time.monotonic() - self._last < SOONEST_SECONDS
        if self._ahead and taken >= self._ahead[0][0] and not soon and self._servers.web_answers():
            self._let_happen(self._ahead.pop(0)[1])
            self._last = time.monotonic()
        self._servers.tend()

    def _let_happen(self, kind: str) -> None:
        match kind:
            case "worker killed":
                self._servers.kill("worker")
            case "web killed":
                self._servers.kill("web")
            case "redis killed":
                self._servers.kill("redis")
            case "job killed in the worker":
                self._servers.kill_one_child("worker")
            case "requests killed in the web server":
                self._servers.kill_one_child("web")
            case "database restarted":
                self._servers.restart_database()
            case "redis flushed":
                try:
                    self._servers.flush_redis()
                except redis.RedisError:
                    return  # it is down just now, and has forgotten everything by that
        self.happened[kind] += 1


class Echo(threading.Thread):
    """Sends every delivery once more, so that each reaches the workers at least twice."""

    def __init__(self, servers: Servers) -> None:
        super().__init__(name="echo", daemon=True)
        self._servers, self._stopped = servers, threading.Event()
        self.sent: set[uuid.UUID] = set()
        self._seen, self._look_at_all = 0, threading.Event()
        app.conf.broker_url = servers.redis_url
        app.conf.task_always_eager = False

    def run(self) -> None:
        while not self._stopped.wait(0.2):
            try:
                self._repeat()
            except (DatabaseError, psycopg.Error, OperationalError, redis.RedisError, OSError):
                connection.close()
        connection.close()

    def _repeat(self) -> None:
        """Send what is new; a number may be given long before its row is committed, so look back a little."""
        of_all = self._look_at_all.is_set()
        since = 0 if of_all else self._seen - LOOK_BACK
        events = OutboxEvent.objects.filter(seq__gt=since).order_by("seq", "id")
        for id, seq in events.values_list("id", "seq"):
            if id not in self.sent:
                app.send_task("scheduling.deliver", args=(str(id),), retry=False)
                self.sent.add(id)
            self._seen = max(self._seen, seq)
        if of_all:
            self._look_at_all.clear()

    def look_at_all(self) -> None:
        """Send also what was committed so late that its number had long been passed."""
        self._look_at_all.set()

    def stop(self) -> None:
        """Stop sending."""
        self._stopped.set()
        self.join()
