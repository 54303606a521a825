"""How a work order goes from one state to the next: only as `states.MOVES` says, and only once."""

from __future__ import annotations

import datetime as dt
from typing import Any

from orchard.api.refusals import Conflict, Fault
from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.tasks.models import WorkOrder
from orchard.tasks.states import MOVES, allowed_in


def demand(order: WorkOrder, *, action: str) -> None:
    """Let pass an action that the order's state allows.

    :raises Conflict: `state_conflict`, naming the state and what it allows
    """
    if order.status not in MOVES[action].come_from:
        raise Conflict(state_conflict(order))


def state_conflict(order: WorkOrder) -> Fault:
    """Return the fault of an action that the state does not allow."""
    may = ", ".join(allowed_in(order.status)) or "nothing more"
    return Fault(
        "state_conflict",
        f"the work order is {order.status.replace('_', ' ')}; that allows: {may}",
        refers_to=("work_order", str(order.id)),
    )


def make(
    order: WorkOrder,
    *,
    action: str,
    by: Actor,
    now: dt.datetime,
    becomes: str | None = None,
    reason: str | None = None,
    **columns: Any,
) -> WorkOrder:
    """Make a move and write it to the journals. The caller holds the order's lock.

    The update is guarded all the same: of two that read the same state only one finds it still there.

    :param becomes: the state after it, where the table leaves it open
    :raises Conflict: `state_conflict`
    """
    demand(order, action=action)
    becomes = becomes or MOVES[action].becomes or order.status
    still = WorkOrder.objects.for_farm(order.farm).filter(key=order.key, status=order.status)
    if still.update(status=order.status) != 1:
        raise Conflict(state_conflict(order))
    journal.change(order, by=by, now=now, action=action, reason=reason, status=becomes, **columns)
    return order
