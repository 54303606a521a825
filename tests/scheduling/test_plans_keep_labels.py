"""Plans of several sprays and of several people: what labels, licences and the same pair of hands allow."""

import copy
import datetime as dt
import re

import pytest

from orchard.crews.models import Crew, Sprayer, Worker
from orchard.tasks.models import WorkOrder
from tests.callers import Caller, codes
from tests.clock import Clock
from tests.factories import (
    CrewFactory,
    FarmFactory,
    QualificationFactory,
    SprayerFactory,
    WorkerFactory,
)
from tests.scheduling.test_planning_runs import FIRST, stock_up
from tests.scheduling.test_plans_of_a_farm import bare, crew, fine, orders, planned
from tests.tasks.test_mix_checks import COPPER_LABEL, OIL_LABEL, SULFUR_LABEL, product_with

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def clock(monkeypatch):
    return Clock(monkeypatch, "2026-11-26 12:00")


@pytest.fixture
def farm(clock):
    return FarmFactory()


@pytest.fixture
def manager(farm):
    return Caller(farm, "manager")


def label_of(given, **use):
    label = copy.deepcopy(given)
    for one in label["uses"]:
        one.update(use)
    return label


def line(title, product, rate="1", unit="oz_wt/gal", **more):
    return {
        "title": title,
        "kind": "spray",
        "crops": ["peach"],
        "products": [{"product": str(product.id), "rate": {"value": rate, "unit": unit}}],
        "volume_per_tree": {"value": "1.4", "unit": "gal"},
        **more,
    }


def programme(manager, *lines):
    body = {"name": "Winter", "from": "2026-11-01", "until": "2027-03-31", "lines": list(lines)}
    made = manager.post("programmes", body)
    assert made.status_code == 201, made.json()
    return made.json()


def equipped(farm, *products, days=22):
    crew(farm), SprayerFactory(farm=farm), fine(farm, days=days)
    for product in products:
        stock_up(product, "60")


def day(order):
    return dt.datetime.fromisoformat(order["starts_at"]).date()


def test_sulfur_is_not_planned_within_two_weeks_of_oil(farm, manager):
    oil = product_with(farm, {**OIL_LABEL, "density": {"value": "0.85", "unit": "kg/L"}})
    sulfur = product_with(farm, SULFUR_LABEL)
    equipped(farm, oil, sulfur)
    bare(farm, "Lower")
    lines = line("Oil", oil, "1", "percent_vv"), line("Sulfur", sulfur, "3", "kg/ha")

    result = planned(manager, programme(manager, *lines))

    assert len(result["work_orders"]) == 1
    (left,) = result["left_out"]
    assert left["code"] == "interval"
    assert (
        "on the block on Tue 1 Dec, and by labels and re-entry this may follow from Tue 15 Dec"
        in (left["says"])
    )


def test_the_day_on_which_the_labels_interval_is_over_is_planned_from_the_morning_on(farm, manager):
    copper = product_with(farm, label_of(COPPER_LABEL, interval={"value": "10", "unit": "d"}))
    equipped(farm, copper)
    bare(farm, "Lower")

    made = orders(
        manager, planned(manager, programme(manager, line("First", copper), line("Second", copper)))
    )

    assert sorted(day(one) for one in made) == [FIRST, FIRST + dt.timedelta(days=10)]
    assert max(one["starts_at"] for one in made).endswith("T08:00:00-08:00")


def test_a_spray_that_is_issued_keeps_its_interval_to_those_that_are_planned(farm, manager):
    copper = product_with(farm, label_of(COPPER_LABEL, interval={"value": "10", "unit": "d"}))
    equipped(farm, copper)
    bare(farm, "Lower")
    (one,) = orders(manager, planned(manager, programme(manager, line("First", copper))))
    WorkOrder.objects.filter(id=one["id"]).update(
        status="issued", starts_at=f"{FIRST + dt.timedelta(days=2)}T09:00:00-08:00", ends_at=None
    )

    result = planned(manager, programme(manager, line("Second", copper)))

    assert [day(one) for one in orders(manager, result)] == [FIRST + dt.timedelta(days=12)]


def test_two_sprays_that_would_pass_the_labels_number_of_a_year_are_not_both_planned(farm, manager):
    copper = product_with(farm, label_of(COPPER_LABEL, maximum_applications=1))
    equipped(farm, copper)
    bare(farm, "Lower")

    result = planned(manager, programme(manager, line("First", copper), line("Second", copper)))

    assert len(result["work_orders"]) == 1
    assert "by the label it may not follow" in result["left_out"][0]["says"]


def test_somebody_who_is_in_two_crews_is_not_planned_to_be_in_two_blocks_at_once(farm, manager):
    copper = product_with(farm, COPPER_LABEL)
    equipped(farm, copper)
    (both,) = Crew.objects.get().members.all()
    CrewFactory(farm=farm, name="South", members=[both, WorkerFactory(farm=farm)])
    SprayerFactory(farm=farm)
    bare(farm, "Lower"), bare(farm, "Upper")

    made = orders(manager, planned(manager, programme(manager, line("Copper", copper))))

    first, second = sorted(made, key=lambda one: one["starts_at"])
    assert second["starts_at"] >= first["ends_at"]


def test_somebody_who_is_out_with_one_crew_is_not_planned_with_another(farm, manager):
    copper = product_with(farm, COPPER_LABEL)
    equipped(farm, copper)
    (both,) = Crew.objects.get().members.all()
    bare(farm, "Lower")
    (one,) = orders(manager, planned(manager, programme(manager, line("Copper", copper))))
    south = CrewFactory(farm=farm, name="South", members=[both])
    WorkOrder.objects.filter(id=one["id"]).update(status="issued", crew=south)
    upper, _ = bare(farm, "Upper"), SprayerFactory(farm=farm)

    plan = programme(manager, line("More copper", copper, crops=[], blocks=[str(upper.id)]))
    (other,) = orders(manager, planned(manager, plan))

    assert other["starts_at"] >= one["ends_at"]


LICENCE = "somebody with a valid licence"
FIT_TEST = "a valid respirator fit test"


@pytest.mark.parametrize(
    ("label", "kind", "wanted"),
    [
        ({"restricted_use": True}, "licence", LICENCE),
        ({"protection": {"handler": ["half_face_respirator"]}}, "respirator_fit_test", FIT_TEST),
    ],
)
def test_a_crew_is_sent_with_what_the_label_asks_of_its_handlers(farm, manager, label, kind, wanted):
    copper = product_with(farm, {**COPPER_LABEL, **label})
    equipped(farm, copper)
    bare(farm, "Lower")
    plan = programme(manager, line("Copper", copper))

    without = planned(manager, plan)
    QualificationFactory(
        farm=farm, worker=Worker.objects.get(), kind=kind, obtained_on=FIRST + dt.timedelta(days=3)
    )
    result = planned(manager, plan)

    assert [one["code"] for one in without["left_out"]] == ["crew_not_qualified"]
    assert wanted in without["left_out"][0]["says"]
    assert [day(one) for one in orders(manager, result)] == [FIRST + dt.timedelta(days=3)]


def test_a_crew_without_people_is_sent_nowhere(farm, manager):
    CrewFactory(farm=farm), fine(farm), bare(farm, "Lower")
    leaves = {"title": "Leaves off", "kind": "leaf_removal", "crops": ["peach"]}

    result = planned(manager, programme(manager, leaves))

    assert [one["says"] for one in result["left_out"]] == ["there is no crew with people in it: make one"]


def test_a_block_that_an_issued_order_keeps_closed_is_told_by_that_order(farm, manager):
    copper = product_with(farm, label_of(COPPER_LABEL, interval={"value": "30", "unit": "d"}))
    equipped(farm, copper)
    bare(farm, "Lower")
    (one,) = orders(manager, planned(manager, programme(manager, line("First", copper))))
    WorkOrder.objects.filter(id=one["id"]).update(status="issued")

    (left,) = planned(manager, programme(manager, line("Second", copper)))["left_out"]

    assert left["code"] == "block_closed"
    assert f"order {one['number']} is on the block on Tue 1 Dec" in left["says"]
    assert "may follow from Thu 31 Dec on" in left["says"]


def test_buying_what_is_said_to_be_short_brings_the_spray_in(farm, manager):
    copper = product_with(farm, COPPER_LABEL)
    crew(farm), SprayerFactory(farm=farm), fine(farm), stock_up(copper, "15")
    bare(farm, "Lower", trees=137), bare(farm, "Upper", trees=143)
    plan = programme(manager, line("Copper", copper, "0.97"))

    (left,) = planned(manager, plan)["left_out"]
    stock_up(copper, re.search(r"short by ([0-9.]+) lb", left["says"])[1])

    assert len(planned(manager, plan)["work_orders"]) == 1


def test_a_repeat_that_is_due_after_the_plan_is_told_with_its_day(farm, manager):
    copper = product_with(farm, COPPER_LABEL)
    equipped(farm, copper)
    bare(farm, "Lower")
    plan = programme(manager, line("Copper", copper, repeat_after={"value": "60", "unit": "d"}))
    (one,) = orders(manager, planned(manager, plan))
    WorkOrder.objects.filter(id=one["id"]).update(
        status="done", finished_at=f"{FIRST}T18:00:00Z", started_at=f"{FIRST}T16:00:00Z"
    )

    (left,) = planned(manager, plan)["left_out"]

    assert (left["code"], left["says"]) == (
        "too_early",
        "it may be done from Sat 30 Jan on: plan on to that day",
    )


def test_what_the_store_cannot_count_is_not_taken_to_be_there(farm, manager):
    oil = product_with(farm, OIL_LABEL)  # kept in pounds, mixed by volume, of no known density
    equipped(farm, oil)
    bare(farm, "Lower")

    (left,) = planned(manager, programme(manager, line("Oil", oil, "1", "percent_vv")))["left_out"]

    assert left["code"] == "unit_needs_density"
    assert "its label needs a density" in left["says"]


def test_a_block_without_trees_or_area_is_left_out_with_what_is_missing(farm, manager):
    copper = product_with(farm, COPPER_LABEL)
    equipped(farm, copper)
    bare(farm, "Lower", area=None, trees=None)
    by_area = {"volume_per_tree": None, "volume_per_area": {"value": "100", "unit": "gal/acre"}}
    lines = line("By tree", copper), line("By area", copper, **by_area)

    result = planned(manager, programme(manager, *lines))

    assert result["work_orders"] == []
    for left in result["left_out"]:
        assert "trees" in left["says"] or "area" in left["says"], left


def test_no_work_is_planned_into_the_past(farm, manager, clock):
    copper = product_with(farm, COPPER_LABEL)
    equipped(farm, copper)
    bare(farm, "Lower")
    clock.set("2026-12-04 10:40")

    (order,) = orders(manager, planned(manager, programme(manager, line("Copper", copper))))

    assert order["starts_at"] == "2026-12-04T10:45:00-08:00"


def test_a_plan_that_ends_in_the_past_or_in_ten_years_is_refused(farm, manager, clock):
    plan = programme(manager, line("Copper", product_with(farm, COPPER_LABEL)))
    clock.set("2027-02-01 08:00")

    for since, until in (("2026-12-01", "2026-12-14"), ("2027-02-01", "2037-02-01")):
        when = {"from": f"{since}T00:00:00-08:00", "until": f"{until}T00:00:00-08:00"}
        refused = manager.post("planning-runs", {"programme": plan["id"], **when})

        assert (refused.status_code, codes(refused)) == (422, ["out_of_range"])


def test_quiet_hours_are_kept_where_the_weather_is_known_by_the_day_alone(farm, manager):
    hours = {"quiet_from": {"value": "6", "unit": "h"}, "quiet_until": {"value": "11", "unit": "h"}}
    farm.limits = hours
    farm.save()
    copper = product_with(farm, COPPER_LABEL)
    equipped(farm, copper)
    bare(farm, "Lower")
    leaves = {"title": "Leaves off", "kind": "leaf_removal", "crops": ["peach"]}

    made = orders(manager, planned(manager, programme(manager, line("Copper", copper), leaves)))

    assert {one["starts_at"][11:16] >= "11:00" for one in made} == {True}
    assert len(made) == 2


def test_a_line_that_was_changed_leaves_its_draft_alone_and_says_so(farm, manager):
    copper = product_with(farm, COPPER_LABEL)
    equipped(farm, copper)
    bare(farm, "Lower")
    plan = programme(manager, line("Copper", copper))
    (draft,) = orders(manager, planned(manager, plan))
    manager.patch(
        plan["url"],
        {
            "lines": [
                {
                    **plan["lines"][0],
                    "title": "Less copper",
                    "products": [{"product": str(copper.id), "rate": {"value": "0.5", "unit": "oz_wt/gal"}}],
                }
            ]
        },
    )

    result = planned(manager, plan)

    (left,) = result["left_out"]
    assert (result["work_orders"], left["code"]) == ([], "planned_already")
    assert f"order {draft['number']}, with another mix than the line has now" in left["says"]
    assert manager.get(f"work-orders/{draft['id']}").json()["products"] == draft["products"]


def test_a_draft_whose_mix_was_changed_by_hand_takes_from_the_store_what_it_will_use(farm, manager):
    copper = product_with(farm, COPPER_LABEL)
    crew(farm), SprayerFactory(farm=farm), fine(farm), stock_up(copper, "14")
    bare(farm, "Lower")
    plan = programme(manager, line("Copper", copper, "0.5"))
    (draft,) = orders(manager, planned(manager, plan))
    more = [{"product": str(copper.id), "rate": {"value": "1", "unit": "oz_wt/gal"}}]
    assert manager.patch(draft["url"], {"products": more}).status_code == 200
    bare(farm, "Upper")

    result = planned(manager, plan)

    assert [one["code"] for one in result["left_out"] if one["code"] != "planned_already"] == ["stock_short"]


def test_leaves_that_hang_on_before_two_sprays_are_taken_off_once(farm, manager):
    copper = product_with(farm, COPPER_LABEL)
    equipped(farm, copper)
    bare(farm, "Lower", leaves_down="60")
    wanted = {"stage": {"from": 93, "to": 53}, "leaf_drop_minimum_percent": "90"}

    plan = programme(manager, line("First", copper, **wanted), line("Second", copper, **wanted))

    assert [one["kind"] for one in orders(manager, planned(manager, plan))] == ["leaf_removal"]


def outlined(west):
    """Return a block of about 100 m by 100 m whose west side lies there."""
    east, south, north = west + 0.001, 45.0, 45.0009
    ring = [[west, south], [east, south], [east, north], [west, north], [west, south]]
    return {"type": "Polygon", "coordinates": [ring]}


def test_nobody_is_sent_beside_a_block_that_is_sprayed_meanwhile(farm, manager):
    copper = product_with(farm, COPPER_LABEL)
    equipped(farm, copper), crew(farm, "South")
    sprayed = bare(farm, "Lower", outline=outlined(-120.0))
    beside = bare(farm, "Upper", outline=outlined(-119.9989))
    leaves = {"title": "Leaves off", "kind": "leaf_removal", "blocks": [str(beside.id)]}
    spray = line("Copper", copper, crops=[], blocks=[str(sprayed.id)])

    made = orders(manager, planned(manager, programme(manager, spray, leaves)))

    first, second = sorted(made, key=lambda one: one["starts_at"])
    assert second["starts_at"] >= first["ends_at"]


def test_a_block_beside_one_in_re_entry_waits_as_its_windows_say(farm, manager):
    copper = product_with(farm, COPPER_LABEL)
    equipped(farm, copper)
    bare(farm, "Lower", outline=outlined(-120.0), re_entry_until="2026-12-03T20:00:00Z", crop="pear")
    bare(farm, "Upper", outline=outlined(-119.9989))

    (order,) = orders(manager, planned(manager, programme(manager, line("Copper", copper))))

    assert order["starts_at"] >= "2026-12-03T12:00:00-08:00"


def test_a_draft_that_can_no_longer_be_done_is_named(farm, manager):
    copper = product_with(farm, COPPER_LABEL)
    equipped(farm, copper)
    bare(farm, "Lower")
    plan = programme(manager, line("Copper", copper))
    (draft,) = orders(manager, planned(manager, plan))
    Sprayer.objects.update(archived=True)

    (left,) = planned(manager, plan)["left_out"]

    assert left["code"] == "no_sprayer"
    assert f"order {draft['number']} stays a draft as it was" in left["says"]
