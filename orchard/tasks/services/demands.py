"""What `issue` and `start` demand: each demand yields what stands against it, and all are asked at once.

Which of them a move asks of which kind of work stands in `states.MOVES`; here is how each is asked.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from decimal import ROUND_CEILING, Decimal
from typing import Any

from django.utils.translation import gettext as _

from mixing.quantities import parse_quantity, plain
from orchard.api.refusals import Fault
from orchard.api.remembered import remembered
from orchard.api.spoken import spoken
from orchard.blocks import queries as blocks
from orchard.blocks.models import Block
from orchard.farms.models import Farm
from orchard.inventory import queries as store
from orchard.inventory.models import Reservation
from orchard.tasks import amounts, checks
from orchard.tasks.models import MixCheck, WorkOrder
from orchard.tasks.services import bees, checking, equipment, notices, people, place
from orchard.tasks.states import MOVES

DAY = Decimal(86400)
FARM_LIMITS = (
    ("wind_maximum", "wind", True, "farm.wind-above"),
    ("wind_minimum", "wind", False, "farm.wind-below"),
    ("temperature_maximum", "temperature", True, "farm.temperature-above"),
    ("temperature_minimum", "temperature", False, "farm.temperature-below"),
)


@dataclass(frozen=True, slots=True)
class Case:
    """An order that is about to make a move, and what is known of the moment.

    :ivar check: its mix check for `at`; None for what is no spray
    :ivar observed: what was seen on the spot, as JSON; empty where nobody has looked yet
    """

    order: WorkOrder
    at: dt.datetime
    now: dt.datetime
    check: MixCheck | None = None
    observed: Mapping[str, Any] = field(default_factory=dict)

    @property
    def day(self) -> dt.date:
        """The farm's calendar day of the moment."""
        return day_of(self.order, at=self.at)


def moment_of(order: WorkOrder, *, now: dt.datetime) -> dt.datetime:
    """Return the moment that an order is judged for: its planned start, or now where that is past."""
    return max(order.starts_at, now)


def day_of(order: WorkOrder, *, at: dt.datetime) -> dt.date:
    """Return the farm's calendar day of a moment."""
    return checking.local_day(order.farm, at)


def against(action: str, case: Case) -> list[Fault]:
    """Return all that stands against a move, by the table, but for stock that is still to be reserved."""
    return [
        fault
        for demand in MOVES[action].of_kind(case.order.kind)
        if demand.name in CHECKS
        for fault in CHECKS[demand.name](case)
    ]


def mix_stops(check: MixCheck, *, now: dt.datetime) -> Iterator[Fault]:
    """Yield every stop of a check that is not overridden."""
    for finding in checks.open_stops(check=check, now=now):
        yield Fault("mix_stop", finding["says"], finding=finding)


def _mix(case: Case) -> Iterable[Fault]:
    if case.check is None:
        return ()
    seen_now = bool(case.observed.get("flowers_open"))
    flowers = bees.weeds_in_bloom(case.order, check=case.check, at=case.at, seen_now=seen_now)
    return [*mix_stops(case.check, now=case.now), *flowers]


def _sprayer(case: Case) -> Iterable[Fault]:
    if case.check is None:
        return ()
    handlers = people.handlers(case.order, on=case.day)
    return equipment.faults(case.order, check=case.check, handlers=handlers, on=case.day)


def _farm_limits(case: Case) -> Iterator[Fault]:
    """Yield the farm's own limits that are passed; they are only ever stricter than a label's."""
    for name, measured, above, id in FARM_LIMITS:
        limit = (case.order.farm.limits or {}).get(name)
        if limit is None or not case.observed.get(measured):
            continue
        bound, value = parse_quantity(limit), parse_quantity(case.observed[measured])
        passed = value.in_base() > bound.in_base() if above else value.in_base() < bound.in_base()
        if passed:
            says = _("%(measured)s is %(value)s; the farm's own limit is %(bound)s") % {
                "measured": spoken(measured),
                "value": amounts.words(value),
                "bound": amounts.words(bound),
            }
            yield Fault("mix_stop", says, f"/observed/{measured}", finding=_finding(id, says))


def _finding(id: str, says: str) -> dict[str, Any]:
    return {
        "id": id,
        "severity": "stop",
        "basis": "farm",
        "products": [],
        "says": says,
        "why": None,
        "do": _("wait until it is within the limit, or hold the order"),
        "source": None,
        "may_be_overridden": False,
    }


def _people_out(case: Case) -> Iterator[Fault]:
    if case.observed.get("people_out") is False:
        detail = _("somebody is still in the block: get everybody out first")
        yield Fault("people_in_block", detail, "/observed/people_out")
    yield from place.people_near(case.order)


def _stock_usable(case: Case) -> Iterator[Fault]:
    """Yield lots that are promised to an order and may not be used any more: expired or put aside since."""
    for row in promised(farm=case.order.farm).get(case.order.id, []):
        if not store.may_be_used(row.lot, on=case.day):
            detail = _(
                "lot %(lot)s of %(product)s is reserved for this and may not be used on %(day)s: call the "
                "order off and issue it anew from another lot"
            ) % {"lot": row.lot.number, "product": row.product.name, "day": case.day}
            yield Fault("stock_short", detail, refers_to=("lot", str(row.lot.id)))


@remembered
def promised(*, farm: Farm) -> dict[uuid.UUID, list[Reservation]]:
    """Return what is promised to the orders of a farm."""
    rows = Reservation.objects.for_farm(farm).filter(status="open").select_related("lot", "product")
    found: dict[uuid.UUID, list[Reservation]] = {}
    for row in rows.order_by("id"):
        found.setdefault(row.work_order, []).append(row)
    return found


def stage_condition(order: WorkOrder, *, at: dt.datetime) -> Iterator[Fault]:
    """Yield what the plan's line asks of the stage and the leaf drop and what was not seen."""
    line = line_of(order)
    block = order.block
    if line is None or block is None:
        return
    stage, drop = line.get("stage"), line.get("leaf_drop_minimum_percent")
    if stage:
        yield from _stage(block, stage, at=at)
    if drop is not None:
        yield from _leaf_drop(block, Decimal(str(drop)), at=at)


def line_of(order: WorkOrder) -> Mapping[str, Any] | None:
    """Return the programme's line that an order carries out."""
    if order.programme is None or order.line is None:
        return None
    return next((line for line in order.programme.lines if str(line.get("id")) == str(order.line)), None)


def _stage(block: Block, stage: Mapping[str, int], *, at: dt.datetime) -> Iterator[Fault]:
    seen = blocks.stage_on(block=block, at=at)
    first, last = stage.get("from"), stage.get("to")
    facts = {"first": first, "last": last, "block": block}
    if seen is None:
        yield Fault(
            "stage_unknown",
            _(
                "the plan wants BBCH %(first)s to %(last)s, and no stage of %(block)s was seen: look and "
                "enter it"
            )
            % facts,
        )
    elif not _within(seen.bbch, first, last):
        yield Fault(
            "stage_condition_unmet",
            _("the plan wants BBCH %(first)s to %(last)s; %(block)s was at BBCH %(bbch)s on %(on)s")
            % {**facts, "bbch": seen.bbch, "on": seen.observed_on},
            refers_to=("stage_observation", str(seen.id)),
        )


def _within(bbch: int, first: int | None, last: int | None) -> bool:
    """Say whether a stage lies in a window, which may pass through dormancy (93 to 57)."""
    first, last = 0 if first is None else first, 99 if last is None else last
    return first <= bbch <= last if first <= last else bbch >= first or bbch <= last


def _leaf_drop(block: Block, wanted: Decimal, *, at: dt.datetime) -> Iterator[Fault]:
    seen = blocks.leaf_drop_on(block=block, at=at)
    if seen is None or seen.leaf_drop_percent is None:
        detail = _("the plan wants %(wanted)s %% of leaves down, and nobody counted: look and enter it") % {
            "wanted": plain(wanted)
        }
        yield Fault("stage_unknown", detail)
    elif seen.leaf_drop_percent < wanted:
        yield Fault(
            "stage_condition_unmet",
            _(
                "the plan wants %(wanted)s %% of leaves down; %(block)s had %(percent)s %% on %(on)s: "
                "wait, or take the rest off"
            )
            % {
                "wanted": plain(wanted),
                "block": block,
                "percent": plain(seen.leaf_drop_percent),
                "on": seen.observed_on,
            },
            refers_to=("stage_observation", str(seen.id)),
        )


def harvest(order: WorkOrder, *, check: MixCheck | None, on: dt.date) -> Iterator[Fault]:
    """Yield where the first picking that is planned would come too soon after the spray."""
    block = order.block
    first = block.harvest_from if block else None
    interval = check.report["harvest"]["interval"] if check else None
    if block is None or first is None or interval is None or first < on:
        return
    wait = dt.timedelta(days=days(interval))
    if on + wait > first:
        detail = _(
            "picking begins on %(first)s and the label wants %(days)s days: the last day was %(last)s"
        ) % {"first": first, "days": wait.days, "last": first - wait}
        yield Fault("pre_harvest", detail, refers_to=("block", str(block.id)))


def days(interval: Mapping[str, str]) -> int:
    """Return an interval in whole days, begun ones counted."""
    return int((parse_quantity(interval).in_base() / DAY).to_integral_value(rounding=ROUND_CEILING))


CHECKS: dict[str, Callable[[Case], Iterable[Fault]]] = {
    "mix": _mix,
    "stage_condition": lambda case: stage_condition(case.order, at=case.at),
    "crew": lambda case: people.crew_of(case.order),
    "people": lambda case: people.faults(case.order, on=case.day),
    "sprayer": _sprayer,
    "re_entry": lambda case: place.re_entry(case.order, at=case.at),
    "harvest": lambda case: harvest(case.order, check=case.check, on=case.day),
    "told": lambda case: notices.missing(order=case.order, at=case.at, now=case.now, step="told"),
    "sign": lambda case: notices.missing(order=case.order, at=case.at, now=case.now, step="sign_up"),
    "farm_limits": _farm_limits,
    "people_out": _people_out,
    "stock_usable": _stock_usable,
}
