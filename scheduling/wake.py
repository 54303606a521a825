"""The word from the database that an event was written, for those who relay the outbox.

The database says it when a transaction with events commits (a trigger on the table), to those who are asleep.
It is only a wake-up: what nobody heard of is found by the next sweep.
"""

from __future__ import annotations

import contextlib
import logging
import threading
from collections.abc import Callable

import psycopg
from django.db import connections
from psycopg import sql

from orchard.farms.outbox import ASLEEP, CHANNEL

log = logging.getLogger(__name__)

AGAIN_SECONDS = 2.0
SLICE_SECONDS = 0.5
SHORTEST_SECONDS = 0.02


class Ear:
    """A connection of its own that listens; where there is none, time passes instead.

    It is told of events only while it holds `ASLEEP`, which it lets go as soon as it has heard of one.
    """

    def __init__(self) -> None:
        self._connection: psycopg.Connection | None = None
        self._asleep = False
        self._awake_seconds = SHORTEST_SECONDS

    def wait(self, *, seconds: float, otherwise: Callable[[float], object]) -> bool:
        """Return True as soon as there may be an event, False after so long in which none was written.

        :param otherwise: waits in our place where the database does not answer
        """
        try:
            connection = self._listening()
            if not self._asleep:
                return self._fall_asleep(connection, seconds=seconds)
            if _hear(connection, seconds=seconds):
                connection.execute("SELECT pg_advisory_unlock(%s)", [ASLEEP])
                self._asleep = False
                return True
            return False
        except psycopg.Error as failure:
            log.warning("nobody tells of events in the outbox, they are looked for: %s", failure)
            self.close()
            otherwise(max(seconds, AGAIN_SECONDS))
            return False

    def _fall_asleep(self, connection: psycopg.Connection, *, seconds: float) -> bool:
        """Return True: what was written before we slept is told by nobody, so it must be looked for.

        While somebody writes, or another one sleeps, we cannot, and look again after a while.
        """
        told = connection.execute("SELECT pg_try_advisory_lock(%s)", [ASLEEP]).fetchone()
        assert told is not None
        self._asleep = told[0]
        if self._asleep:
            self._awake_seconds = SHORTEST_SECONDS
        else:
            _hear(connection, seconds=min(seconds, self._awake_seconds))
            self._awake_seconds = min(2 * self._awake_seconds, SLICE_SECONDS)
        return True

    def _listening(self) -> psycopg.Connection:
        if self._connection is None:
            address = connections["default"].get_connection_params()
            self._connection = psycopg.connect(**address, autocommit=True)
            self._connection.execute(sql.SQL("LISTEN {}").format(sql.Identifier(CHANNEL)))
        return self._connection

    def close(self) -> None:
        """Stop listening."""
        self._asleep = False
        if self._connection is not None:
            with contextlib.suppress(psycopg.Error):
                self._connection.close()
            self._connection = None


def _hear(connection: psycopg.Connection, *, seconds: float) -> bool:
    heard = any(True for _ in connection.notifies(timeout=seconds, stop_after=1))
    for _ in connection.notifies(timeout=0):
        pass  # of many words one is enough
    return heard


def listen(*, relay: Callable[[], int], stopped: threading.Event) -> None:
    """Relay whenever an event was written, until stopped. The timer sweeps up what this does not hear of."""
    ear = Ear()
    while not stopped.is_set():
        if ear.wait(seconds=SLICE_SECONDS, otherwise=stopped.wait):
            try:
                while relay():
                    pass
            except Exception:
                log.exception("the outbox could not be relayed, the timer will")
                connections.close_all()
    ear.close()
