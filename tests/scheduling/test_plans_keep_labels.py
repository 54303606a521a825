"""Plans of several sprays and of several people: what labels, licences and the same pair of hands allow."""

import copy
import datetime as dt

import pytest

from orchard.tasks.models import WorkOrder
from tests.callers import Caller
from tests.factories import FarmFactory, SprayerFactory, amount
from tests.scheduling.test_planning_runs import FIRST, stock_up
from tests.scheduling.test_plans_of_a_farm import bare, crew, fine, orders, planned
from tests.tasks.test_mix_checks import COPPER_LABEL, OIL_LABEL, SULFUR_LABEL, product_with

pytestmark = pytest.mark.django_db


@pytest.fixture
def farm():
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
    oil, sulfur = product_with(farm, OIL_LABEL), product_with(farm, SULFUR_LABEL)
    oil.density = amount("0.85", "g/mL")
    oil.save()
    equipped(farm, oil, sulfur)
    bare(farm, "Lower")
    lines = line("Oil", oil, "1", "percent_vv"), line("Sulfur", sulfur, "3", "kg/ha")

    result = planned(manager, programme(manager, *lines))

    assert len(result["work_orders"]) == 1
    assert len(result["left_out"]) == 1


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
