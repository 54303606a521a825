"""The pauses of an order: why, from when, until when, and how much was treated before."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _

from mixing.quantities import EXACT, Quantity, plain
from orchard.api.refusals import Fault
from orchard.farms.actors import Actor
from orchard.tasks import amounts, queries
from orchard.tasks.models import Load, WorkOrder
from orchard.tasks.services import claims, mixed, moves

Json = dict[str, Any]


def begun(order: WorkOrder, *, reason: str, note: str | None, at: dt.datetime) -> Json:
    """Return a pause as it is kept, its end still open."""
    return {
        "from_state": order.status,
        "reason": reason,
        "note": note,
        "at": at.isoformat(),
        "until": None,
        "treated": treated(order),
    }


def ended(pause: Json, at: dt.datetime) -> Json:
    """Return a pause with its end; clocks that differ a little make no pause of less than nothing."""
    return {**pause, "until": max(at, dt.datetime.fromisoformat(pause["at"])).isoformat()}


def not_before_hold(order: WorkOrder, at: dt.datetime | None) -> Iterator[Fault]:
    """Yield that an end was told that lies before the beginning."""
    if at is None or order.status != "held" or not order.pauses:
        return
    since = dt.datetime.fromisoformat(order.pauses[-1]["at"])
    if at < since - moves.CLOCKS_DIFFER:
        yield Fault(
            "out_of_range", _("this lies before the hold, %(since)s") % {"since": since.isoformat()}, "/at"
        )


def end_told_before(order: WorkOrder, *, at: dt.datetime | None) -> Json | None:
    """Return the end of a pause that arrived before its beginning: the first that lies after it."""
    for claim in claims.waiting(order):
        told_at = claim["happened_at"]
        if at and claim["action"] == "resume" and told_at and dt.datetime.fromisoformat(told_at) >= at:
            return claim
    return None


def with_end(order: WorkOrder, pause: Json, claim: Json, *, by: Actor, now: dt.datetime) -> Json:
    """Return the columns of a pause that is over already: the claim of its end is settled."""
    whole = ended(pause, dt.datetime.fromisoformat(claim["happened_at"]))
    conflicts = claims.settled(order, ids=[claim["id"]], by=by, now=now)
    return {"pauses": [*order.pauses, whole], "conflicts": conflicts}


def treated(order: WorkOrder) -> Json | None:
    """Return how much was treated by the loads so far; None before any load.

    By the trees, else the ground, that all loads tell; else by the spray mixed, of what is planned.
    """
    rows = list(queries.loads(order=order).order_by("number", "id"))
    if not rows:
        return None
    trees, ground, sprayed = _trees(rows), _ground(rows), mixed.volume(rows)
    assert sprayed is not None
    return {
        "trees": trees,
        "area": ground.as_json() if ground else None,
        "spray": sprayed.as_json(),
        "percent": _percent(order, trees, ground, sprayed),
    }


def _trees(rows: Sequence[Load]) -> int | None:
    told = [row.trees_done for row in rows if row.trees_done is not None]
    return sum(told) if len(told) == len(rows) else None


def _ground(rows: Sequence[Load]) -> Quantity | None:
    told = [row.area_done for row in rows if row.area_done is not None]
    return amounts.total(told) if len(told) == len(rows) else None


def _percent(order: WorkOrder, trees: int | None, ground: Quantity | None, sprayed: Quantity) -> str | None:
    spray = order.spray or {}
    all_trees = spray.get("trees") or (order.block.trees if order.block else None)
    all_ground = amounts.read(spray["area"]) if spray.get("area") else order.block and order.block.area
    planned = amounts.total(amounts.read(load["spray"]) for load in order.loads_planned)
    if trees is not None and all_trees:
        part, whole = Decimal(trees), Decimal(all_trees)
    elif ground is not None and all_ground:
        part, whole = ground.in_base(), all_ground.in_base()
    elif planned is not None and planned.value > 0:
        part, whole = sprayed.in_base(), planned.in_base()
    else:
        return None
    return plain(EXACT.divide(part * 100, whole), 1)
