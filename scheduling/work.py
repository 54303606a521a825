"""What each kind of event in the outbox asks for: load the row, make one call."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable

from orchard.farms.actors import SYSTEM, Actor, Role
from orchard.farms.models import OutboxEvent
from orchard.farms.webhooks import services as webhooks
from orchard.farms.webhooks.events import EVENTS
from orchard.tasks import programmes
from orchard.tasks.models import Load, PlanningRun
from orchard.tasks.services import loads
from scheduling import planning

Work = Callable[[OutboxEvent, dt.datetime], bool | None]
"""Does what an event asks for, in the transaction that marks the event as done; safe to call twice.

False says that there was nothing to do."""


class NoSuchWork(LookupError):
    """An event of a kind that nobody knows what to do with; it is tried again, then set aside to be seen."""


def deduct_load(event: OutboxEvent, now: dt.datetime) -> None:
    """Take what a load used out of the store."""
    load = Load.objects.for_farm(event.farm).get(id=event.subject)
    loads.deduct_load(load=load, by=actor(event), now=now)


def plan(event: OutboxEvent, now: dt.datetime) -> Callable[[], None]:
    """Work out the planning run that somebody asked for; return what writes it.

    :raises planning.Later: where another run of the farm is at work
    """
    run = (
        PlanningRun.objects.for_farm(event.farm)
        .select_related("farm", "programme__farm")
        .get(id=event.subject)
    )
    solved = planning.solve(run=run, by=actor(event), now=now)

    def write() -> None:
        if solved is not None:
            planning.write(solved)

    return write


def plan_failed(event: OutboxEvent, now: dt.datetime) -> None:
    """Say of a planning run that it failed, so that nobody waits for it."""
    run = PlanningRun.objects.for_farm(event.farm).get(id=event.subject)
    programmes.progress(run=run, by=SYSTEM, now=now, status="failed", taken_until=None)


def tell(event: OutboxEvent, now: dt.datetime) -> bool:
    """Leave word of it to the webhooks that want it; what is sent is sent after the commit."""
    return webhooks.tell(event=event, now=now) > 0


BESIDE = frozenset({"planning_run.requested"})
"""What takes long and changes nothing that others count on: it does not wait and is not waited for."""

WORK: dict[str, Work] = {
    "load.recorded": deduct_load,
    **dict.fromkeys(EVENTS, tell),
}

LONG: dict[str, Callable[[OutboxEvent, dt.datetime], Callable[[], None]]] = {"planning_run.requested": plan}
"""What is worked out before the transaction, since it takes long: it returns what is done in it."""
LONG_LASTS = dt.timedelta(seconds=90)
"""After so long without an end its worker is taken for lost."""

GIVEN_UP: dict[str, Work] = {"planning_run.requested": plan_failed}


def do(event: OutboxEvent, *, now: dt.datetime) -> bool:
    """Do what an event asks for; return whether there was anything to do.

    :raises NoSuchWork: for a kind that is not in the table
    """
    work = WORK.get(event.kind)
    if work is None:
        raise NoSuchWork(f"nothing is known to do for the kind {event.kind}")
    return work(event, now) is not False


def give_up(event: OutboxEvent, *, now: dt.datetime) -> None:
    """Tell those who wait for it that an event was set aside."""
    if event.kind in GIVEN_UP:
        GIVEN_UP[event.kind](event, now)


def actor(event: OutboxEvent) -> Actor:
    """Return who did what the event follows from: the effect is theirs."""
    by = event.by
    own = uuid.UUID(by["id"]) if by["id"] else None
    return Actor(kind=by["kind"], id=own, name=by["name"], role=Role(by["role"]))
