"""Lowbell Hollow with one more of everything that a page may show."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.utils import timezone

from orchard.blocks import services as blocks
from orchard.blocks.models import StageForecast
from orchard.crews.models import Calibration
from orchard.farms import access, journal
from orchard.farms.actors import SYSTEM
from orchard.farms.rows import new_id
from orchard.inventory import services as stock
from orchard.tasks.models import PlanningRun, Programme, WorkOrder
from orchard.tasks.services import finish, incidents, issue, loads, starting
from orchard.tasks.told import Told, because_of
from tests.factories import (
    BlockFactory,
    CrewFactory,
    LabelVersionFactory,
    MembershipFactory,
    ProductFactory,
    QualificationFactory,
    SprayerFactory,
    WorkerFactory,
    amount,
)
from tests.tasks.lowbell import CALM, ZONE, Lowbell, draft, lowbell, see, stocked

HOUR = dt.timedelta(hours=1)
DAY = dt.timedelta(days=1)
EVENTS = (("budburst", 7), ("first_bloom", 60), ("full_bloom", 65))
CORNER = (-120.0, 38.0)


@dataclass
class Plenty:
    """The farm, and the order, the draft and the block that its pages are asked for."""

    at: Lowbell
    work: WorkOrder
    draft: WorkOrder
    block: Any
    person: Any
    more: int = 0


@transaction.atomic
def plenty() -> Plenty:
    """Return the farm with one of everything."""
    at = lowbell(now=timezone.now() - HOUR)
    at.farm.emergency = "911"
    at.farm.save()
    manager = MembershipFactory(farm=at.farm, role="manager", worker=at.lead)
    blocks.change_block(block=at.a3, outline=_outline(0), by=SYSTEM, now=at.now)
    given = draft(at, at.a3, total="4", sprayer=at.backpack, handlers=[at.lead])
    issue.issue(order=given, by=SYSTEM, now=at.now)
    found = Plenty(at, given, draft(at), at.a2, manager.person)
    _weather(at)
    one_more(found)
    return found


@transaction.atomic
def one_more(to: Plenty) -> None:
    """Add one more of everything to what the pages list, and to the order and the block with a page."""
    to.more += 1
    at, n = to.at, to.more
    day = at.now.astimezone(ZONE).date()
    ground = BlockFactory(
        farm=at.farm, name=f"Row {n}", outline=_outline(n), area=amount("0.01", "acre"), trees=1
    )
    see(ground, bbch=97, now=at.now)
    for block in (ground, to.block):
        _expected(at, block, day, n)
    worker = WorkerFactory(farm=at.farm)
    for kind in ("handler_training", "licence"):
        QualificationFactory(farm=at.farm, worker=worker, kind=kind, number=f"Q-{n}")
    at.crew.members.add(CrewFactory(farm=at.farm, members=[worker]).members.get())
    to.work.handlers.add(worker)
    sprayer = SprayerFactory(farm=at.farm, kind="backpack", tank=amount("4", "gal"))
    journal.create(
        Calibration, farm=at.farm, sprayer=sprayer, on=day - DAY, due_on=day + 20 * DAY, by=SYSTEM, now=at.now
    )
    _on_the_shelf(at, n)
    _jobs(to, ground, sprayer)
    _plans(at, day)
    MembershipFactory(person=to.person, role="owner")  # a farm more to go to


def _weather(at: Lowbell) -> None:
    start = at.now.replace(minute=0, second=0, microsecond=0)
    rows = [
        {
            "at": start + hour * HOUR,
            "kind": "forecast",
            "temperature": amount("50", "degF"),
            "wind": amount("15" if hour > 36 else "5", "mph"),
            "rain": amount("0", "mm"),
        }
        for hour in range(48)
    ]
    blocks.store_hours(farm=at.farm, station="", rows=rows, now=start - 2 * DAY)


def _outline(n: int) -> dict[str, Any]:
    west, south = CORNER[0] + n * 0.001, CORNER[1]
    ring = [[west, south], [west + 0.0005, south], [west + 0.0005, south + 0.0005], [west, south]]
    return {"type": "Polygon", "coordinates": [ring]}


def _expected(at: Lowbell, block: Any, day: dt.date, n: int) -> None:
    on = day + (20 + n) * DAY
    odds = {"predicted": on, "low80": on - 5 * DAY, "high80": on + 6 * DAY, "issued_on": day + n * DAY}
    name, bbch = EVENTS[n % len(EVENTS)]
    event = {"event": name, "bbch": bbch, "model": "by hand", "block": block}
    journal.insert(StageForecast, farm=at.farm, by=SYSTEM, now=at.now, **event, **odds)


def _on_the_shelf(at: Lowbell, n: int) -> None:
    product = ProductFactory(farm=at.farm)
    LabelVersionFactory(farm=at.farm, product=product)
    for owner, number in ((product, "N"), (at.copper, f"C-{n}")):
        stocked(at.farm, owner, number, "1", "lb", now=at.now, expires_on=dt.date(2030, 1, n))
    asked = stock.Used(ProductFactory(farm=at.farm), None, amount("1", "lb"))
    stock.use(
        farm=at.farm, work_order=new_id(), load=new_id(), used=[asked], by=SYSTEM, at=at.now, now=at.now
    )


def _jobs(to: Plenty, ground: Any, sprayer: Any) -> None:
    """Add a draft, an order given out for another day, and one that was done on this block and on its own."""
    at = to.at
    window = {
        "latest": (at.now + 3 * DAY).isoformat(),
        **because_of([Told("%(number)s dry days known after it", number=2)]),
    }
    draft(at, ground, total="1", sprayer=sprayer, window=window)
    later = draft(at, ground, total="1", sprayer=sprayer, starts_at=at.now + DAY)
    issue.issue(order=later, by=SYSTEM, now=at.now)
    _done(to, sprayer)
    incidents.add_incident(
        farm=at.farm, kind="spill", place="gate", work_order=to.work, by=SYSTEM, now=at.now
    )


def _done(to: Plenty, sprayer: Any) -> None:
    """Spray the block that has a page, told by the person who reads."""
    at, by = to.at, access.enter_as(to.person, to.at.farm.id)[1]
    order = draft(at, to.block, total="1", sprayer=sprayer)
    issue.issue(order=order, by=SYSTEM, now=at.now)
    issue.accept(order=order, by=by, now=at.now)
    starting.start(order=order, by=by, now=at.now, observed=CALM)
    loads.record_load(
        order=order, number=1, spray=amount("1", "gal"), products=[{"product": at.copper}], by=by, now=at.now
    )
    finish.finish(order=order, by=by, now=at.now, nothing_unusual=True)


def _plans(at: Lowbell, day: dt.date) -> None:
    season = journal.create(
        Programme, farm=at.farm, by=SYSTEM, now=at.now, name="Winter", starts_on=day, ends_on=day + 90 * DAY
    )
    stop = Told("%(on)s was the last day before budburst", on=day)
    left = [{"code": "stage_passed", "says": str(stop), "told": stop.as_json()}]
    result = {"work_orders": [str(new_id())], "gap_percent": "0", "left_out": left}
    journal.create(
        PlanningRun, farm=at.farm, by=SYSTEM, now=at.now, programme=season, starts_at=at.now,
        ends_at=at.now + DAY, status="done", result=result,
    )  # fmt: skip
