"""Windows of a work order from what its farm stored: the hours before count, and parts of an hour add up."""

import datetime as dt

import pytest
from django.utils import timezone

from orchard.blocks import services as blocks
from tests.callers import Caller
from tests.clock import Clock
from tests.factories import amount
from tests.tasks.lowbell import SPRAY_DAY, lowbell

pytestmark = pytest.mark.django_db
HOUR = dt.timedelta(hours=1)
NOW = SPRAY_DAY


@pytest.fixture
def farm(monkeypatch):
    Clock(monkeypatch, f"{SPRAY_DAY:%Y-%m-%d %H:20}")
    return lowbell(now=SPRAY_DAY)


@pytest.fixture
def windows(farm):
    manager = Caller(farm.farm, "manager")
    body = {
        "kind": "spray",
        "block": str(farm.a2.id),
        "sprayer": str(farm.tank.id),
        "starts_at": NOW.isoformat(),
        "spray": {"total": {"value": "100", "unit": "gal"}},
        "products": [{"product": str(farm.copper.id), "rate": {"value": "1", "unit": "oz_wt/gal"}}],
    }
    made = manager.post("work-orders", body)
    assert made.status_code == 201, made.json()
    return lambda: manager.get(f"work-orders/{made.json()['id']}/windows").json()


def report(at, kind="forecast", *, temperature="9", humidity=60, wind="5", rain="0"):
    return {
        "at": at,
        "kind": kind,
        "temperature": amount(temperature, "degC"),
        "humidity_percent": humidity,
        "wind": amount(wind, "mph"),
        "rain": amount(rain, "mm"),
    }


def store(farm, *rows):
    ahead = [report(NOW + HOUR * step) for step in range(60)]
    blocks.store_hours(farm=farm.farm, station="", rows=ahead, now=timezone.now())
    blocks.store_hours(farm=farm.farm, station="", rows=rows, now=timezone.now())


def limits(window):
    return [one["limit"] for one in window["closed_by"]]


def test_a_fine_fortnight_is_open_from_this_hour_on(farm, windows):
    store(farm)

    first = windows()["items"][0]

    assert dt.datetime.fromisoformat(first["from"]) == NOW
    assert "frost" not in limits(first)


def test_the_frost_of_the_hour_before_is_ice_on_the_trees_now(farm, windows):
    store(farm, report(NOW - HOUR, "observed", temperature="-2"))

    first = windows()["items"][0]

    assert dt.datetime.fromisoformat(first["from"]) == NOW
    assert limits(first)[-1:] == ["frost"]
    assert "ice may be on the trees" in first["closed_by"][-1]["says"]


def test_the_rain_of_the_hour_before_has_wetted_the_trees_now(farm, windows):
    store(farm, report(NOW - HOUR, "observed", rain="3"))

    assert "wet" in limits(windows()["items"][0])


def test_a_squall_of_ten_minutes_closes_its_hour(farm, windows):
    squall = NOW + 3 * HOUR + dt.timedelta(minutes=10)
    store(farm, report(squall, wind="25"), report(squall + dt.timedelta(minutes=10), wind="4"))

    assert any(
        "wind 25 mph is above" in reason["says"] for one in windows()["items"] for reason in one["closed_by"]
    )


def test_rain_told_in_parts_of_an_hour_adds_up(farm, windows):
    drizzle = [report(NOW + 3 * HOUR + dt.timedelta(minutes=10 * part), rain="0.05") for part in range(1, 6)]
    store(farm, *drizzle)

    said = [reason["says"] for one in windows()["items"] for reason in one["closed_by"]]

    assert any("rain is due in 3 h (0.2 mm)" in says for says in said)
