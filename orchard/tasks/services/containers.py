"""Containers of a job: the rinse water that goes into a load is part of that load."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.utils.translation import gettext as _

from mixing.quantities import Quantity
from orchard.api.refusals import Fault, Unprocessable
from orchard.farms.actors import Actor
from orchard.farms.models import Farm
from orchard.inventory import container_queries
from orchard.inventory.models import ContainerRecord
from orchard.inventory.services import containers
from orchard.tasks import amounts
from orchard.tasks.models import Load


def record_containers(
    *,
    farm: Farm,
    by: Actor,
    now: dt.datetime,
    load: Load | None = None,
    water: Quantity | None = None,
    **said: Any,
) -> ContainerRecord:
    """Write down what became of some containers; those of a load know its order and when they were emptied.

    :raises Unprocessable: also for more rinse water than the load's spray holds
    :raises Conflict: `not_issued`, `not_rinsed`
    """
    if load is not None:
        if said["kind"] == "rinsed" and said.get("emptied_at") is None:
            said["emptied_at"] = load.at
        said |= {"load": load.id, "work_order": load.work_order.id}
        if water is not None:
            _fits(load, water)
    return containers.record_containers(farm=farm, by=by, now=now, water=water, **said)


def _fits(load: Load, water: Quantity) -> None:
    rows = container_queries.records(farm=load.farm).filter(load=load.id, water__isnull=False)
    total = amounts.total([water, *(row.water for row in rows if row.water is not None)])
    if total is not None and total.in_base() > load.spray.in_base():
        detail = _(
            "load %(load)s holds %(spray)s in all, and its rinse water would be %(total)s: it counts as "
            "part of the load"
        ) % {"load": load.number, "spray": amounts.words(load.spray), "total": amounts.words(total)}
        raise Unprocessable(Fault("out_of_range", detail, "/water"))
