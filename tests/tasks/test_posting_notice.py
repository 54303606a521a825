"""The notice of treated blocks: what, where, and from when people may go in."""

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import translation

from orchard.farms.actors import SYSTEM
from orchard.tasks.papers import notice_pdf, notices
from orchard.tasks.services import records, told
from tests.callers import Caller
from tests.factories import LabelVersionFactory, ProductFactory, amount
from tests.tasks.lowbell import ended, lowbell, mixed, under_way
from tests.tasks.papers import words

pytestmark = pytest.mark.django_db
HOUR, DAY = dt.timedelta(hours=1), dt.timedelta(days=1)


@pytest.fixture
def farm():
    return lowbell()


def sprayed(farm, block, product, *, at):
    return records.add_from_paper(
        farm=farm.farm,
        block=block,
        started_at=at - HOUR,
        finished_at=at,
        spray={"total": {"value": "1", "unit": "gal"}, "area": None, "trees": None},
        lines=(told.Line(product, amount("1", "fl_oz")),),
        sprayer=farm.backpack,
        by=SYSTEM,
        now=at,
    )


def items(farm, *, now):
    return notices.notice(farm=farm.farm, now=now)["items"]


def test_a_treated_block_says_what_where_and_when_entry_is_allowed(farm):
    ended(farm, mixed(farm))

    (item,) = items(farm, now=farm.now + HOUR)

    assert (item["state"], item["block"]["name"]) == ("closed", "A2")
    assert item["entry_allowed_from"] == farm.now + 48 * HOUR
    product = item["products"][0]
    assert (product["name"], product["registration"]) == ("Copper hydroxide 30 WG", "demo-0001")
    assert (product["active_ingredients"], product["re_entry"]["value"]) == (["copper hydroxide"], "48")


def test_it_stays_posted_until_thirty_days_after_the_interval_is_over(farm):
    ended(farm, mixed(farm))
    over = farm.now + 48 * HOUR

    assert [item["state"] for item in items(farm, now=over)] == ["open"]
    assert len(items(farm, now=over + 30 * DAY - HOUR)) == 1
    assert items(farm, now=over + 30 * DAY + HOUR) == []


def test_a_short_spray_after_a_long_one_lets_nobody_in_sooner(farm):
    ended(farm, mixed(farm))
    sprayed(farm, farm.a2, farm.oil, at=farm.now + HOUR)

    found = items(farm, now=farm.now + 10 * HOUR)

    assert len(found) == 2
    assert {item["state"] for item in found} == {"closed"}
    assert {item["entry_allowed_from"] for item in found} == {farm.now + 48 * HOUR}


def test_a_label_without_an_interval_is_never_fine(farm):
    silent = ProductFactory(farm=farm.farm, name="Kaolin 95 WP")
    LabelVersionFactory(
        farm=farm.farm, product=silent, label={"name": "Kaolin 95 WP", "uses": [{"crops": ["peach"]}]}
    )
    sprayed(farm, farm.a3, silent, at=farm.now)

    (item,) = items(farm, now=farm.now + 100 * HOUR)

    assert (item["state"], item["entry_allowed_from"]) == ("unknown", None)
    notice = notices.notice(farm=farm.farm, now=farm.now)
    assert "KEEP OUT: no label states" in words(notice_pdf.render(notice, farm=farm.farm, made_at=farm.now))


def test_a_block_that_is_being_sprayed_stands_on_top(farm):
    ended(farm, mixed(farm))
    under_way(farm, farm.a3, total="4", sprayer=farm.backpack)

    first, second = items(farm, now=farm.now)

    assert (first["state"], first["block"]["name"], first["finished_at"]) == ("being_sprayed", "A3", None)
    assert second["state"] == "closed"


def test_what_was_voided_is_taken_down(farm):
    record = ended(farm, mixed(farm))

    records.void(record=record, reason="wrong block", by=SYSTEM, now=farm.now)

    assert items(farm, now=farm.now) == []


@pytest.mark.parametrize(
    ("language", "told"),
    [
        (
            "en",
            ["KEEP OUT until Sun 20 Dec 2026, 10:00", "Harvest not before Friday 8 January 2027", "Reg. No."],
        ),
        (
            "es",
            ["NO ENTRE hasta dom 20 de diciembre de 2026, 10:00", "No cosechar antes del viernes 8 de enero"],
        ),
    ],
)
def test_the_notice_on_paper(farm, language, told):
    ended(farm, mixed(farm))
    notice = notices.notice(farm=farm.farm, now=farm.now)

    with translation.override(language):
        text = words(notice_pdf.render(notice, farm=farm.farm, made_at=farm.now))

    for one in (*told, "demo-0001", "copper hydroxide", "40 CFR 170.311(b)"):
        assert one in text


def test_everybody_reads_the_notice_and_it_asks_the_database_as_often_for_many(farm):
    caller = Caller(farm.farm, "crew_member")
    for block in (farm.a1, farm.a2):
        sprayed(farm, block, farm.oil, at=farm.now)
    since = CaptureQueriesContext(connection)
    with since:
        notices.notice(farm=farm.farm, now=farm.now)
    for turn in range(1, 8):
        sprayed(farm, farm.a3, farm.oil, at=farm.now + turn * HOUR)

    with CaptureQueriesContext(connection) as many:
        assert len(items(farm, now=farm.now + 9 * HOUR)) == 9

    assert len(many) == len(since)
    assert caller.get("posting-notice").status_code == 200
    file = caller.get(f"posting-notice.pdf?block={farm.a2.id}&language=es")
    assert (file["Content-Type"], file.content[:4]) == ("application/pdf", b"%PDF")
    assert caller.get("posting-notice?block=x").status_code == 400
