"""The relay between what was written and what follows from it: at least once sent, exactly once done.

An event is sent and sent again until `processed_at` says that its effect is committed; both are written in
one transaction. While that runs it holds the event's row, and everybody else passes a row that is held, so a
second message does nothing and a worker that is killed lets go of it. What holds no row and is not done
becomes due again at `next_at`. Starts are counted before the work begins, so that an event which kills its
worker is set aside in the end as well.

A farm's events are done in the order of their transactions, as its change feed has them, one after the other:
a message that comes before its turn does nothing, and whoever does the one before goes on with the next. What
fails lets the others pass from then on. `work.BESIDE` names what takes long and has no place in that order.
"""

from __future__ import annotations

import datetime as dt
import enum
import logging
import time
import uuid
from collections.abc import Callable

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone

from orchard.farms import request_ids
from orchard.farms.models import OutboxEvent
from scheduling import planning, turns, work

log = logging.getLogger(__name__)

BATCH = 100
MOST_IN_TURN = 200
"""So many events one message is followed by; then a message of their own brings the rest to any worker."""

Send = Callable[[uuid.UUID], None]
"""Brings the id of an event to whoever will call `deliver` with it."""


class Came(enum.Enum):
    """What came of a try to deliver."""

    DONE = enum.auto()
    FAILED = enum.auto()
    TOO_SOON = enum.auto()
    """An earlier event of the farm stands before it."""
    NOT_OURS = enum.auto()
    """It is done, set aside, or held by another."""


def relay(*, send: Send, now: dt.datetime, most: int = BATCH, beside: bool | None = None) -> int:
    """Send what is due, oldest first; return how many. Any number of relays may run side by side.

    What cannot be sent, since there is no broker just now, is due again a little later.

    :param beside: True for what takes long and nothing else, False for all but that
    """
    ids = claim(now=now, most=most, beside=beside)
    for id in ids:
        send(id)
    return len(ids)


def claim(*, now: dt.datetime, most: int = BATCH, beside: bool | None = None) -> list[uuid.UUID]:
    """Return the ids of events that are due, in their order; for a while nobody else gets them.

    Of what stands in line only the first of each farm: the others would come too soon, and the more often
    that happened the longer they would wait to be sent again once their turn had come.
    """
    with transaction.atomic():
        is_due = Q(next_at__lte=now) | Q(next_at__gt=turns.too_far(now=now))
        due = _waiting().filter(is_due).filter(_may_go()).order_by("seq", "id")
        if beside is not None:
            due = due.filter(kind__in=work.BESIDE) if beside else due.exclude(kind__in=work.BESIDE)
        found = list(due.select_for_update(skip_locked=True)[:most])
        for event in found:
            turns.sent(event, now=now)
        OutboxEvent.objects.bulk_update(found, ["next_at", "sent"])
    return [event.id for event in found]


def deliver(id: uuid.UUID, *, now: dt.datetime) -> bool:
    """Do what an event asks for and mark it as done, in one transaction. Return whether this call did it.

    A failure is written down with its pause until the next start; it is never raised.
    """
    return _try(id, now=now) is Came.DONE


def deliver_in_turn(id: uuid.UUID, *, send: Send, clock: Callable[[], dt.datetime] = timezone.now) -> int:
    """Deliver an event, and after it those of its farm that had to wait for it; return how many were done."""
    done, next_ = 0, id
    for _ in range(MOST_IN_TURN):
        came = _try(next_, now=clock())
        done += came is Came.DONE
        following = _next_in_turn(next_) if came in (Came.DONE, Came.FAILED) else None
        if following is None:
            return done
        next_ = following
    send(next_)
    return done


def drain(*, now: dt.datetime | None = None) -> int:
    """Do all that is due, here and now, until nothing is; return how many events were done."""
    done = 0
    while ids := claim(now=now or timezone.now()):
        done += sum(deliver(id, now=now or timezone.now()) for id in ids)
    return done


def _try(id: uuid.UUID, *, now: dt.datetime) -> Came:
    began = time.perf_counter()
    with request_ids.follows(None):  # until the event says which request asked for it
        started = _start(id, now=now)
        if isinstance(started, Came):
            return started
        came = _work(started, now=now)
        said = {"kind": started.kind, "farm": started.farm.id, "status": came.name.lower()}
        log.info("tried", extra={**said, "ms": round((time.perf_counter() - began) * 1000, 1)})
        return came


def _work(started: OutboxEvent, *, now: dt.datetime) -> Came:
    """Do the work of an event that was started, and mark it as done in the same transaction."""
    id = started.id
    try:
        long = work.LONG.get(started.kind)
        finish = None if long is None else long(started, now)
        with transaction.atomic():
            event = _held(id)
            if event is None:
                return Came.NOT_OURS
            if finish is None:
                event.no_job = not work.do(event, now=now)
            else:
                finish()
            turns.done(event, now=now)
            event.save(update_fields=["processed_at", "last_error", "no_job"])
            return Came.DONE
    except planning.Later as later:
        _later(id, at=later.at)
        return Came.TOO_SOON
    except planning.Lost:
        return Came.NOT_OURS
    except Exception as failure:
        log.exception("the work for outbox event %s failed", id)
        _failed(id, failure, now=now)
        return Came.FAILED


def _waiting() -> QuerySet[OutboxEvent]:
    return OutboxEvent.objects.filter(processed_at=None, set_aside_at=None)


def _may_go() -> Q:
    """Return which waiting events need not stand in line, or are the first in it."""
    untried = Q(last_error=None, attempts__lt=turns.WAITED_FOR)
    line = _waiting().exclude(kind__in=work.BESIDE).filter(untried)
    first = line.order_by("farm_id", "seq", "id").distinct("farm_id").values("id")
    return Q(kind__in=work.BESIDE) | ~untried | Q(id__in=first)


def _held(id: uuid.UUID) -> OutboxEvent | None:
    """Return a waiting event with its row held; None where it is done, set aside, or held by another."""
    rows = _waiting().filter(id=id).select_related("farm")
    return rows.select_for_update(skip_locked=True, of=("self",), no_key=True).first()


def _in_order(event: OutboxEvent) -> QuerySet[OutboxEvent]:
    """Return the events of its farm, done or not done, that are done one after the other."""
    return OutboxEvent.objects.for_farm(event.farm).exclude(kind__in=work.BESIDE)


def _stands_before(event: OutboxEvent) -> bool:
    """Return whether an earlier event of the farm must have its try first: `turns.holds_up`, in SQL."""
    if event.kind in work.BESIDE:
        return False
    earlier = Q(seq__lt=event.seq) | Q(seq=event.seq, id__lt=event.id)
    untried = Q(processed_at=None, set_aside_at=None, last_error=None, attempts__lt=turns.WAITED_FOR)
    return _in_order(event).filter(earlier, untried).exists()


def _next_in_turn(id: uuid.UUID) -> uuid.UUID | None:
    """Return the earliest event of the same farm that was never started; None where there is none."""
    event = OutboxEvent.objects.select_related("farm").get(id=id)
    if event.kind in work.BESIDE:
        return None
    untried = _in_order(event).filter(processed_at=None, set_aside_at=None, attempts=0)
    return untried.order_by("seq", "id").values_list("id", flat=True).first()


def _start(id: uuid.UUID, *, now: dt.datetime) -> Came | OutboxEvent:
    """Count a start and return the event; else why there is none."""
    with transaction.atomic():
        event = _held(id)
        if event is None:
            return Came.NOT_OURS
        request_ids.current.set(event.by.get("request_id"))
        if _stands_before(event):
            return Came.TOO_SOON
        may_start = turns.started(event, now=now)
        if not may_start:
            _tell_set_aside(event, now=now)
        elif event.kind in work.LONG:
            event.next_at = now + work.LONG_LASTS  # its row is not held meanwhile
        event.save(update_fields=["attempts", "next_at", "set_aside_at", "last_error"])
        return event if may_start else Came.FAILED


def _later(id: uuid.UUID, *, at: dt.datetime) -> None:
    """Let an event wait that could not begin: that was no start."""
    with transaction.atomic():
        event = _held(id)
        if event is not None:
            event.attempts -= 1
            event.next_at = at
            event.save(update_fields=["attempts", "next_at"])


def _failed(id: uuid.UUID, failure: Exception, *, now: dt.datetime) -> None:
    with transaction.atomic():
        event = _held(id)
        if event is None:
            return
        turns.failed(event, failure, now=now)
        if event.set_aside_at is not None:
            _tell_set_aside(event, now=now)
        event.save(update_fields=["last_error", "next_at", "set_aside_at"])


def _tell_set_aside(event: OutboxEvent, *, now: dt.datetime) -> None:
    log.error("outbox event %s (%s) is set aside: %s", event.id, event.kind, event.last_error)
    try:
        with transaction.atomic():
            work.give_up(event, now=now)
    except Exception:
        log.exception("nobody could be told that outbox event %s was set aside", event.id)
