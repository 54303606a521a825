"""How a work order goes from one state to the next: only as `states.MOVES` says, and only once.

A phone without a signal tells later what happened earlier. What counts is the state that the order was in
when it happened, not the one it is in when word of it arrives.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import Any

from django.utils.translation import gettext as _

from orchard.api.refusals import Conflict, Fault
from orchard.api.spoken import listed, spoken
from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.tasks.models import WorkOrder
from orchard.tasks.states import MOVES, allowed_in

CLOCKS_DIFFER = dt.timedelta(minutes=5)
"""How far a phone's clock may be from ours before what it says is a fault."""

TOLD = {"hold": "work_order.held", "cancel": "work_order.cancelled"}
"""Moves that other systems hear of; issue and finish say so with the rest that they do."""


def demand(order: WorkOrder, *, action: str) -> None:
    """Let pass an action that the order's state allows.

    :raises Conflict: `state_conflict`, naming the state and what it allows
    """
    if order.status not in MOVES[action].come_from:
        raise Conflict(state_conflict(order))


def state_conflict(order: WorkOrder) -> Fault:
    """Return the fault of an action that the state does not allow."""
    may = listed(allowed_in(order.status)) or _("nothing more")
    return Fault(
        "state_conflict",
        _("the work order is %(status)s; that allows: %(may)s")
        % {"status": spoken(order.status), "may": may},
        refers_to=("work_order", str(order.id)),
    )


def was_under_way(order: WorkOrder, *, at: dt.datetime | None) -> bool:
    """Say whether the work was under way at a moment that somebody told: before a hold, or before the end."""
    if at is None or order.started_at is None or at < order.started_at - CLOCKS_DIFFER:
        return False
    if order.status == "done" and order.finished_at is not None:
        return at <= order.finished_at + CLOCKS_DIFFER
    if order.status == "held" and order.held_from == "under_way" and order.pauses:
        return at <= dt.datetime.fromisoformat(order.pauses[-1]["at"])
    return order.status == "under_way"


def not_before_issue(order: WorkOrder, at: dt.datetime | None, *, pointer: str) -> Iterator[Fault]:
    """Yield that a moment lies before the order was given to anybody."""
    if at is None or order.issued_at is None or at >= order.issued_at - CLOCKS_DIFFER:
        return
    since = order.issued_at.isoformat(timespec="seconds")
    may = listed(allowed_in(order.status)) or _("nothing more")
    detail = _(
        "this lies before the issue of the order, %(since)s: say when it happened. The order is "
        "%(status)s; that allows: %(may)s"
    ) % {"since": since, "status": spoken(order.status), "may": may}
    yield Fault("out_of_range", detail, pointer, ("work_order", str(order.id)))


def make(
    order: WorkOrder,
    *,
    action: str,
    by: Actor,
    now: dt.datetime,
    becomes: str | None = None,
    reason: str | None = None,
    late: bool = False,
    **columns: Any,
) -> WorkOrder:
    """Make a move and write it to the journals. The caller holds the order's lock.

    The update is guarded all the same: of two that read the same state only one finds it still there.

    :param becomes: the state after it, where the table leaves it open
    :param late: it happened while the state allowed it, and is told only now: the state stays as it is
    :raises Conflict: `state_conflict`
    """
    if not late:
        demand(order, action=action)
    becomes = order.status if late else becomes or MOVES[action].becomes or order.status
    still = WorkOrder.objects.for_farm(order.farm).filter(key=order.key, status=order.status)
    if still.update(status=order.status) != 1:
        raise Conflict(state_conflict(order))
    journal.change(order, by=by, now=now, action=action, reason=reason, status=becomes, **columns)
    if action in TOLD:
        journal.later(TOLD[action], farm=order.farm, subject=order.id, by=by, now=now)
    return order
