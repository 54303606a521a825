"""A planned spray takes another mix of its line where a product is short or its group was just used."""

import datetime as dt

import pytest
from django.utils import timezone

from orchard.farms.actors import SYSTEM
from orchard.inventory import services as stock
from orchard.tasks.services import records
from orchard.tasks.services.told import Line
from scheduling.planning import with_mix
from tests.factories import (
    BlockFactory,
    FarmFactory,
    LabelVersionFactory,
    LotFactory,
    ProductFactory,
    SprayerFactory,
    amount,
)
from tests.tasks.test_mix_checks import COPPER_LABEL

pytestmark = pytest.mark.django_db
STARTS = dt.datetime(2026, 4, 20, 8, tzinfo=dt.UTC)


def group_label(name, code):
    return {
        "name": name,
        "active_ingredients": [{"name": name, "content": {"value": "50", "unit": "percent_ww"}}],
        "mode_of_action": [{"scheme": "FRAC", "code": code}],
        "formulation": "WG",
        "uses": [{"crops": ["apple", "peach"], "rate": {"maximum": {"value": "2", "unit": "lb/acre"}}}],
    }


@pytest.fixture
def farm():
    return FarmFactory()


@pytest.fixture
def block(farm):
    return BlockFactory(farm=farm, crop="apple", area=amount("1", "acre"))


def product(farm, label, *, holds=None):
    made = ProductFactory(farm=farm, name=label["name"])
    LabelVersionFactory(farm=farm, product=made, label=label)
    if holds:
        lot = LotFactory(farm=farm, product=made)
        stock.move(
            farm=farm,
            kind="receive",
            lot=lot,
            quantity=amount(holds, "lb"),
            reason="",
            by=SYSTEM,
            now=timezone.now(),
        )
    return made


def mix(product, rate="1"):
    return [{"product": str(product.id), "rate": {"value": rate, "unit": "lb/acre"}}]


def planned(farm, block, first, other):
    line = {"products": mix(first), "alternatives": [{"products": mix(other)}], "targets": ["apple scab"]}
    values = {
        "kind": "spray",
        "block": block,
        "sprayer": SprayerFactory(farm=farm),
        "spray": {"volume_per_area": {"value": "100", "unit": "gal/acre"}},
        "products": line["products"],
        "starts_at": STARTS,
        "window": {"earliest": None, "latest": None, "because": "the earliest fit day"},
    }
    return with_mix(values, raw=line, by=SYSTEM, now=STARTS)


def test_the_first_mix_is_planned_where_it_is_in_store(farm, block):
    first, other = (
        product(farm, group_label("a", "3"), holds="5"),
        product(farm, group_label("b", "7"), holds="5"),
    )

    assert planned(farm, block, first, other)["products"] == mix(first)


def test_another_mix_is_planned_where_the_first_is_short(farm, block):
    first, other = (
        product(farm, group_label("a", "3"), holds="0.4"),
        product(farm, group_label("b", "7"), holds="5"),
    )

    made = planned(farm, block, first, other)

    assert made["products"] == mix(other)
    assert "a is short by 0.6 lb" in made["window"]["because"]


def test_another_mix_is_planned_where_its_group_was_just_used(farm, block):
    first, other = (
        product(farm, group_label("a", "11"), holds="5"),
        product(farm, group_label("b", "7"), holds="5"),
    )
    sprayed(farm, block, first)

    made = planned(farm, block, first, other)

    assert made["products"] == mix(other)
    assert "times in a row" in made["window"]["because"]


def test_the_first_mix_stays_where_none_will_do(farm, block):
    first, other = product(farm, group_label("a", "3")), product(farm, COPPER_LABEL)

    made = planned(farm, block, first, other)

    assert made["products"] == mix(first)
    assert made["window"]["because"] == "the earliest fit day"


def sprayed(farm, block, product):
    """Write down from paper that the product went on the block two weeks before."""
    at = STARTS - dt.timedelta(days=14)
    records.add_from_paper(
        farm=farm,
        block=block,
        sprayer=SprayerFactory(farm=farm),
        started_at=at,
        finished_at=at + dt.timedelta(hours=1),
        spray={"total": None, "area": {"value": "1", "unit": "acre"}, "trees": None},
        lines=(Line(product=product, amount=amount("1", "lb"), rate=None, lots=()),),
        by=SYSTEM,
        now=STARTS,
    )
