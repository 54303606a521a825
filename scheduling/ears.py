"""Each worker listens for events in a thread of its own, so that they are sent at once."""

from __future__ import annotations

import threading

from celery.signals import worker_ready, worker_shutting_down
from django.utils import timezone

from scheduling import jobs, outbox, wake

_stopped = threading.Event()


def _relay() -> int:
    return outbox.relay(send=jobs.send, now=timezone.now())


@worker_ready.connect
def open_ears(**_: object) -> None:
    """Begin to listen, in the process that hands out the jobs."""
    threading.Thread(
        target=wake.listen, kwargs={"relay": _relay, "stopped": _stopped}, name="outbox", daemon=True
    ).start()


@worker_shutting_down.connect
def close_ears(**_: object) -> None:
    """Stop listening."""
    _stopped.set()
