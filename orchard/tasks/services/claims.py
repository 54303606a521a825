"""What was told of an order and does not fit: kept with it until a person has looked, and never thrown away.

Some of it only came too early: the load before the start, the end before the load. That is told again when
what it waited for arrives.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Iterator
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from orchard.api.refusals import Fault, Unprocessable
from orchard.farms import journal
from orchard.farms.actors import Actor, Role
from orchard.farms.rows import new_id
from orchard.tasks import queries
from orchard.tasks.models import WorkOrder
from orchard.tasks.services.moves import CLOCKS_DIFFER

TOLD = ("start", "record_load", "finish", "hold", "resume")
"""Actions that tell what has happened."""
TOO_EARLY = frozenset({"state_conflict", "loads_missing"})
Json = dict[str, Any]


def worth_keeping(*, action: str, body: Any, happened_at: dt.datetime | None, now: dt.datetime) -> bool:
    """Say whether a refused action tells of what has happened: by its own id, or by a time that is past."""
    if action not in TOLD or not isinstance(body, dict):
        return False
    if action in ("record_load", "finish") and body.get("id"):
        return True
    return happened_at is not None and happened_at < now - CLOCKS_DIFFER


def keep(
    *,
    order: WorkOrder,
    action: str,
    body: Any,
    codes: Iterable[str],
    happened_at: dt.datetime | None,
    by: Actor,
    now: dt.datetime,
) -> None:
    """Keep what was refused, once for each body and sender. For after the refusal has rolled back."""
    with transaction.atomic():
        row = queries.locked_order(farm=order.farm, id=order.id)
        if row is None:
            return
        same = [
            one
            for one in row.conflicts
            if (one["action"], one["by"], one["body"]) == (action, by.as_json(), body)
        ]
        if not same:
            claim = as_claim(action=action, body=body, codes=codes, happened_at=happened_at, by=by, now=now)
            journal.touch(row, now=now, conflicts=[*row.conflicts, claim])


def as_claim(
    *,
    action: str,
    body: Any,
    codes: Iterable[str],
    happened_at: dt.datetime | None,
    by: Actor,
    now: dt.datetime,
) -> Json:
    """Return what was told as it is kept."""
    return {
        "id": str(new_id()),
        "action": action,
        "codes": sorted(set(codes)),
        "happened_at": happened_at.isoformat() if happened_at else None,
        "received_at": now.isoformat(),
        "by": by.as_json(),
        "role": by.role.value,
        "body": body,
        "settled_at": None,
        "settled_by": None,
        "note": None,
    }


def waiting(order: WorkOrder) -> Iterator[Json]:
    """Yield what came too early and is not settled, in the order in which it happened."""
    rows = [one for one in order.conflicts if not one["settled_at"] and set(one["codes"]) <= TOO_EARLY]
    yield from sorted(rows, key=lambda one: (one["happened_at"] or one["received_at"], one["id"]))


def told_by(claim: Json) -> Actor:
    """Return who told it."""
    by = claim["by"]
    return Actor(
        kind=by["kind"],
        id=uuid.UUID(by["id"]) if by["id"] else None,
        name=by["name"],
        role=Role(claim["role"]),
    )


def settled(
    order: WorkOrder, *, ids: Iterable[str], by: Actor, now: dt.datetime, note: str | None = None
) -> list[Json]:
    """Return the order's claims with these settled; whoever settled one before stays named."""
    wanted = set(ids)
    return [
        {**one, "settled_at": now.isoformat(), "settled_by": by.as_json(), "note": note}
        if one["id"] in wanted and not one["settled_at"]
        else one
        for one in order.conflicts
    ]


def of_body(order: WorkOrder, *, action: str, id: uuid.UUID | None) -> list[str]:
    """Return which claims told the very thing that is on record now."""
    return [
        one["id"]
        for one in order.conflicts
        if id and (one["action"], one["body"].get("id")) == (action, str(id))
    ]


def settle(
    *, order: WorkOrder, conflict: uuid.UUID, by: Actor, now: dt.datetime, note: str | None = None
) -> WorkOrder:
    """Say that a person has looked at a claim and done what was to be done. The caller holds the lock.

    :raises Unprocessable: `not_found` where the order has no such claim
    """
    if str(conflict) not in [one["id"] for one in order.conflicts]:
        raise Unprocessable(Fault("not_found", _("this order has no such conflict"), "/conflict"))
    conflicts = settled(order, ids=[str(conflict)], by=by, now=now, note=note)
    journal.change(order, by=by, now=now, action="settle", reason=note, conflicts=conflicts)
    return order
