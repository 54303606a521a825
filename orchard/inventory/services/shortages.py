"""Answering the storekeeper's questions: loads and records that used more than the book held."""

from __future__ import annotations

import datetime as dt

from django.utils.translation import gettext as _

from orchard.api.refusals import Conflict, Fault
from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.inventory.models import Shortage


def answer_shortage(*, shortage: Shortage, answer: str, by: Actor, now: dt.datetime) -> Shortage:
    """Write down what was found out; movements or a stocktake mend the ledger. The caller holds its lock.

    :raises Conflict: `state_conflict`
    """
    if shortage.answered_at is not None:
        raise Conflict(Fault("state_conflict", _("this question has its answer already")))
    journal.change(shortage, by=by, now=now, action="answer", reason=answer, answered_at=now, answer=answer)
    return shortage
