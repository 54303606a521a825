"""Taking up again what was set aside in the outbox, and how much waits there."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Sequence

from orchard.farms.models import Farm, OutboxEvent

CHANNEL = "orchard_outbox"
"""Where the database tells those who listen that a transaction with events was committed."""
ASLEEP = 5_170_312
"""The advisory lock of who listens and does nothing else.

Who writes events shares it until the end of the transaction. Where that cannot be, somebody is asleep and is
told. Where it can, nobody is: whoever looks for events just then cannot fall asleep before the writer has
ended, and looks once more after that. So no word is lost, and writers who come while there is work anyway
need not commit one after the other, as those must who tell.
"""


def replay(
    *,
    now: dt.datetime,
    farm: Farm | None = None,
    kind: str | None = None,
    ids: Sequence[uuid.UUID] | None = None,
) -> int:
    """Make due again, with all its starts, what was set aside; return how many events. Safe twice.

    What was done is never done again: only an event that is not done can be set aside.
    """
    rows = OutboxEvent.objects.filter(processed_at=None).exclude(set_aside_at=None)
    if farm is not None:
        rows = rows.filter(farm=farm)
    if kind is not None:
        rows = rows.filter(kind=kind)
    if ids is not None:
        rows = rows.filter(id__in=ids)
    return rows.update(set_aside_at=None, attempts=0, sent=0, next_at=now)
