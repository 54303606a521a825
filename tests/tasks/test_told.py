"""What is kept in English is said in the reader's language: sentences of plans and checks, our own titles."""

import datetime as dt

import pytest
from django.utils import timezone, translation

from mixing import check_mix
from orchard.farms.actors import SYSTEM
from orchard.tasks import checks, examples, titles, told
from tests.tasks.lowbell import draft, lowbell

pytestmark = pytest.mark.django_db


@pytest.fixture
def spanish():
    with translation.override("es"):
        yield


def test_a_stop_of_a_check_is_kept_in_every_language():
    farm = lowbell(now=timezone.now() - dt.timedelta(hours=1))
    order = draft(
        farm,
        farm.a2,
        products=[{"product": str(farm.copper.id), "rate": {"value": "99", "unit": "oz_wt/gal"}}],
    )
    check = checks.check_mix(
        farm=farm.farm, block=order.block, sprayer=order.sprayer,
        products=[checks.Wanted(farm.copper, order.products[0]["rate"])], spray=order.spray,
        at=order.starts_at, dry_run=True, by=SYSTEM, now=farm.now,
    )  # fmt: skip
    stop = next(one for one in check.report["findings"] if one["severity"] == "stop")

    kept = checks.in_each_language(check.request, stop)

    assert str(kept) == stop["says"]
    with translation.override("es"):
        there = next(
            one for one in check_mix(check.request, language="es")["findings"] if one["id"] == stop["id"]
        )
        assert told.said(kept.as_json()) == there["says"] != stop["says"]


def test_what_was_kept_before_its_parts_were_is_said_as_it_was(spanish):
    assert told.why({"because": "the earliest fit day"}) == "the earliest fit day"
    assert told.said_of({"code": "limit_passed", "says": "load 1: too much"}) == "load 1: too much"


def test_our_own_titles_are_said_in_spanish_and_a_persons_own_stay(spanish):
    assert titles.said("Spray, A3") == "Rociar, A3"
    assert titles.said("Copper on apple, silver tip to green tip, North, old trees").endswith(
        ", North, old trees"
    )
    assert titles.said("Copper on apple, silver tip to green tip, A1").startswith("Cobre en manzano")
    assert titles.said("Spray the old plum, not the young one") == "Spray the old plum, not the young one"
    before = titles.leaves_before("Copper at half leaf fall against shot hole")
    assert titles.said(f"{before}, A3") == (
        "Quitar las hojas a mano, o esperar, antes de: "
        "Cobre a media caída de hojas contra el tiro de munición, A3"
    )


def test_every_season_plan_that_is_shipped_and_each_line_of_it_has_its_spanish(spanish):
    ours = [
        text
        for one in examples.shipped().values()
        for text in (one.title, *(line.title for line in one.lines))
    ]

    assert [text for text in ours if titles.said(text) == text] == []
