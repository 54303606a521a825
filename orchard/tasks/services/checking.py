"""The mix check of a work order: what it names, turned into what `checks.check_mix` asks for."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from collections.abc import Mapping
from typing import Any

from django.utils import translation

from mixing.quantities import Quantity
from orchard.api.refusals import Conflict, Unprocessable
from orchard.blocks.models import Block
from orchard.farms.actors import Actor
from orchard.farms.models import Farm
from orchard.tasks import amounts, checks
from orchard.tasks.models import MixCheck, WorkOrder

OBSERVED = ("wind", "temperature", "minimum_next_24h", "humidity_percent", "rain_within_h", "inversion")
"""What of an observation the mix check asks for as weather."""


def check_order(
    *,
    order: WorkOrder,
    at: dt.datetime,
    by: Actor,
    now: dt.datetime,
    dry_run: bool = False,
    observed: Mapping[str, Any] | None = None,
) -> MixCheck:
    """Check an order's mix for a moment.

    :param observed: what was seen on the spot, as JSON; else the stored weather hours speak
    :raises Unprocessable: for a mix that cannot be understood
    """
    assert order.block is not None and order.sprayer is not None
    return checks.check_mix(
        farm=order.farm,
        block=order.block,
        sprayer=order.sprayer,
        products=checks.of_order(order=order),
        spray=order.spray,
        at=at,
        targets=order.targets,
        water=order.water,
        measures=order.measures,
        weather=None if observed is None else weather(observed),
        dry_run=dry_run,
        asked={"work_order": str(order.id)},
        language=language(),
        by=by,
        now=now,
    )


def check_for_move(**asked: Any) -> MixCheck:
    """Check an order's mix before a move, as `check_order` does.

    :raises Conflict: where the mix can no longer be checked (a label has ended): the request is not at fault
    """
    try:
        return check_order(**asked)
    except Unprocessable as wrong:
        raise Conflict(*wrong.faults) from None


def check_leftover(
    *,
    order: WorkOrder,
    block: Block,
    volume: Quantity,
    mixed: Quantity,
    at: dt.datetime,
    by: Actor,
    now: dt.datetime,
) -> MixCheck:
    """Check what spraying the rest of the tank out on a block would do; kept, since it was decided upon.

    On the order's own block that is as if all that was mixed had been meant for it; on another one the dose
    is added to what that block got of the same products in the day before.
    """
    assert order.sprayer is not None
    own = block == order.block
    return checks.check_mix(
        farm=order.farm,
        block=block,
        sprayer=order.sprayer,
        products=checks.of_order(order=order),
        spray={"total": (mixed if own else volume).as_json(), **(_ground(order) if own else {})},
        at=at,
        targets=order.targets,
        water=order.water,
        measures=order.measures,
        weather=weather(order.observed) if order.observed else None,
        leftover=not own,
        asked={"leftover_of": str(order.id), "block": str(block.id), "spray": {"total": volume.as_json()}},
        language=language(),
        by=by,
        now=now,
    )


def _ground(order: WorkOrder) -> dict[str, Any]:
    area = (order.spray or {}).get("area")
    return {"area": area} if area else {}


def weather(observed: Mapping[str, Any]) -> dict[str, Any]:
    """Return what of an observation is weather, as the mix check reads it."""
    return {name: observed[name] for name in OBSERVED if observed.get(name) is not None}


def language() -> str:
    """Return the language that the sentences of a check are wanted in: that of the request."""
    return (translation.get_language() or "en")[:2]


def zone(farm: Farm) -> zoneinfo.ZoneInfo:
    """Return the farm's zone."""
    return zoneinfo.ZoneInfo(farm.zone)


def local_day(farm: Farm, at: dt.datetime) -> dt.date:
    """Return the farm's calendar day of a moment."""
    return at.astimezone(zone(farm)).date()


def planned_totals(order: WorkOrder) -> dict[str, Quantity]:
    """Return what the whole job takes of each product, by the product's id."""
    return {one["id"]: amounts.read(one["exact"]) for one in order.totals}
