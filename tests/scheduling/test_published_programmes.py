"""The three published season plans, taken over and planned in a real winter (Yeosu, 2023 to 2024)."""

import datetime as dt

import pytest

from orchard.blocks import services as ground
from orchard.farms.actors import SYSTEM
from orchard.inventory import services as store
from orchard.tasks.examples import shipped
from scheduling import outbox
from scheduling.forecast import Event
from scheduling.season import programmes, records, story
from tests.callers import Caller
from tests.clock import Clock
from tests.factories import (
    BlockFactory,
    CrewFactory,
    FarmFactory,
    LotFactory,
    QualificationFactory,
    SprayerFactory,
    WorkerFactory,
    amount,
)
from tests.stories.test_a_season import CUT, as_posted
from tests.tasks.test_adopting import copper, oil, product

pytestmark = pytest.mark.django_db
LOOKS = (
    ("2023-12-07", 95, "92"),
    ("2024-02-12", 0, None),
    ("2024-02-26", 51, None),
    ("2024-03-04", 53, None),
)
BUD_SWELL = 51
DAYS_AHEAD = dt.timedelta(days=13)


class Place:
    """A farm of one crop at the station, with a crew, a tank and a store."""

    def __init__(self, crop, clock):
        self.clock, self.farm = clock, FarmFactory()
        self.manager = Caller(self.farm, "manager")
        self.block = BlockFactory(farm=self.farm, crop=crop, area=amount("1", "acre"), trees=140)
        worker = QualificationFactory(farm=self.farm, worker=WorkerFactory(farm=self.farm)).worker
        CrewFactory(farm=self.farm, members=[worker])
        SprayerFactory(farm=self.farm, tank=amount("100", "gal"))
        for label, unit in ((copper(crop), "lb"), (oil(crop), "gal")):
            made = product(self.farm, label, unit)
            lot = LotFactory(farm=self.farm, product=made)
            plenty = amount("500", unit)
            now = clock.now
            store.move(
                farm=self.farm, kind="receive", lot=lot, quantity=plenty, reason="", by=SYSTEM, now=now
            )
        days = {"items": [as_posted(day, clock.now.date()) for day in CUT.weather]}
        assert self.manager.post("weather/days", days).status_code == 200

    def look(self, day, bbch, drop):
        self.clock.set(f"{day} 07:00")
        on = dt.date.fromisoformat(day)
        ground.add_stage(
            block=self.block, bbch=bbch, observed_on=on, leaf_drop_percent=drop, by=SYSTEM, now=self.clock.now
        )
        if bbch < 90:
            self.outlook(on)

    def outlook(self, on):
        names = ("predicted", "low80", "high80", "issued_on", "model")
        best = {one.event: one for one in story.outlook(records.load(), issued_on=on).forecasts}
        rows = [
            {name: getattr(one, name) for name in names} | {"event": one.event.value, "bbch": one.bbch}
            for one in best.values()
        ]
        ground.store_forecasts(block=self.block, issued_on=on, forecasts=rows, by=SYSTEM, now=self.clock.now)

    def plan(self, programme):
        ends = (self.clock.now + DAYS_AHEAD).isoformat()
        body = {"programme": programme, "from": self.clock.moment(), "until": ends}
        run = self.manager.post("planning-runs", body).json()
        outbox.drain(now=self.clock.now)
        done = self.manager.get(run["url"]).json()
        assert done["status"] == "done", done
        return done["result"]


@pytest.mark.parametrize(
    ("example", "crop"),
    [
        ("leaf-curl-peach-nectarine", "peach"),
        ("leaf-curl-peach-nectarine", "nectarine"),
        ("stone-fruit-dormant", "plum"),
        ("apple-pear-copper-oil", "apple"),
        ("apple-pear-copper-oil", "pear"),
    ],
)
def test_every_spray_of_a_published_programme_gets_a_dry_day_without_frost(monkeypatch, example, crop):
    place = Place(crop, Clock(monkeypatch, "2023-11-20 09:00"))
    season = {"from": "2023-11-01", "until": "2024-05-31"}
    made = place.manager.post(f"programme-examples/{example}/actions/adopt", season)
    assert made.status_code == 201, made.json()
    programme = made.json()

    planned = set()
    for day, bbch, drop in LOOKS:
        place.look(day, bbch, drop)
        for id in place.plan(programme["id"])["work_orders"]:
            planned.add(id)
    orders = [place.manager.get(f"work-orders/{id}").json() for id in planned]

    wanted = {line["id"] for line in programme["lines"] if line["kind"] == "spray"}
    assert {order["line"] for order in orders if order["kind"] == "spray"} == wanted
    weather = {day.on: day for day in CUT.weather}
    for order in orders:
        on = dt.date.fromisoformat(order["starts_at"][:10])
        night = weather[on + dt.timedelta(days=1)].minimum
        assert weather[on].rain.in_base() < 1 and night.in_base() > 0, order
        assert order["loads_planned"] or order["kind"] != "spray"


@pytest.mark.parametrize(
    ("example", "planned"),
    [("leaf-curl-peach-nectarine", 2), ("stone-fruit-dormant", 1), ("apple-pear-copper-oil", 2)],
)
def test_planned_day_by_day_what_is_done_is_inside_its_window_and_before_the_buds_burst(example, planned):
    """In this winter no open day lay between bud swell, as it is assumed, and the last safe day."""
    spring = programmes.Spring(CUT.season, CUT.bud_dates, {day.on: day for day in CUT.weather})

    done = programmes.replay(shipped()[example], spring)

    tally = programmes.tallied(shipped()[example], [spring])
    assert (tally.springs, tally.planned, tally.inside) == (1, planned, planned)
    assert tally.wanted == sum(1 for line in shipped()[example].lines if line.mix)
    for on in done.values():
        assert on < spring.on(Event.BUDBURST)


def test_a_place_with_too_few_springs_before_is_left_out():
    first = min(bud.season for bud in CUT.bud_dates)
    spring = programmes.Spring(first, CUT.bud_dates, {day.on: day for day in CUT.weather})

    assert programmes.tallied(shipped()["stone-fruit-dormant"], [spring]).springs == 0
