"""A farm's blocks forecast from its own rows, stored, and read over HTTP."""

import csv
import datetime as dt
import re
import zoneinfo
from decimal import Decimal
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from mixing.quantities import Quantity
from orchard.blocks import services as blocks
from orchard.blocks.models import WeatherDay
from orchard.blocks.outlook_words import REFUSALS, REMARKS
from orchard.farms.actors import SYSTEM
from scheduling import buds, jobs
from scheduling.forecast.records import Event
from scheduling.forecast.sound import Day
from scheduling.forecast.species import STANDS_IN
from scheduling.season import records
from tests.callers import Caller
from tests.factories import BlockFactory, FarmFactory

pytestmark = pytest.mark.django_db
CUT = records.load()
ROOT = Path(__file__).parents[2]
ISSUED = dt.date(2024, 3, 1)
NOW = dt.datetime(2024, 3, 1, 12, tzinfo=zoneinfo.ZoneInfo("America/New_York"))


@pytest.fixture
def farm():
    return FarmFactory(zone="America/New_York")


@pytest.fixture
def block(farm):
    return BlockFactory(farm=farm, crop="peach")


def post_weather(farm, days=CUT.days, kind="observed"):
    rows = [
        {
            "on": day.on,
            "kind": kind,
            "minimum": Quantity(Decimal(str(day.minimum)), "degC"),
            "maximum": Quantity(Decimal(str(day.maximum)), "degC"),
        }
        for day in days
    ]
    blocks.store_days(farm=farm, station="", rows=rows, now=NOW)


def look(block, on, bbch):
    blocks.add_stage(block=block, by=SYSTEM, now=NOW, bbch=bbch, observed_on=on)


def test_the_forecast_of_a_block_is_read_with_its_odds_and_where_its_fit_is_from(farm, block):
    post_weather(farm)
    buds.forecast_farm(farm=farm, by=SYSTEM, now=NOW)

    items = Caller(farm, "crew_lead").get(f"blocks/{block.id}/forecast").json()["items"]

    assert [item["event"] for item in items] == ["budburst", "first_bloom", "full_bloom"]
    assert [item["bbch"] for item in items] == [53, 60, 65]
    assert all(item["low80"] <= item["predicted"] <= item["high80"] for item in items)
    assert all("Korea only" in item["model"] for item in items)
    assert {item["issued_on"] for item in items} == {"2024-03-01"}


def test_a_second_run_of_a_day_leaves_one_forecast(farm, block):
    post_weather(farm)
    for _ in range(2):
        buds.forecast_farm(farm=farm, by=SYSTEM, now=NOW)

    assert block.forecasts.count() == 3


def read(farm, block, **headers):
    return Caller(farm, "crew_lead").get(f"blocks/{block.id}/forecast", **headers).json()


def test_the_last_safe_day_and_what_must_be_said_stand_beside_the_forecast(farm, block):
    post_weather(farm, [day for day in CUT.days if day.on >= dt.date(2023, 10, 1)])
    (answer,) = buds.forecast_farm(farm=farm, by=SYSTEM, now=NOW)

    found = read(farm, block)

    burst = answer.outlook.forecasts[0]
    assert found["last_safe_day"]["on"] == str(burst.low80 - dt.timedelta(days=1))
    assert "Korea only" in found["last_safe_day"]["says"]
    assert any("no earlier season of weather here" in one for one in found["remarks"])
    assert (found["issued_on"], found["refused"]) == ("2024-03-01", None)


def test_a_refused_forecast_says_why_in_the_language_asked_for(farm, block):
    assert read(farm, block) == {
        "items": [],
        "issued_on": None,
        "last_safe_day": None,
        "remarks": [],
        "refused": None,
        "old": None,
    }
    buds.forecast_farm(farm=farm, by=SYSTEM, now=NOW)

    refused = read(farm, block)["refused"]
    spanish = read(farm, block, accept_language="es")["refused"]

    assert refused["code"] == spanish["code"] == "nothing_to_go_on"
    assert "0 earlier dates of budburst" in refused["says"]
    assert refused["says"] != spanish["says"]


def test_a_forecast_of_last_week_says_that_it_is_old(farm, block):
    post_weather(farm)
    buds.forecast_farm(farm=farm, by=SYSTEM, now=NOW)

    found, spanish = read(farm, block), read(farm, block, accept_language="es")

    assert "this forecast is of 1 Mar 2024" in found["old"]
    assert "este pronóstico es del 1 mar 2024" in spanish["old"]
    assert "estaciones de Corea" in spanish["last_safe_day"]["says"]


def test_a_forecast_whose_weather_ended_weeks_ago_says_so(farm, block):
    post_weather(farm, [day for day in CUT.days if day.on <= dt.date(2024, 2, 20)])
    buds.forecast_farm(farm=farm, by=SYSTEM, now=NOW)

    assert any("no day of weather since 2024-02-20" in one for one in read(farm, block)["remarks"])


def test_a_forecast_that_rests_on_an_old_forecast_of_the_weather_says_so(farm, block):
    post_weather(farm)
    ahead = [Day(ISSUED + dt.timedelta(step), 3.0, 12.0) for step in (1, 2, 3)]
    post_weather(farm, ahead, kind="forecast")
    fresh = buds.weather_of(farm, issued_on=ISSUED, now=NOW).old
    WeatherDay.objects.filter(kind="forecast").update(received_at=NOW - dt.timedelta(days=3))

    buds.forecast_farm(farm=farm, by=SYSTEM, now=NOW)

    assert not fresh
    assert any("more than a day old" in one for one in read(farm, block)["remarks"])


def test_every_remark_and_refusal_of_the_forecast_has_its_words():
    source = "".join(path.read_text() for path in (ROOT / "scheduling" / "forecast").glob("*.py"))
    refusals = set(re.findall(r'CannotForecast\(\s*"(\w+)"', source))
    source += (ROOT / "scheduling" / "buds.py").read_text()
    remarks = set(re.findall(r'Remark\(\s*"(\w+)"', source)) | set(STANDS_IN.values())

    assert refusals == set(REFUSALS)
    assert remarks | {"unlike_winter", "unlike_spring"} == set(REMARKS)


def test_days_that_are_doubted_are_not_forecast_from(farm, block):
    post_weather(farm)
    before = buds.weather_of(farm, issued_on=ISSUED)
    WeatherDay.objects.filter(on=dt.date(2024, 2, 10)).update(doubts=["maximum"])

    after = buds.weather_of(farm, issued_on=ISSUED)

    assert {day.on for day in before.observed} - {day.on for day in after.observed} == {dt.date(2024, 2, 10)}


def test_looks_into_the_block_count_as_its_bud_dates(farm, block):
    post_weather(farm)
    for year in range(2014, 2024):
        look(block, dt.date(year, 3, 30), 53)
        look(block, dt.date(year, 4, 14), 61)
        look(block, dt.date(year, 11, 20), 95)

    notes = list(buds.notes_of(block))

    assert len(notes) == 20
    assert {(note.event, note.on.month, note.on.day) for note in notes} == {
        (Event.BUDBURST, 3, 30),
        (Event.FIRST_BLOOM, 4, 14),
    }


def test_a_first_look_in_bloom_does_not_date_budburst(farm, block):
    look(block, dt.date(2024, 4, 10), 61)

    assert [note.event for note in buds.notes_of(block)] == [Event.FIRST_BLOOM]


def test_a_block_of_a_species_without_a_model_has_no_forecast(farm):
    block = BlockFactory(farm=farm, crop="apple")
    post_weather(farm)

    (answer,) = buds.forecast_farm(farm=farm, by=SYSTEM, now=NOW)

    assert answer.refused.code == "no_model"
    assert not block.forecasts.exists()


def test_without_weather_there_is_no_date_and_a_reason(farm, block):
    (answer,) = buds.forecast_farm(farm=farm, by=SYSTEM, now=NOW)

    assert answer.outlook is None
    assert answer.refused.code == "nothing_to_go_on"
    assert not block.forecasts.exists()


def test_a_block_that_lies_south_is_refused(farm):
    square = [[150.1, -34.2], [150.2, -34.2], [150.2, -34.1], [150.1, -34.1], [150.1, -34.2]]
    BlockFactory(farm=farm, crop="peach", outline={"type": "Polygon", "coordinates": [square]})
    post_weather(farm)

    (answer,) = buds.forecast_farm(farm=farm, by=SYSTEM, now=NOW)

    assert answer.refused.code == "other_hemisphere"


def test_weather_by_the_hour_stands_in_for_days(farm, block):
    zone = zoneinfo.ZoneInfo(farm.zone)
    rows = []
    for day in CUT.days:
        if dt.date(2023, 10, 1) <= day.on <= ISSUED:
            for hour in range(24):
                degrees = day.minimum if hour < 12 else day.maximum
                at = dt.datetime.combine(day.on, dt.time(hour), tzinfo=zone)
                rows.append(
                    {"at": at, "kind": "observed", "temperature": Quantity(Decimal(str(degrees)), "degC")}
                )
    post_weather(farm, [day for day in CUT.days if day.on < dt.date(2023, 10, 1)])
    blocks.store_hours(farm=farm, station="", rows=rows, now=NOW)

    (answer,) = buds.forecast_farm(farm=farm, by=SYSTEM, now=NOW)

    assert answer.outlook is not None
    assert "the weather up to" in answer.outlook.forecasts[0].says


def test_a_block_is_drawn_with_its_numbers_beside(farm, block, tmp_path):
    post_weather(farm)
    look(block, dt.date(2024, 2, 20), 51)
    buds.forecast_farm(farm=farm, by=SYSTEM, now=NOW)

    call_command("draw_buds", block=block.id, to=tmp_path)

    assert "last safe day" in (tmp_path / "forecast.svg").read_text(encoding="utf-8")
    with (tmp_path / "season.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert {"day": "2024-02-20", "what": "stage seen", "value": "51"} in rows


def test_a_block_without_a_forecast_is_not_drawn(farm, block, tmp_path):
    with pytest.raises(CommandError, match="nothing is forecast"):
        call_command("draw_buds", block=block.id, to=tmp_path)


def test_the_timer_forecasts_every_farm(farm, block, monkeypatch):
    post_weather(farm)

    assert buds.forecast_every_farm(now=NOW) == 1
    assert jobs.forecast_buds.name == "scheduling.forecast_buds"
    assert block.forecasts.count() == 3


def test_a_crop_without_a_model_is_named_in_the_language_asked_for(farm):
    apples = BlockFactory(farm=farm, crop="apple")
    buds.forecast_farm(farm=farm, by=SYSTEM, now=NOW)

    refused = read(farm, apples, accept_language="es")["refused"]

    assert "manzano" in refused["says"] and "apple" not in refused["says"] and "peach" not in refused["says"]
