"""The word from the database that an event was written, for those who relay the outbox.

The database says it when a transaction with events commits (a trigger on the table). It is only a wake-up:
who was not listening just then finds the event in the next sweep.
"""

from __future__ import annotations

import contextlib
import logging
import threading
from collections.abc import Callable

import psycopg
from django.db import connections
from psycopg import sql

from orchard.farms.outbox import CHANNEL

log = logging.getLogger(__name__)

AGAIN_SECONDS = 2.0
SLICE_SECONDS = 0.5


class Ear:
    """A connection of its own that listens; where there is none, time passes instead."""

    def __init__(self) -> None:
        self._connection: psycopg.Connection | None = None

    def wait(self, *, seconds: float, otherwise: Callable[[float], object]) -> bool:
        """Return True as soon as an event was written, False after so long.

        :param otherwise: waits in our place where the database does not answer
        """
        try:
            connection = self._listening()
            heard = any(True for _ in connection.notifies(timeout=seconds, stop_after=1))
            for _ in connection.notifies(timeout=0):
                pass  # of many words one is enough
            return heard
        except psycopg.Error as failure:
            log.warning("nobody tells of events in the outbox, they are looked for: %s", failure)
            self.close()
            otherwise(max(seconds, AGAIN_SECONDS))
            return False

    def _listening(self) -> psycopg.Connection:
        if self._connection is None:
            address = connections["default"].get_connection_params()
            self._connection = psycopg.connect(**address, autocommit=True)
            self._connection.execute(sql.SQL("LISTEN {}").format(sql.Identifier(CHANNEL)))
        return self._connection

    def close(self) -> None:
        """Stop listening."""
        if self._connection is not None:
            with contextlib.suppress(psycopg.Error):
                self._connection.close()
            self._connection = None


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
