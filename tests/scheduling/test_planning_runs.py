"""A season plan asked for over HTTP, made by the worker from what the farm knows, and read back as drafts."""

import datetime as dt

import pytest
from django.utils import timezone

from orchard.blocks import services as blocks
from orchard.farms.actors import SYSTEM
from orchard.inventory import services as stock
from scheduling import outbox
from tests.callers import Caller, codes
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
from tests.tasks.test_mix_checks import COPPER_LABEL, product_with
from tests.web.people import at_the_pages, member

pytestmark = pytest.mark.django_db
FIRST, LAST = dt.date(2026, 12, 1), dt.date(2026, 12, 14)
LAST_WINDY, LAST_WET, FIRST_FINE = dt.date(2026, 12, 3), dt.date(2026, 12, 7), dt.date(2026, 12, 8)


@pytest.fixture(autouse=True)
def clock(monkeypatch):
    return Clock(monkeypatch, "2026-11-26 12:00")


@pytest.fixture
def farm(clock):
    return FarmFactory()


@pytest.fixture
def manager(farm):
    return Caller(farm, "manager")


@pytest.fixture
def block(farm):
    return BlockFactory(farm=farm, name="Lower Peach", area=amount("1.0413", "acre"), trees=140)


@pytest.fixture(autouse=True)
def people_and_weather(farm, manager):
    worker = QualificationFactory(farm=farm, worker=WorkerFactory(farm=farm)).worker
    CrewFactory(farm=farm, members=[worker])
    SprayerFactory(farm=farm, name="small", tank=amount("4", "gal"))
    SprayerFactory(farm=farm, name="large", tank=amount("50", "gal"))
    days = [weather_of(FIRST + dt.timedelta(days=step)) for step in range(22)]
    assert manager.post("weather/days", {"items": days}).status_code == 200


def weather_of(on):
    wind, rain = "15" if on <= LAST_WINDY else "5", "4" if LAST_WINDY < on <= LAST_WET else "0"
    return {
        "on": on.isoformat(),
        "kind": "forecast",
        "minimum": {"value": "41", "unit": "degF"},
        "maximum": {"value": "58", "unit": "degF"},
        "wind": {"value": wind, "unit": "mph"},
        "rain": {"value": rain, "unit": "mm"},
    }


def seen(block, *, bbch, leaf_drop):
    blocks.add_stage(
        block=block,
        bbch=bbch,
        observed_on=dt.date(2026, 11, 20),
        leaf_drop_percent=leaf_drop,
        by=SYSTEM,
        now=timezone.now(),
    )


@pytest.fixture
def copper(farm):
    """Twenty pounds of it, in one lot."""
    made = product_with(farm, COPPER_LABEL)
    stock_up(made, "20")
    return made


def stock_up(product, pounds, **lot):
    stock.move(
        farm=product.farm,
        kind="receive",
        lot=LotFactory(farm=product.farm, product=product, **lot),
        quantity=amount(pounds, "lb"),
        reason="",
        by=SYSTEM,
        now=timezone.now(),
    )


@pytest.fixture
def programme(farm, manager, block, copper):
    line = {
        "title": "Leaf-fall copper",
        "kind": "spray",
        "crops": ["peach"],
        "stage": {"from": 93, "to": 53},
        "leaf_drop_minimum_percent": "90",
        "targets": ["leaf curl"],
        "products": [{"product": str(copper.id), "rate": {"value": "1", "unit": "oz_wt/gal"}}],
        "volume_per_tree": {"value": "1.4", "unit": "gal"},
    }
    made = manager.post(
        "programmes", {"name": "Winter", "from": "2026-11-01", "until": "2027-03-31", "lines": [line]}
    )
    assert made.status_code == 201, made.json()
    return made.json()


def ask(manager, programme):
    body = {
        "programme": programme["id"],
        "from": f"{FIRST}T00:00:00-08:00",
        "until": f"{LAST}T23:00:00-08:00",
    }
    asked = manager.post("planning-runs", body)
    assert (asked.status_code, asked.json()["status"]) == (202, "queued"), asked.json()
    outbox.drain()
    return manager.get(asked.json()["url"]).json()


def test_the_first_fit_day_gets_a_draft_for_the_largest_tank(manager, programme, block):
    seen(block, bbch=97, leaf_drop="96")

    run = ask(manager, programme)

    assert (run["status"], run["progress_percent"], run["result"]["left_out"]) == ("done", 100, [])
    order = manager.get(f"work-orders/{run['result']['work_orders'][0]}").json()
    assert order["status"] == "draft"
    assert order["starts_at"].startswith(str(FIRST_FINE))
    assert [load["spray"]["value"] for load in order["loads_planned"]] == ["50", "50", "50", "46"]
    assert order["programme"] == programme["id"]


def test_leaves_that_hang_on_leave_the_block_out_and_say_so(manager, programme, block):
    seen(block, bbch=95, leaf_drop="55")

    result = ask(manager, programme)["result"]

    assert [one["code"] for one in result["left_out"]] == ["leaf_drop_unmet"]
    assert "55 % of the leaves of Lower Peach" in result["left_out"][0]["says"]


def test_why_a_block_is_left_out_is_said_in_the_readers_language_on_the_page(farm, manager, programme, block):
    seen(block, bbch=95, leaf_drop="55")
    [left] = ask(manager, programme)["result"]["left_out"]
    nia = at_the_pages(member(farm, "manager", language="es"))

    shown = nia.get(f"/farms/{farm.id}/plan").content.decode()

    assert set(left) == {"line", "block", "code", "says"}
    assert left["says"].startswith("55 % of the leaves of Lower Peach are down")
    assert "ha caído el 55 % de las hojas de Lower Peach" in shown and "of the leaves" not in shown


def test_the_page_names_the_line_and_the_block_that_are_left_out(farm, manager, programme, block):
    seen(block, bbch=95, leaf_drop="55")
    ask(manager, programme)

    shown = at_the_pages(member(farm, "manager")).get(f"/farms/{farm.id}/plan").content.decode()

    assert "Leaf-fall copper, Lower Peach:" in shown


def test_leaves_that_hang_on_get_a_job_of_their_own_before_the_spray_once(manager, programme, block):
    seen(block, bbch=95, leaf_drop="55")

    (made,) = ask(manager, programme)["result"]["work_orders"]
    again = ask(manager, programme)["result"]["work_orders"]

    order = manager.get(f"work-orders/{made}").json()
    assert (order["kind"], order["block"], order["status"]) == ("leaf_removal", str(block.id), "draft")
    assert "by hand, or wait" in order["title"]
    assert again == []


def test_why_a_day_is_the_day_and_what_the_work_is_called_is_said_in_the_readers_language(
    farm, manager, programme, block
):
    seen(block, bbch=97, leaf_drop="95")
    (made,) = ask(manager, programme)["result"]["work_orders"]
    window = manager.get(f"work-orders/{made}").json()["window"]
    nia = at_the_pages(member(farm, "manager", language="es"))

    shown = nia.get(f"/farms/{farm.id}/plan").content.decode()

    assert set(window) == {"earliest", "latest", "because"}
    assert window["because"].startswith("95 % of the leaves were down on Fri 20 Nov; mean wind 5 mph; ")
    assert "el 95 % de las hojas había caído el vie 20 de noviembre; viento medio 5 mph; " in shown
    assert "of the leaves" not in shown


def test_work_that_must_come_before_a_line_is_called_so_in_the_readers_language(
    farm, manager, programme, block
):
    seen(block, bbch=95, leaf_drop="55")
    ask(manager, programme)
    nia = at_the_pages(member(farm, "manager", language="es"))

    shown = nia.get(f"/farms/{farm.id}/plan").content.decode()

    assert "Quitar las hojas a mano, o esperar, antes de: Leaf-fall copper, Lower Peach" in shown
    assert "by hand" not in shown


def test_a_block_that_nobody_has_looked_at_is_left_out(manager, programme):
    assert [one["code"] for one in ask(manager, programme)["result"]["left_out"]] == ["stage_unknown"]


def test_a_second_run_keeps_what_is_planned(manager, programme, block):
    seen(block, bbch=97, leaf_drop="96")
    ask(manager, programme)

    again = ask(manager, programme)["result"]

    assert again["work_orders"] == []
    assert [one["code"] for one in again["left_out"]] == ["planned_already"]
    assert len(manager.get("work-orders").json()["items"]) == 1


def test_a_season_is_not_closed_over_an_open_order(manager, programme, block):
    seen(block, bbch=97, leaf_drop="96")
    ask(manager, programme)

    refused = manager.act(f"programmes/{programme['id']}", "close")

    assert (refused.status_code, codes(refused)) == (409, ["season_open"])
    order = manager.get("work-orders").json()["items"][0]
    assert refused.json()["errors"][0]["refers_to"] == {"kind": "work_order", "id": order["id"]}
    assert manager.act(order["url"], "cancel", {"reason": "not this year"}).status_code == 200
    assert manager.act(f"programmes/{programme['id']}", "close").json()["status"] == "closed"
    assert codes(manager.patch(f"programmes/{programme['id']}", {"name": "Other"})) == ["state_conflict"]


def test_an_advisers_plan_is_advice_until_a_manager_takes_it(farm, manager, programme):
    adviser = Caller(farm, "adviser")
    body = {key: programme[key] for key in ("name", "from", "until")} | {"lines": []}

    refused = adviser.post("programmes", body)
    made = adviser.post("programmes", {**body, "status": "advice"})

    assert (refused.status_code, made.status_code) == (422, 201)
    run = {"programme": made.json()["id"], "from": f"{FIRST}T00:00:00Z", "until": f"{LAST}T00:00:00Z"}
    assert codes(manager.post("planning-runs", run)) == ["state_conflict"]
    assert manager.patch(made.json()["url"], {"status": "active"}).json()["status"] == "active"
