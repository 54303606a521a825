"""A job done: loads, the end, what was left in the tank, and what store, block and record say then."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from mixing.quantities import Quantity
from orchard.api.refusals import Refusal
from orchard.crews.models import Sprayer
from orchard.farms.rows import new_id
from orchard.inventory import queries as stock
from orchard.tasks import queries
from orchard.tasks.models import WorkOrder
from orchard.tasks.services.finish import Leftover
from orchard.tasks.services.orders import add_order
from scheduling import outbox
from scheduling.season import deeds, story, telling
from scheduling.season.farm import quantity
from scheduling.season.outing import observed
from scheduling.season.setting import Season

LOAD_TAKES = dt.timedelta(minutes=50)


def spray(season: Season, order: WorkOrder, asked: story.Try) -> None:
    """Do the job: start, one load after the other, the end, the wash; and what the store says then."""
    made, now = season.made, season.clock(asked.on)
    assert order.mix_check is not None
    season.tell(telling.tank_sheet(order, order.mix_check.report, season.names))
    order = deeds.begin(made, order, observed=observed(season, asked.on), now=now)
    for load in order.loads_planned:
        order = deeds.mix_load(made, order, load=load, now=now)
        now += LOAD_TAKES
    outbox.drain(now=now)
    rest = _rest(season, asked)
    if rest is None:
        order = _end_twice_told(season, order, now=now)
    else:
        order = _with_leftover(season, order, rest, now=now)
    season.orders[asked.line, asked.block] = order
    _account(season, order)
    done = deeds.wash(made, _sprayer(order), now=now + dt.timedelta(minutes=10))
    season.say(f"  {order.sprayer} is washed the same day: order {done.number}.")
    if "re-entry" not in season.told:
        season.told.add("re-entry")
        _too_soon(season, order, now=now)


def _sprayer(order: WorkOrder) -> Sprayer:
    assert order.sprayer is not None  # a spray names its sprayer
    return order.sprayer


def _end_twice_told(season: Season, order: WorkOrder, *, now: dt.datetime) -> WorkOrder:
    """Finish; the first time, the phone sends it again, and then somebody else does."""
    made, said = season.made, new_id()
    done = deeds.end(made, order, now=now, id=said)
    if "twice" in season.told:
        return done
    season.told.add("twice")
    again = deeds.end(made, done, now=now, id=said)
    season.say(
        f"  The phone sends the end of order {again.number} again: it is {again.status}, nothing more."
    )
    try:
        deeds.end(made, done, now=now + dt.timedelta(minutes=4), id=new_id())
    except Refusal as refused:
        season.tell(telling.refusal(refused, what=f"the end of order {done.number}, told by somebody else"))
    return done


def _rest(season: Season, asked: story.Try) -> Mapping[str, Any] | None:
    rest = story.script().leftover
    return rest if (rest["line"], rest["block"]) == (asked.line, asked.block) else None


def _with_leftover(
    season: Season, order: WorkOrder, rest: Mapping[str, Any], *, now: dt.datetime
) -> WorkOrder:
    """Ask for each block that the rest of the tank might go to, and finish on the first that is allowed."""
    made, volume = season.made, quantity(rest["volume"])
    mixed = sum((quantity(load["spray"]).to(volume.unit).value for load in order.loads_planned), Decimal(0))
    sprayed = Quantity(mixed - volume.value, volume.unit)
    season.say(f"  {telling.words(volume)} are left in the tank. Where may they go?")
    for name in rest["asked"]:
        leftover = Leftover(volume, "sprayed_out", made.blocks[name])
        try:
            done = deeds.end(made, order, now=now, leftover=leftover, sprayed=sprayed)
        except Refusal as refused:
            season.tell(telling.refusal(refused, what=f"spray the rest out on {name}"))
            continue
        season.say(f"  {name}: allowed, and done.")
        return done
    return deeds.end(made, order, now=now, leftover=Leftover(volume, "kept_labelled"), sprayed=sprayed)


def _account(season: Season, order: WorkOrder) -> None:
    """Say what the ledger, the block and the record hold now."""
    record = queries.records(farm=season.made.farm, work_order=order, status="current").order_by("id").first()
    assert record is not None
    zone = zoneinfo.ZoneInfo(season.made.farm.zone)
    season.say(f"  Done at {record.finished_at.astimezone(zone):%H:%M}. Out of the store:")
    lines = stock.movements(farm=season.made.farm).filter(work_order=order.id, kind="use")
    for line in lines.order_by("id"):
        season.say(telling.movement(line))
    for one in record.body["products"]:
        season.say(f"    {telling.applied(one, season.names)}")
    if record.re_entry_until:
        until = record.re_entry_until.astimezone(zone)
        season.say(f"  Nobody enters {record.block} before {until:%a} {until.day} {until:%b %H:%M}.")


def _too_soon(season: Season, order: WorkOrder, *, now: dt.datetime) -> None:
    """Ask for a walk through the block on the next morning."""
    made, morning = season.made, (now + dt.timedelta(days=1)).replace(hour=9, minute=0)
    walk = add_order(
        farm=made.farm,
        kind="scouting",
        block=order.block,
        crew=made.crew,
        starts_at=morning,
        by=made.manager,
        now=now,
    )
    try:
        deeds.give_out(made, walk, now=now)
    except Refusal as refused:
        season.tell(
            telling.refusal(refused, what=f"issue order {walk.number}, {walk.title}, for the next morning")
        )
    deeds.call_off(made, walk, reason="the block is closed then", now=now)
