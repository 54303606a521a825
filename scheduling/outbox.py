"""The relay between what was written and what follows from it: at least once sent, exactly once done.

An event is sent and sent again until `processed_at` says that its effect is committed; both are written in
one transaction. While that runs it holds the event's row, and everybody else passes a row that is held, so a
second message does nothing and a worker that is killed lets go of it. What holds no row and is not done
becomes due again at `next_at`. Starts are counted before the work begins, so that an event which kills its
worker is set aside in the end as well.
"""

from __future__ import annotations

import datetime as dt
import logging
import uuid
from collections.abc import Callable

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from orchard.farms.models import OutboxEvent
from scheduling import work

log = logging.getLogger(__name__)

BATCH = 100
MOST_STARTS = 12
FIRST_PAUSE, LONGEST_PAUSE = dt.timedelta(seconds=1), dt.timedelta(minutes=5)
SOONEST_AGAIN = dt.timedelta(seconds=5)
"""How long a message may wait for a worker before it is sent again, at first."""
LONGEST_WORDS = 2000

Send = Callable[[uuid.UUID], None]
"""Brings the id of an event to whoever will call `deliver` with it."""


def relay(*, send: Send, now: dt.datetime, most: int = BATCH) -> int:
    """Send what is due, oldest first; return how many. Any number of relays may run side by side.

    What cannot be sent, since there is no broker just now, is due again a little later.
    """
    ids = claim(now=now, most=most)
    for id in ids:
        send(id)
    return len(ids)


def claim(*, now: dt.datetime, most: int = BATCH) -> list[uuid.UUID]:
    """Return the ids of events that are due, in their order; for a while nobody else gets them.

    The longer an event waits the rarer it is sent again, so that a queue nobody works on grows slowly.
    """
    with transaction.atomic():
        due = _waiting().filter(next_at__lte=now).order_by("seq", "id")
        found = list(due.select_for_update(skip_locked=True)[:most])
        for event in found:
            event.next_at = now + min(max(now - event.created_at, SOONEST_AGAIN), LONGEST_PAUSE)
        OutboxEvent.objects.bulk_update(found, ["next_at"])
    return [event.id for event in found]


def deliver(id: uuid.UUID, *, now: dt.datetime) -> bool:
    """Do what an event asks for and mark it as done, in one transaction. Return whether this call did it.

    A failure is written down with its pause until the next start; it is never raised.
    """
    if not _start(id, now=now):
        return False
    try:
        with transaction.atomic():
            event = _held(id)
            if event is None:
                return False
            work.do(event, now=now)
            event.processed_at, event.last_error = now, None
            event.save(update_fields=["processed_at", "last_error"])
            return True
    except Exception as failure:
        log.exception("the work for outbox event %s failed", id)
        _failed(id, failure, now=now)
        return False


def drain(*, now: dt.datetime | None = None) -> int:
    """Do all that is due, here and now, until nothing is; return how many events were done."""
    done = 0
    while ids := claim(now=now or timezone.now()):
        done += sum(deliver(id, now=now or timezone.now()) for id in ids)
    return done


def take_up_again(*, now: dt.datetime) -> int:
    """Make due again, with all its starts, what was set aside; return how many events."""
    rows = OutboxEvent.objects.filter(processed_at=None).exclude(set_aside_at=None)
    return rows.update(set_aside_at=None, attempts=0, next_at=now)


def pause(starts: int) -> dt.timedelta:
    """Return how long to wait after so many starts: twice as long each time, five minutes at most."""
    doubled: dt.timedelta = FIRST_PAUSE * 2 ** min(starts - 1, 30)
    return min(doubled, LONGEST_PAUSE)


def _waiting() -> QuerySet[OutboxEvent]:
    return OutboxEvent.objects.filter(processed_at=None, set_aside_at=None)


def _held(id: uuid.UUID) -> OutboxEvent | None:
    """Return a waiting event with its row held; None where it is done, set aside, or held by another."""
    rows = _waiting().filter(id=id).select_related("farm")
    return rows.select_for_update(skip_locked=True, of=("self",), no_key=True).first()


def _start(id: uuid.UUID, *, now: dt.datetime) -> bool:
    with transaction.atomic():
        event = _held(id)
        if event is None:
            return False
        if event.attempts >= MOST_STARTS:
            event.last_error = event.last_error or "its worker ended each time before it was done"
            _set_aside(event, now=now)
        else:
            event.attempts += 1
            event.next_at = now + pause(event.attempts)
        event.save(update_fields=["attempts", "next_at", "set_aside_at", "last_error"])
        return event.set_aside_at is None


def _failed(id: uuid.UUID, failure: Exception, *, now: dt.datetime) -> None:
    with transaction.atomic():
        event = _held(id)
        if event is None:
            return
        event.last_error = f"{type(failure).__name__}: {failure}".replace("\x00", "")[:LONGEST_WORDS]
        event.next_at = now + pause(event.attempts)
        if event.attempts >= MOST_STARTS:
            _set_aside(event, now=now)
        event.save(update_fields=["last_error", "next_at", "set_aside_at"])


def _set_aside(event: OutboxEvent, *, now: dt.datetime) -> None:
    log.error("outbox event %s (%s) is set aside: %s", event.id, event.kind, event.last_error)
    event.set_aside_at = now
    try:
        with transaction.atomic():
            work.give_up(event, now=now)
    except Exception:
        log.exception("nobody could be told that outbox event %s was set aside", event.id)
