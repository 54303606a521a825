"""A farm's blocks forecast from its own rows, stored, and read over HTTP."""

import csv
import datetime as dt
import zoneinfo
from decimal import Decimal

import pytest
from django.core.management import CommandError, call_command

from mixing.quantities import Quantity
from orchard.blocks import services as blocks
from orchard.farms.actors import SYSTEM
from scheduling import buds, jobs
from scheduling.forecast.records import Event
from scheduling.season import records
from tests.callers import Caller
from tests.factories import BlockFactory, FarmFactory

pytestmark = pytest.mark.django_db
CUT = records.load()
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

    assert buds.forecast_farm(farm=farm, by=SYSTEM, now=NOW) == ()
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
