"""The crews that may be sent: when they are out with other work, and on which days they may handle what."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence

from orchard.crews import queries as crew_queries
from orchard.crews.models import Crew as CrewRow
from orchard.crews.models import Qualification, Worker
from orchard.farms.models import Farm
from orchard.tasks.models import PlanningRun, WorkOrder
from orchard.tasks.services import people
from scheduling.assignment import Crew
from scheduling.assignment.problem import Span
from scheduling.gather.bookings import Frame, span_of
from scheduling.gather.mixes import Mix

BEFORE = dt.timedelta(days=6)
"""Days before a plan that are looked at as well: it might have begun sooner."""
Valid = Mapping[str, Mapping[object, Sequence[tuple[dt.date, dt.date]]]]
"""From when until when a qualification holds, by its kind and the worker."""
Asks = tuple[str, ...]


def asks_of(mix: Mix) -> Asks:
    """Return what those who handle a mix must hold besides their training."""
    labels = [label for _, label in mix.labels]
    test = (crew_queries.FIT_TEST,) if people.wants_fit_test(labels) else ()
    return test + ((crew_queries.LICENCE,) if people.wants_licence(labels) else ())


def crews_of(
    run: PlanningRun, fixed: Iterable[WorkOrder], frame: Frame, *, asked: Iterable[Asks]
) -> list[Crew]:
    """Return the crews that may be sent; one without people cannot be.

    Somebody who belongs to two crews is with one of them at a time, in orders that stay as in the plan.
    """
    rows = list(crew_queries.crews(farm=run.farm).filter(archived=False).order_by("id"))
    hands = {str(row.id): [one for one in row.members.all() if not one.archived] for row in rows}
    chosen = [id for id in hands if hands[id] and (run.crews is None or id in set(map(str, run.crews)))]
    busy = _busy(fixed, frame)
    valid = _valid(run.farm)
    wanted = set(asked)
    return [
        Crew(
            id,
            tuple(sorted({span for one in hands[id] for span in busy[one.key]})),
            _closed(hands[id], (), valid, frame),
            {asks: _closed(hands[id], asks, valid, frame) for asks in wanted if asks},
            tuple(
                other
                for other in chosen
                if other != id and {one.key for one in hands[id]} & {one.key for one in hands[other]}
            ),
        )
        for id in chosen
    ]


def _busy(fixed: Iterable[WorkOrder], frame: Frame) -> Mapping[object, list[Span]]:
    found: dict[object, list[Span]] = defaultdict(list)
    members: dict[object, list[Worker]] = {}
    for order in fixed:
        crew: CrewRow | None = order.crew
        if crew is not None:
            if crew.key not in members:
                members[crew.key] = list(crew.members.all())
            for one in members[crew.key]:
                found[one.key].append(span_of(order, frame))
    return found


def _closed(hands: Sequence[Worker], asks: Asks, valid: Valid, frame: Frame) -> tuple[Span, ...]:
    days = [frame.first - BEFORE + dt.timedelta(days=step) for step in range(BEFORE.days)] + frame.days
    return tuple(
        (frame.midnight(on), frame.midnight(on + dt.timedelta(days=1)))
        for on in days
        if not _may(hands, asks, valid, on)
    )


def _may(hands: Sequence[Worker], asks: Asks, valid: Valid, on: dt.date) -> bool:
    """Say whether one of them may handle, and one of them holds a licence where that is asked for."""

    def holds(one: Worker, kind: str) -> bool:
        return any(first <= on <= last for first, last in valid[kind][one.key])

    own = [crew_queries.HANDLER_TRAINING, *(kind for kind in asks if kind != crew_queries.LICENCE)]
    return any(one.adult and all(holds(one, kind) for kind in own) for one in hands) and (
        crew_queries.LICENCE not in asks or any(holds(one, crew_queries.LICENCE) for one in hands)
    )


def _valid(farm: Farm) -> Valid:
    """Return when each qualification holds, as `crews.queries.may_handle` asks for it."""
    found: dict[str, dict[object, list[tuple[dt.date, dt.date]]]] = defaultdict(lambda: defaultdict(list))
    rows = Qualification.objects.for_farm(farm).order_by("id")
    for kind, worker, since, until in rows.values_list("kind", "worker", "obtained_on", "expires_on"):
        found[kind][worker].append((since, until))
    return found
