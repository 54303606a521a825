"""The start: the limits again, with what is observed on the spot."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from typing import Any

from mixing.quantities import parse_quantity
from orchard.api.refusals import Conflict, Fault, Unprocessable
from orchard.blocks import queries as blocks
from orchard.blocks import services as block_services
from orchard.farms.actors import Actor
from orchard.tasks import amounts
from orchard.tasks.models import WorkOrder
from orchard.tasks.services import checking, demands, moves

NEEDED = ("wind", "temperature", "people_out")
FARM_LIMITS = (
    ("wind_maximum", "wind", True, "farm.wind-above"),
    ("wind_minimum", "wind", False, "farm.wind-below"),
    ("temperature_maximum", "temperature", True, "farm.temperature-above"),
    ("temperature_minimum", "temperature", False, "farm.temperature-below"),
)


class StartRefused(Conflict):
    """What was observed closes the start. The stage that was seen is kept all the same: it was seen."""

    def __init__(self, *faults: Fault, order: WorkOrder, bbch: int | None, at: dt.datetime) -> None:
        super().__init__(*faults)
        self.order, self.bbch, self.at = order, bbch, at


def start(
    *,
    order: WorkOrder,
    by: Actor,
    now: dt.datetime,
    observed: Mapping[str, Any] | None = None,
    at: dt.datetime | None = None,
    revision: int | None = None,
) -> WorkOrder:
    """Begin the work; a refused start leaves the order as it was. The caller holds its lock.

    :param observed: what was seen, as JSON; for a spray with wind, temperature and whether people are out
    :raises Unprocessable: `required` for what a spray must observe
    :raises Conflict: `state_conflict`, `revision_is_old`, or all that stands against it at once
    """
    observed, at = dict(observed or {}), at or now
    if order.kind == "spray":
        _observed_all(observed)
    moves.demand(order, action="start")
    right_revision(order, revision)
    bbch = observed.get("bbch")
    note_stage(order=order, bbch=bbch, at=at, by=by, now=now)
    faults = list(place_and_people(order, at=at))
    columns: dict[str, Any] = {}
    if order.kind == "spray":
        check = checking.check_for_move(order=order, at=at, observed=observed, by=by, now=now)
        faults = [*demands.mix_stops(check, now=now), *_against_farm(order, observed), *faults]
        faults += _people_in_block(observed)
        columns["mix_check"] = check
    if faults:
        raise StartRefused(*faults, order=order, bbch=bbch, at=at)
    return moves.make(
        order, action="start", by=by, now=now, started_at=at, observed=observed or None, **columns
    )


def right_revision(order: WorkOrder, revision: int | None) -> None:
    """Let pass who has read the order as it stands.

    :raises Conflict: `revision_is_old`
    """
    if revision is not None and revision != order.revision:
        detail = f"the order was changed: revision {order.revision} holds, read it again"
        raise Conflict(Fault("revision_is_old", detail, "/revision"))


def place_and_people(order: WorkOrder, *, at: dt.datetime) -> Iterator[Fault]:
    """Yield what of place and people stands against working at a moment, whatever the weather."""
    day = demands.day_of(order, at=at)
    if order.kind != "spray":
        yield from demands.re_entry(order, at=at)
    if order.kind in demands.HANDLED:
        named = list(order.handlers.all())
        yield from demands.unqualified(named, on=day) if named else demands.people(order, on=day)


def _observed_all(observed: Mapping[str, Any]) -> None:
    missing = [name for name in NEEDED if observed.get(name) is None]
    if missing:
        raise Unprocessable(
            *(
                Fault("required", f"say the {name.replace('_', ' ')} on the spot", f"/observed/{name}")
                for name in missing
            )
        )


def _people_in_block(observed: Mapping[str, Any]) -> list[Fault]:
    if observed["people_out"]:
        return []
    return [
        Fault(
            "people_in_block",
            "somebody is still in the block: get everybody out first",
            "/observed/people_out",
        )
    ]


def note_stage(*, order: WorkOrder, bbch: int | None, at: dt.datetime, by: Actor, now: dt.datetime) -> None:
    """Keep the stage that was seen at the start, once however often the start is tried."""
    if bbch is None or order.block is None:
        return
    day, seen = demands.day_of(order, at=at), blocks.stage_on(block=order.block, at=at)
    if seen is None or (seen.bbch, seen.observed_on) != (bbch, day):
        block_services.add_stage(block=order.block, bbch=bbch, observed_on=day, by=by, now=now)


def _against_farm(order: WorkOrder, observed: Mapping[str, Any]) -> Iterator[Fault]:
    """Yield the farm's own limits that are passed; they are only ever stricter than a label's."""
    for name, measured, above, id in FARM_LIMITS:
        limit = (order.farm.limits or {}).get(name)
        if limit is None:
            continue
        bound, value = parse_quantity(limit), parse_quantity(observed[measured])
        passed = value.in_base() > bound.in_base() if above else value.in_base() < bound.in_base()
        if passed:
            says = f"{measured} is {amounts.words(value)}; the farm's own limit is {amounts.words(bound)}"
            yield Fault("mix_stop", says, f"/observed/{measured}", finding=_finding(id, says))


def _finding(id: str, says: str) -> dict[str, Any]:
    return {
        "id": id,
        "severity": "stop",
        "basis": "farm",
        "products": [],
        "says": says,
        "why": None,
        "do": "wait until it is within the limit, or hold the order",
        "source": None,
        "may_be_overridden": False,
    }
