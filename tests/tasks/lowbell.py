"""A small farm of peach and nectarine, invented: its blocks, people, sprayers and store, to work in."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from dataclasses import dataclass
from typing import Any

from orchard.blocks import services as blocks
from orchard.crews.models import Calibration
from orchard.farms import journal
from orchard.farms.actors import SYSTEM
from orchard.inventory import services as stock
from orchard.tasks import queries
from orchard.tasks.models import WorkOrder
from orchard.tasks.services import finish, issue, loads, orders, starting
from tests.factories import (
    CrewFactory,
    FarmFactory,
    LabelVersionFactory,
    LotFactory,
    ProductFactory,
    QualificationFactory,
    SprayerFactory,
    WorkerFactory,
    amount,
)

ZONE = zoneinfo.ZoneInfo("America/Los_Angeles")
SPRAY_DAY = dt.datetime(2026, 12, 18, 10, 0, tzinfo=ZONE)
CALM = {
    "wind": {"value": "5", "unit": "mph"},
    "temperature": {"value": "52", "unit": "degF"},
    "minimum_next_24h": {"value": "41", "unit": "degF"},
    "humidity_percent": "60",
    "rain_within_h": "60",
    "inversion": False,
    "people_out": True,
    "source": "hand-held meter",
}
COPPER = {
    "name": "Copper hydroxide 30 WG",
    "registration": "demo-0001",
    "active_ingredients": [
        {
            "name": "copper hydroxide",
            "content": {"value": "46", "unit": "percent_ww"},
            "metal": {"of": "copper", "content": {"value": "30", "unit": "percent_ww"}},
        }
    ],
    "formulation": "WG",
    "signal_word": "caution",
    "protection": {"handler": ["long_sleeves"], "early_entry": []},
    "uses": [
        {
            "crops": ["peach", "nectarine"],
            "rate": {"maximum": {"value": "1.6", "unit": "oz_wt/gal"}},
            "stages": [{"from": 93, "to": 53}],
            "re_entry": {"value": "48", "unit": "h"},
            "pre_harvest": {"value": "21", "unit": "d"},
            "wind": {"maximum": {"value": "10", "unit": "mph"}},
            "maximum_per_year": [{"of": "copper", "amount": {"value": "18", "unit": "lb/acre"}}],
        },
        {
            "crops": ["peach", "nectarine"],
            "rate": {"maximum": {"value": "12", "unit": "lb/acre"}},
            "stages": [{"from": 93, "to": 53}],
        },
    ],
}
OIL = {
    "name": "Horticultural mineral oil 98 EC",
    "registration": "demo-0002",
    "active_ingredients": [{"name": "mineral oil", "content": {"value": "98", "unit": "percent_vv"}}],
    "formulation": "EC",
    "signal_word": "caution",
    "protection": {"handler": ["long_sleeves"], "early_entry": []},
    "uses": [
        {
            "crops": ["peach", "nectarine"],
            "rate": {"maximum": {"value": "2", "unit": "percent_vv"}},
            "re_entry": {"value": "4", "unit": "h"},
            "pre_harvest": {"value": "0", "unit": "d"},
        }
    ],
    "mixing": {"may_mix_with": [{"what": "copper"}]},
}


@dataclass
class Lowbell:
    """The farm with what is on it; `a1` is Upper Nectarine, `a2` Lower Peach, `a3` the House Row."""

    farm: Any
    a1: Any
    a2: Any
    a3: Any
    tank: Any
    backpack: Any
    lead: Any
    wren: Any
    crew: Any
    copper: Any
    oil: Any
    first_lot: Any
    second_lot: Any
    oil_lot: Any
    now: dt.datetime


def lowbell(*, now: dt.datetime = SPRAY_DAY, bbch: int = 97) -> Lowbell:
    """Return the farm as it stands in the morning of a spray day."""
    farm = FarmFactory(name="Lowbell Hollow Orchard")
    ground = {}
    for name, crop, trees, rows, between in (
        ("a1", "nectarine", 96, "16", "18"),
        ("a2", "peach", 140, "18", "18"),
        ("a3", "peach", 12, "15", "15"),
    ):
        ground[name] = blocks.add_block(
            farm=farm,
            name=name.upper(),
            crop=crop,
            trees=trees,
            row_spacing=amount(rows, "ft"),
            tree_spacing=amount(between, "ft"),
            by=SYSTEM,
            now=now,
        )
        see(ground[name], bbch=bbch, now=now)
    tank = SprayerFactory(farm=farm, name="S-50", materials=["brass"])
    backpack = SprayerFactory(farm=farm, name="BP-4", kind="backpack", tank=amount("4", "gal"))
    for sprayer in (tank, backpack):
        day = now.astimezone(ZONE).date()
        year = dt.timedelta(days=365)
        journal.create(
            Calibration, farm=farm, sprayer=sprayer, on=day - year, due_on=day + year, by=SYSTEM, now=now
        )
    lead, wren = WorkerFactory(farm=farm, name="Teo"), WorkerFactory(farm=farm, name="Wren")
    for worker in (lead, wren):
        QualificationFactory(farm=farm, worker=worker)
    QualificationFactory(farm=farm, worker=lead, kind="licence", number="QAL-77")
    copper = ProductFactory(farm=farm, name="Copper hydroxide 30 WG")
    oil = ProductFactory(farm=farm, name="Mineral oil 98 EC", stock_unit="gal", base_unit="mL")
    LabelVersionFactory(farm=farm, product=copper, label=COPPER)
    LabelVersionFactory(farm=farm, product=oil, label=OIL)
    return Lowbell(
        farm=farm,
        **ground,
        tank=tank,
        backpack=backpack,
        lead=lead,
        wren=wren,
        crew=CrewFactory(farm=farm, name="Field crew", members=[lead, wren]),
        copper=copper,
        oil=oil,
        first_lot=stocked(farm, copper, "C-2201", "9.5", "lb", now=now, expires_on=dt.date(2097, 2, 28)),
        second_lot=stocked(farm, copper, "C-2305", "20", "lb", now=now, expires_on=dt.date(2098, 5, 31)),
        oil_lot=stocked(farm, oil, "O-1", "2.5", "gal", now=now),
        now=now,
    )


def see(block: Any, *, bbch: int, now: dt.datetime, **more: Any) -> Any:
    """Write down a stage seen on the day."""
    day = now.astimezone(ZONE).date()
    return blocks.add_stage(block=block, bbch=bbch, observed_on=day, by=SYSTEM, now=now, **more)


def stocked(
    farm: Any, product: Any, number: str, value: str, unit: str, *, now: dt.datetime, **more: Any
) -> Any:
    """Return a lot that was received."""
    lot = LotFactory(farm=farm, product=product, number=number, **more)
    stock.move(
        farm=farm, kind="receive", lot=lot, quantity=amount(value, unit), reason="", by=SYSTEM, now=now
    )
    lot.refresh_from_db()
    return lot


def draft(at: Lowbell, block: Any = None, *, total: str = "196", rate: str = "1.0", **more: Any) -> WorkOrder:
    """Return a draft of a copper spray with the 50-gal tank."""
    values: dict[str, Any] = {
        "kind": "spray",
        "block": block or at.a2,
        "sprayer": at.tank,
        "crew": at.crew,
        "starts_at": at.now,
        "products": [{"product": str(at.copper.id), "rate": {"value": rate, "unit": "oz_wt/gal"}}],
        "spray": {"total": {"value": total, "unit": "gal"}},
        "targets": ["leaf curl"],
        **more,
    }
    return orders.add_order(farm=at.farm, by=SYSTEM, now=at.now, **values)


def under_way(at: Lowbell, block: Any = None, **more: Any) -> WorkOrder:
    """Return an order that was issued, accepted and started."""
    order = draft(at, block, **more)
    issue.issue(order=order, by=SYSTEM, now=at.now)
    issue.accept(order=order, by=SYSTEM, now=at.now)
    return starting.start(order=order, by=SYSTEM, now=at.now, observed=CALM)


def mix(at: Lowbell, order: WorkOrder, number: int, gallons: str, **more: Any) -> WorkOrder:
    """Record one load from what is reserved."""
    return loads.record_load(
        order=order,
        number=number,
        spray=amount(gallons, "gal"),
        products=[{"product": at.copper}],
        by=SYSTEM,
        now=at.now,
        **more,
    )


def mixed(at: Lowbell, block: Any = None, **more: Any) -> WorkOrder:
    """Return the order on Lower Peach with its four loads mixed."""
    order = under_way(at, block, **more)
    for load in order.loads_planned:
        mix(at, order, load["number"], load["spray"]["value"])
    return order


def ended(at: Lowbell, order: WorkOrder, **told: Any) -> Any:
    """Finish an order and return its record on its own block."""
    told.setdefault("nothing_unusual", True)
    now = max(at.now, told.get("finished_at", at.now))
    finish.finish(order=order, by=SYSTEM, now=now, **told)
    return queries.records_of(farm=at.farm, orders=[order]).get(order.id)


def on_hand(lot: Any, unit: str = "lb") -> str:
    """Return what a lot holds, in words."""
    lot.refresh_from_db()
    base = amount(str(lot.on_hand_base), lot.product.base_unit)
    return f"{base.to(unit).value.normalize():f}"


def reserved(lot: Any, unit: str = "lb") -> str:
    """Return what of a lot is promised, in words."""
    lot.refresh_from_db()
    base = amount(str(lot.reserved_base), lot.product.base_unit)
    return f"{base.to(unit).value.normalize():f}"
