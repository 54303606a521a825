"""What `issue` and `start` demand: each demand yields what stands against it, and all are asked at once."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping
from decimal import ROUND_CEILING, Decimal
from typing import Any

import mixing
from mixing import chemistry, compatibility, rulebook
from mixing.findings import Severity
from mixing.quantities import parse_quantity, plain
from orchard.api.refusals import Fault
from orchard.blocks import queries as blocks
from orchard.blocks.models import Block
from orchard.crews import queries as crews
from orchard.crews.models import Worker
from orchard.farms.models import Farm
from orchard.inventory.models import LabelVersion
from orchard.tasks import checks
from orchard.tasks.models import MixCheck, WorkOrder
from orchard.tasks.services import checking

HANDLED = ("spray", "equipment_wash", "calibration")
"""Kinds of work that somebody must do who may handle pesticides."""
WEED_KILLER = "herbicide"
DAY = Decimal(86400)


def moment_of(order: WorkOrder, *, now: dt.datetime) -> dt.datetime:
    """Return the moment that an order is judged for: its planned start, or now where that is past."""
    return max(order.starts_at, now)


def day_of(order: WorkOrder, *, at: dt.datetime) -> dt.date:
    """Return the farm's calendar day of a moment."""
    return checking.local_day(order.farm, at)


def for_issue(order: WorkOrder, *, check: MixCheck | None, at: dt.datetime, now: dt.datetime) -> list[Fault]:
    """Return all that stands against issuing an order, but for stock.

    :param check: its mix check for `at`; None for what is no spray
    """
    day = day_of(order, at=at)
    found = people(order, on=day)
    if order.kind != "spray":
        return [*found, *re_entry(order, at=at)]
    assert check is not None
    return [
        *mix_stops(check, now=now),
        *stage_condition(order, at=at),
        *found,
        *sprayer(order, check=check, on=day),
        *harvest(order, check=check, on=day),
    ]


def mix_stops(check: MixCheck, *, now: dt.datetime) -> Iterator[Fault]:
    """Yield every stop of a check that is not overridden."""
    for finding in checks.open_stops(check=check, now=now):
        yield Fault("mix_stop", finding["says"], finding=finding)


def people(order: WorkOrder, *, on: dt.date) -> list[Fault]:
    """Return what is wrong with who is to do the work on a day."""
    if order.crew is None:
        return [Fault("crew_missing", "nobody is to do this: name a crew", "/crew")]
    if order.kind not in HANDLED:
        return []
    if order.handlers.all():
        return list(unqualified(order.handlers.all(), on=on))
    if handlers(order, on=on):
        return []
    detail = f"nobody of {order.crew.name} may mix or spray on {on}: an adult with valid handler training may"
    return [Fault("crew_not_qualified", detail, "/crew", ("crew", str(order.crew.id)))]


def handlers(order: WorkOrder, *, on: dt.date) -> list[Worker]:
    """Return who mixes and sprays: those named, else all of the crew who may on that day."""
    named = list(order.handlers.all())
    if named or order.crew is None:
        return named
    return [one for one in order.crew.members.order_by("id") if crews.may_handle(worker=one, on=on)]


def unqualified(workers: Iterable[Worker], *, on: dt.date) -> Iterator[Fault]:
    """Yield who may not mix or spray on a day, without saying why."""
    for worker in workers:
        if not crews.may_handle(worker=worker, on=on):
            detail = f"{worker.name} may not mix or spray on {on}: see the worker's qualifications"
            yield Fault("worker_not_qualified", detail, refers_to=("worker", str(worker.id)))


def re_entry(order: WorkOrder, *, at: dt.datetime) -> Iterator[Fault]:
    """Yield the end of a re-entry interval that the work would begin in."""
    until = order.block.re_entry_until if order.block else None
    if until is not None and at < until:
        earliest = until.astimezone(checking.zone(order.farm)).isoformat()
        detail = f"nobody may work in {order.block} before {earliest}"
        refers = ("application_record", str(order.block.last_application)) if order.block else None
        yield Fault("block_in_re_entry", detail, refers_to=refers, earliest=earliest)


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
    wanted = f"the plan wants BBCH {first} to {last}"
    if seen is None:
        yield Fault("stage_unknown", f"{wanted}, and no stage of {block} was seen: look and enter it")
    elif not _within(seen.bbch, first, last):
        yield Fault(
            "stage_condition_unmet",
            f"{wanted}; {block} was at BBCH {seen.bbch} on {seen.observed_on}",
            refers_to=("stage_observation", str(seen.id)),
        )


def _within(bbch: int, first: int | None, last: int | None) -> bool:
    """Say whether a stage lies in a window, which may pass through dormancy (93 to 57)."""
    first, last = 0 if first is None else first, 99 if last is None else last
    return first <= bbch <= last if first <= last else bbch >= first or bbch <= last


def _leaf_drop(block: Block, wanted: Decimal, *, at: dt.datetime) -> Iterator[Fault]:
    seen = blocks.leaf_drop_on(block=block, at=at)
    if seen is None or seen.leaf_drop_percent is None:
        detail = f"the plan wants {plain(wanted)} % of leaves down, and nobody counted: look and enter it"
        yield Fault("stage_unknown", detail)
    elif seen.leaf_drop_percent < wanted:
        yield Fault(
            "stage_condition_unmet",
            f"the plan wants {plain(wanted)} % of leaves down; {block} had "
            f"{plain(seen.leaf_drop_percent)} % on {seen.observed_on}",
            refers_to=("stage_observation", str(seen.id)),
        )


def sprayer(order: WorkOrder, *, check: MixCheck, on: dt.date) -> Iterator[Fault]:
    """Yield what is wrong with the sprayer: calibration due, residue, kept for something else."""
    tool = order.sprayer
    assert tool is not None
    me = ("sprayer", str(tool.id))
    if crews.calibration_in_force(sprayer=tool, on=on) is None:
        yield Fault("sprayer_not_calibrated", f"no calibration of {tool} holds on {on}", "/sprayer", me)
    request = mixing.read_request(check.request)
    killers = [WEED_KILLER in chemistry.groups(product.label) for product in request.products]
    if tool.dedicated_to == WEED_KILLER and not all(killers):
        yield Fault("sprayer_dedicated", f"{tool} is kept for weed killers only", "/sprayer", me)
    dirty = weed_killers_in(tool.residue, farm=order.farm) if not all(killers) else []
    if dirty:
        detail = f"{tool} held a weed killer ({', '.join(dirty)}): wash it first"
        yield Fault("sprayer_not_clean", detail, "/sprayer", me)
    elif any(one.severity is Severity.STOP for one in compatibility.of_residue(request, rulebook.load())):
        detail = f"what {tool} held last ({', '.join(tool.residue)}) does not go with this mix: wash it first"
        yield Fault("sprayer_not_clean", detail, "/sprayer", me)


def weed_killers_in(residue: Iterable[str], *, farm: Farm) -> list[str]:
    """Return which ingredients kill weeds: by any label of the farm, or by the tables of the engine."""
    residue = list(residue)
    if not residue:
        return []
    labels = LabelVersion.objects.for_farm(farm).filter(label__function__contains=[WEED_KILLER])
    named = {
        ingredient["name"].casefold()
        for version in labels
        for ingredient in version.label.get("active_ingredients") or []
    }
    return [one for one in residue if one.casefold() in named or WEED_KILLER in chemistry.groups_of(one)]


def harvest(order: WorkOrder, *, check: MixCheck, on: dt.date) -> Iterator[Fault]:
    """Yield where the first picking that is planned would come too soon after the spray."""
    block = order.block
    first = block.harvest_from if block else None
    interval = check.report["harvest"]["interval"]
    if block is None or first is None or interval is None or first < on:
        return
    wait = dt.timedelta(days=days(interval))
    if on + wait > first:
        detail = (
            f"picking begins on {first} and the label wants {wait.days} days: the last day was {first - wait}"
        )
        yield Fault("pre_harvest", detail, refers_to=("block", str(block.id)))


def days(interval: Mapping[str, str]) -> int:
    """Return an interval in whole days, begun ones counted."""
    return int((parse_quantity(interval).in_base() / DAY).to_integral_value(rounding=ROUND_CEILING))
