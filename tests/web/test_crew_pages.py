"""A crew's pages without any script: every form works, keeps what was typed and says what is wrong."""

import datetime as dt
import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from orchard.farms.actors import SYSTEM
from orchard.inventory import services as stock
from orchard.tasks.models import ApplicationRecord, Incident, Load
from orchard.tasks.papers import sheets
from orchard.tasks.services import issue
from tests.factories import FarmFactory, MembershipFactory, WorkerFactory, amount
from tests.tasks.lowbell import draft, lowbell, mixed, under_way
from tests.web.people import at_the_pages, member

pytestmark = pytest.mark.django_db
HOUR = dt.timedelta(hours=1)
CALM = {
    "revision:int": "1",
    "observed.wind.value": "5",
    "observed.wind.unit": "mph",
    "observed.temperature.value": "52",
    "observed.temperature.unit": "degF",
    "observed.humidity_percent": "60",
    "observed.rain_within_h": "60",
    "observed.minimum_next_24h.value": "41",
    "observed.minimum_next_24h.unit": "degF",
    "observed.people_out:bool": "true",
}


@pytest.fixture
def farm():
    return lowbell(now=timezone.now() - HOUR)


@pytest.fixture
def teo(farm):
    return at_the_pages(member(farm.farm, worker=farm.lead))


def given(farm, block=None, **more):
    order = draft(farm, block, **more)
    return issue.issue(order=order, by=SYSTEM, now=farm.now)


def page(farm, order, action=""):
    return f"/farms/{farm.farm.id}/work/{order.id}" + (f"/{action}" if action else "")


def text(response):
    return response.content.decode()


def test_a_day_of_a_crew_by_forms_alone_from_accepting_to_the_record(farm, teo):
    order = given(farm, farm.a3, total="4", sprayer=farm.backpack)

    assert order.title in text(teo.get(f"/farms/{farm.farm.id}/today"))
    for action, told in (
        ("accept", {"revision:int": "1"}),
        ("start", CALM),
        ("record_load", {
            "number:int": "1", "spray.value": "4", "spray.unit": "gal", "note": "",
            "products.0.product": str(farm.copper.id), "products.0.lots.0.lot": str(farm.first_lot.id),
            "products.0.lots.0.amount.value": "", "products.0.lots.0.amount.unit": "oz_wt",
        }),
        ("finish", {"nothing_unusual:bool": "true", "leftover.volume.unit": "gal", "leftover.fate": ""}),
    ):  # fmt: skip
        answer = teo.post(page(farm, order, action), told)
        assert answer.status_code == 302, (action, re.findall(r'class="(?:error|wrong)".*', text(answer)))

    record = ApplicationRecord.objects.get(work_order=order)
    assert record.body["weather"]["wind"] == {"value": "5", "unit": "mph"}
    assert record.created_by_name == "Teo"
    shown = text(teo.get(page(farm, order)))
    assert "Keep out of the block until" in shown
    arrived = text(teo.get(f"/farms/{farm.farm.id}/sent"))
    for told in ("Taken on", "Started", "Load 1 written down", "Finished"):
        assert told in arrived


def test_a_form_keeps_what_was_typed_and_says_what_is_wrong_beside_the_field_and_on_top(farm, teo):
    order = given(farm)
    teo.post(page(farm, order, "accept"), {"revision:int": "1"})

    answer = teo.post(page(farm, order, "start"), {**CALM, "observed.wind.value": "2,5"})

    assert answer.status_code == 422
    shown = text(answer)
    assert 'value="2,5"' in shown and 'value="52"' in shown
    assert '<p class="error" id="start-f-observed-wind-e">Write a number with a point' in shown
    assert "Look at what is marked below." in shown


def test_too_much_wind_is_refused_in_the_readers_language_and_the_order_stays(farm):
    client = at_the_pages(member(farm.farm, worker=farm.lead, language="es"))
    order = given(farm)
    client.post(page(farm, order, "accept"), {"revision:int": "1"})

    answer = client.post(page(farm, order, "start"), {**CALM, "observed.wind.value": "14"})

    order.refresh_from_db()
    assert (answer.status_code, order.status) == (409, "accepted")
    assert '<html lang="es">' in text(answer) and "viento" in text(answer).split('class="wrong"')[1][:600]


def test_a_crew_reads_in_its_language_that_its_copper_was_poured_away(farm):
    client = at_the_pages(member(farm.farm, worker=farm.lead, language="es"))
    order = given(farm)
    gone = {"lot": farm.first_lot, "quantity": amount("9", "lb"), "reason": "mojado"}
    assert "según el libro" not in text(client.get(page(farm, order)))

    stock.move(farm=farm.farm, kind="dispose", by=SYSTEM, now=timezone.now(), **gone)

    [told] = re.findall(
        r'<div class="watch" id="good-to-know">(.*?)</div>', text(client.get(page(farm, order)))
    )
    assert "según el libro el lote C-2201 de" in told and "mire si alcanza antes de mezclar" in told


def test_the_same_form_sent_twice_records_one_load(farm, teo):
    order = under_way(farm)
    told = {
        "key": "one-and-the-same",
        "number:int": "1",
        "spray.value": "50",
        "spray.unit": "gal",
        "products.0.product": str(farm.copper.id),
    }

    answers = [teo.post(page(farm, order, "record_load"), told).status_code for _ in range(2)]

    assert answers == [302, 302]
    assert Load.objects.filter(work_order=order).count() == 1


def test_work_that_is_no_spray_is_done_by_forms_too_with_a_break(farm, teo):
    order = given(farm, kind="leaf_removal", sprayer=None, products=[], spray=None, targets=[])

    for action, told in (
        ("accept", {"revision:int": "1"}),
        ("start", {"revision:int": "1", "at": ""}),
        ("hold", {"reason": "rain", "note": "", "at": ""}),
        ("resume", {"note": "", "at": ""}),
        ("finish", {"note": "done by hand", "id": "", "finished_at": ""}),
    ):
        answer = teo.post(page(farm, order, action), told)
        assert answer.status_code == 302, (action, re.findall(r'class="(?:error|wrong)".*', text(answer)))

    order.refresh_from_db()
    assert (order.status, [one["reason"] for one in order.pauses]) == ("done", ["rain"])


def test_what_is_held_offers_to_go_on_to_those_who_may(farm, teo):
    order = under_way(farm)
    teo.post(page(farm, order, "hold"), {"reason": "wind"})
    hand = at_the_pages(member(farm.farm, "crew_member", worker=farm.wren, name="Wren"))

    assert 'href="#resume"' in text(teo.get(page(farm, order)))
    assert "lets it go on" in text(hand.get(page(farm, order)))


def test_other_amounts_than_planned_are_told_by_lot(farm, teo):
    order = under_way(farm)

    answer = teo.post(page(farm, order, "record_load"), {
        "number:int": "1", "spray.value": "50", "spray.unit": "gal",
        "products.0.product": str(farm.copper.id), "products.0.lots.0.lot": str(farm.first_lot.id),
        "products.0.lots.0.amount.value": "3", "products.0.lots.0.amount.unit": "lb",
    })  # fmt: skip

    assert answer.status_code == 302, text(answer)[-2000:]
    (load,) = Load.objects.filter(work_order=order)
    assert load.products[0]["lots"][0]["amount"] == {"value": "3", "unit": "lb"}


def test_a_crew_sees_the_work_of_its_own_people_and_the_manager_all(farm):
    given(farm, title="Copper on the lower peach")
    ana = WorkerFactory(farm=farm.farm, name="Ana")
    others = at_the_pages(member(farm.farm, "crew_member", worker=ana, name="Ana"))
    manager = at_the_pages(member(farm.farm, "manager", name="Ines"))
    today = f"/farms/{farm.farm.id}/today"

    assert "Copper on the lower peach" in text(manager.get(today))
    assert "Nothing is waiting for you today." in text(others.get(today))


def test_a_stranger_finds_no_page_and_nobody_comes_in_without_signing_in(farm, client):
    order = given(farm)
    stranger = at_the_pages(member(FarmFactory()))

    for path in (page(farm, order), f"/farms/{farm.farm.id}/today", f"/farms/{farm.farm.id}/key"):
        assert stranger.get(path).status_code == 404
        answer = client.get(path)
        assert (answer.status_code, answer["Location"].split("?")[0]) == (302, "/sign-in")
    assert stranger.post(page(farm, order, "accept"), {}).status_code == 404


def test_who_may_not_act_reads_but_finds_no_buttons(farm):
    order = given(farm)
    adviser = at_the_pages(member(farm.farm, "adviser"))

    shown = text(adviser.get(page(farm, order)))

    assert order.title in shown and "Take it on" not in shown
    assert adviser.post(page(farm, order, "accept"), {"revision:int": "1"}).status_code == 403
    assert adviser.get(f"/farms/{farm.farm.id}/sent").status_code == 403


def test_a_danger_is_told_with_place_and_kind_alone(farm):
    client = at_the_pages(member(farm.farm, "crew_member"))
    path = f"/farms/{farm.farm.id}/incident"

    wrong = client.post(path, {"kind": "spill", "place": ""})
    told = client.post(path, {"kind": "spill", "place": "row 7"})

    assert wrong.status_code == 422 and "This is needed." in text(wrong)
    assert told.status_code == 302 and "passed on" in text(client.get(told["Location"]))
    assert [one.place for one in Incident.objects.all()] == ["row 7"]


def test_one_switches_the_farm_and_the_language(farm):
    teo = member(farm.farm)
    other = MembershipFactory(farm=FarmFactory(name="Upper Hollow"), person=teo.person, role="crew_lead")
    client, today = at_the_pages(teo), f"/farms/{farm.farm.id}/today"

    shown = text(client.get(today))
    client.post("/language", {"language": "es", "next": today})

    assert f'href="/farms/{other.farm.id}/today">Upper Hollow' in shown and "Español" in shown
    assert "Avisar de un peligro o accidente" in text(client.get(today))


def test_the_square_code_on_paper_leads_to_the_page(farm):
    order = given(farm)

    assert reverse("work", args=[farm.farm.id, order.id]) == sheets.page_of(order)


def test_a_page_loads_nothing_from_elsewhere_and_runs_nothing_written_into_it(farm, teo, client):
    order = given(farm)

    for answer in (
        client.get("/"),
        client.get("/sign-in"),
        teo.get(page(farm, order)),
        client.get("/offline"),
    ):
        policy = answer["Content-Security-Policy"]
        assert "default-src 'none'" in policy and "script-src 'self'" in policy and "unsafe" not in policy
        shown = text(answer)
        assert not re.findall(r"<script(?![^>]*\ssrc=)|<style|\sstyle=|\son\w+=", shown)
        assert not re.findall(r'(?:src|href|action)="(?:https?:)?//', shown)


@pytest.mark.parametrize("loads", ["50", "196"])
def test_a_page_asks_the_database_as_often_for_a_long_job(farm, teo, loads):
    order = given(farm, total=loads)
    teo.get(page(farm, order))

    with CaptureQueriesContext(connection) as asked:
        teo.get(page(farm, order))

    assert len(asked) <= 24


def test_todays_page_asks_the_database_as_often_for_many_orders(farm, teo):
    given(farm, farm.a3, total="4", sprayer=farm.backpack)
    teo.get(f"/farms/{farm.farm.id}/today")
    with CaptureQueriesContext(connection) as one:
        teo.get(f"/farms/{farm.farm.id}/today")
    for _ in range(5):
        given(farm, farm.a3, total="4", sprayer=farm.backpack)

    with CaptureQueriesContext(connection) as many:
        shown = text(teo.get(f"/farms/{farm.farm.id}/today"))

    assert shown.count("data-order=") == 6 and len(many) == len(one)


def test_a_key_is_the_same_at_every_sign_in_and_nobody_elses(farm):
    teo, ana = member(farm.farm), member(farm.farm, name="Ana")
    path = f"/farms/{farm.farm.id}/key"

    first, again = (at_the_pages(teo).get(path).json() for _ in range(2))
    other = at_the_pages(ana).get(path)

    assert first == again and first["key"] != other.json()["key"] and first["tag"] != other.json()["tag"]
    assert other["Cache-Control"] == "no-store"


def test_what_is_done_says_so_and_offers_no_form(farm, teo):
    order = mixed(farm)
    teo.post(page(farm, order, "finish"), {"nothing_unusual:bool": "true"})

    shown = text(teo.get(page(farm, order)))

    assert "data-action=" not in shown


def test_an_amount_is_said_once_where_it_is_measured_as_it_is(farm, teo):
    order = given(farm, farm.a3, total="4", sprayer=farm.backpack)

    shown = text(teo.get(page(farm, order)))

    assert "4 oz wt" in shown and "= 4 oz wt" not in shown
