"""Briefings: what was talked through before the work, with whom; a hot day brings its own points."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from mixing.quantities import EXACT
from orchard.api.refusals import Fault, Unprocessable
from orchard.crews.models import Worker
from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.farms.models import Farm
from orchard.tasks import heat
from orchard.tasks.models import Briefing, WorkOrder
from orchard.tasks.services import checking


def add_briefing(
    *,
    farm: Farm,
    topics: Sequence[str],
    present: Sequence[Worker],
    by: Actor,
    now: dt.datetime,
    id: uuid.UUID | None = None,
    held_at: dt.datetime | None = None,
    language: str = "en",
    acknowledged: Sequence[Worker] = (),
    work_order: WorkOrder | None = None,
    note: str | None = None,
) -> Briefing:
    """Write down a briefing, with the heat advice of its day.

    :raises Unprocessable: where somebody acknowledges who was not there
    """
    faults = [
        Fault(
            "invalid",
            _("%(one)s was not present: whoever acknowledges was there") % {"one": one.name},
            f"/acknowledged/{at}",
        )
        for at, one in enumerate(acknowledged)
        if one not in present
    ]
    if faults:
        raise Unprocessable(*faults)
    held_at = held_at or now
    day = checking.local_day(farm, work_order.starts_at if work_order else held_at)
    with transaction.atomic():
        return journal.create(
            Briefing,
            farm=farm,
            by=by,
            now=now,
            id=id,
            work_order=work_order,
            held_at=held_at,
            language=language,
            topics=list(topics),
            present=[str(one.id) for one in present],
            acknowledged=[str(one.id) for one in acknowledged],
            heat=heat.advice(
                farm=farm, on=day, people=len(present), hours=planned_hours(work_order), language=language
            ),
            note=note,
        )


def planned_hours(order: WorkOrder | None) -> Decimal | None:
    """Return how long an order is planned for [h]; None where its end is not said."""
    if order is None or order.ends_at is None:
        return None
    return EXACT.divide(Decimal((order.ends_at - order.starts_at).total_seconds()), Decimal(3600))


def heat_of_order(*, order: WorkOrder, language: str) -> dict[str, Any] | None:
    """Return what the heat of an order's day asks of its crew."""
    people = order.crew.members.count() if order.crew else 1
    day = checking.local_day(order.farm, order.starts_at)
    return heat.advice(farm=order.farm, on=day, people=people, hours=planned_hours(order), language=language)
