"""What becomes of an event of the outbox: when it is sent, started, tried again, set aside. No database here.

`outbox` calls these on rows that it holds. They read and set the columns of an event and nothing else, so
that the simulation in `tests/faults` can put them through far more accidents than a database could bear.
"""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Protocol

MOST_STARTS = 12
WAITED_FOR = 3
"""So many starts others of the farm wait for it: what ends its worker each time holds nobody up for long."""
FIRST_PAUSE, LONGEST_PAUSE = dt.timedelta(seconds=1), dt.timedelta(minutes=5)
SOONEST_AGAIN = dt.timedelta(seconds=5)
"""How long a message may wait for a worker before it is sent again, at first."""
LONGEST_WORDS = 2000


class Event(Protocol):
    """The columns that the course of an event depends on."""

    id: uuid.UUID
    seq: int
    kind: str
    sent: int
    attempts: int
    next_at: dt.datetime
    last_error: str | None
    processed_at: dt.datetime | None
    set_aside_at: dt.datetime | None


def sent(event: Event, *, now: dt.datetime) -> None:
    """Count that it was sent, and let it be due again later: the rarer the more often it was sent.

    The count tells how long it has waited, where clocks that differ by hours would not.
    """
    event.sent += 1
    event.next_at = now + min(SOONEST_AGAIN * 2 ** min(max(event.sent - 2, 0), 30), LONGEST_PAUSE)


def too_far(*, now: dt.datetime) -> dt.datetime:
    """Return the moment after which no event can be due: one that is was written by a clock that was ahead.

    It is due at once, or it would wait for hours once that clock is set right.
    """
    return now + LONGEST_PAUSE


def due(event: Event, *, now: dt.datetime) -> bool:
    """Return whether an event is to be sent, as `outbox.claim` asks it in SQL."""
    return event.next_at <= now or event.next_at > too_far(now=now)


def holds_up(earlier: Event) -> bool:
    """Return whether later events of the farm wait for this one, which is neither done nor set aside.

    They wait until its first try is over, whoever makes it; what is tried again after a failure they pass.
    """
    return earlier.last_error is None and earlier.attempts < WAITED_FOR


def started(event: Event, *, now: dt.datetime) -> bool:
    """Count a start before the work begins; return False where there were too many, and it is set aside."""
    if event.attempts >= MOST_STARTS:
        event.last_error = event.last_error or "its worker ended each time before it was done"
        event.set_aside_at = now
        return False
    event.attempts += 1
    event.next_at = now + pause(event.attempts)
    return True


def failed(event: Event, failure: Exception, *, now: dt.datetime) -> None:
    """Write down why it failed and when it is tried again; after too many starts it is set aside."""
    event.last_error = f"{type(failure).__name__}: {failure}".replace("\x00", "")[:LONGEST_WORDS]
    event.next_at = now + pause(event.attempts)
    if event.attempts >= MOST_STARTS:
        event.set_aside_at = now


def done(event: Event, *, now: dt.datetime) -> None:
    """Mark an event as done."""
    event.processed_at, event.last_error = now, None


def pause(starts: int) -> dt.timedelta:
    """Return how long to wait after so many starts: twice as long each time, five minutes at most."""
    doubled: dt.timedelta = FIRST_PAUSE * 2 ** min(starts - 1, 30)
    return min(doubled, LONGEST_PAUSE)
