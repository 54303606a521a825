"""Weather in: posted or from a file, with gaps, doubles, other units and zones, and what cannot be true."""

import datetime as dt
import json
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from orchard.blocks.models import WeatherDay, WeatherHour
from tests.callers import Caller, codes, pointers
from tests.factories import FarmFactory

pytestmark = pytest.mark.django_db
START = dt.datetime(2025, 12, 1, 8, tzinfo=dt.UTC)


@pytest.fixture
def farm():
    return FarmFactory()


@pytest.fixture
def manager(farm):
    return Caller(farm, "manager")


def hour(step, temperature="9", unit="degC", **more):
    return {
        "at": (START + dt.timedelta(hours=step)).isoformat(),
        "kind": "observed",
        "temperature": {"value": temperature, "unit": unit},
        **more,
    }


def load(farm, tmp_path, text, **options):
    path = tmp_path / "weather"
    path.write_text(text, encoding="utf-8")
    out = StringIO()
    call_command("import_weather", farm=str(farm.id), file=str(path), stdout=out, **options)
    return json.loads(out.getvalue())


def test_hours_are_stored_and_a_later_post_replaces(manager):
    first = manager.post("weather/hours", {"items": [hour(0), hour(1)]})
    again = manager.post("weather/hours", {"items": [hour(1, "11")]})

    assert (first.json(), again.json()) == ({"stored": 2}, {"stored": 1})
    found = manager.get("weather/hours").json()["items"]
    assert [one["temperature"]["value"] for one in found] == ["9", "11"]


def test_a_temperature_that_nothing_on_earth_had_is_refused(manager):
    refused = manager.post("weather/hours", {"items": [hour(0), hour(1, "61")]})

    assert (refused.status_code, codes(refused)) == (422, ["out_of_range"])
    assert pointers(refused) == ["/items/1/temperature/value"]
    assert "is it degF?" in refused.json()["errors"][0]["detail"]
    assert not WeatherHour.objects.exists()


def test_a_morning_in_fahrenheit_called_celsius_is_doubted_and_counts_as_not_known(manager):
    answer = manager.post("weather/hours", {"items": [hour(step, str(40 + step)) for step in range(8)]})

    assert {one["code"] for one in answer.json()["questions"]} == {"unit_suspect"}
    row = WeatherHour.objects.first()
    assert (row.sure("temperature"), row.doubts) == (None, ["temperature"])
    assert row.temperature.unit == "degC"  # kept as it was said


def test_fahrenheit_is_told_from_the_days_before_where_it_is_not_hot(manager):
    manager.post("weather/hours", {"items": [hour(step, "2") for step in range(12)]})

    answer = manager.post("weather/hours", {"items": [hour(12 + step, "34") for step in range(8)]})

    assert [one["code"] for one in answer.json()["questions"]] == ["unit_suspect"] * 8


def test_a_hot_day_among_hot_days_is_no_mistake(manager):
    manager.post("weather/hours", {"items": [hour(step, "31") for step in range(12)]})

    assert manager.post("weather/hours", {"items": [hour(12 + s, "34") for s in range(8)]}).json() == {
        "stored": 8
    }


def test_a_spike_is_doubted(manager):
    rows = [hour(0, "8"), hour(1, "31"), hour(2, "9")]

    (question,) = manager.post("weather/hours", {"items": rows}).json()["questions"]

    assert (question["pointer"], question["code"]) == ("/items/1/temperature", "spike")


def test_a_spike_is_doubted_too_where_each_hour_comes_by_itself(manager):
    for step, temperature in enumerate(("8", "31", "9")):
        manager.post("weather/hours", {"items": [hour(step, temperature)]})

    found = manager.get("weather/hours").json()["items"]

    assert [one["doubts"] for one in found] == [[], ["temperature"], []]


def test_fahrenheit_called_celsius_is_found_too_where_each_hour_comes_by_itself(manager):
    for step in range(9):
        manager.post("weather/hours", {"items": [hour(step, str(44 + step % 3))]})

    found = manager.get("weather/hours").json()["items"]

    assert [one["doubts"] for one in found[5:]] == [["temperature"]] * 4


def test_an_hour_of_tomorrow_has_not_been_observed(manager):
    tomorrow = {**hour(0), "at": (timezone.now() + dt.timedelta(days=1)).isoformat()}

    refused = manager.post("weather/hours", {"items": [hour(0), tomorrow]})

    assert (refused.status_code, codes(refused)) == (422, ["time_in_future"])
    assert pointers(refused) == ["/items/1/at"]
    assert not WeatherHour.objects.exists()
    assert manager.post("weather/hours", {"items": [{**tomorrow, "kind": "forecast"}]}).status_code == 200


def test_a_day_to_come_has_not_been_observed(manager):
    day = {"on": (timezone.now() + dt.timedelta(days=2)).date().isoformat(), "kind": "observed"}

    assert codes(manager.post("weather/days", {"items": [day]})) == ["time_in_future"]


def test_a_gust_below_the_wind_is_doubted(manager):
    wind, gust = {"value": "8", "unit": "mph"}, {"value": "3", "unit": "m/s"}

    (question,) = manager.post("weather/hours", {"items": [hour(0, wind=wind, gust=gust)]}).json()[
        "questions"
    ]

    assert question["code"] == "gust_below_wind"


def test_a_day_upside_down_is_refused(manager):
    low, high = {"value": "12", "unit": "degC"}, {"value": "40", "unit": "degF"}
    day = {"on": "2025-12-01", "kind": "observed", "minimum": low, "maximum": high}

    assert codes(manager.post("weather/days", {"items": [day]})) == ["invalid"]


def test_an_old_forecast_is_shown_as_stale_and_an_old_observation_is_not(manager):
    rows = [hour(0), {**hour(1), "kind": "forecast"}]
    manager.post("weather/hours", {"items": rows})
    WeatherHour.objects.update(received_at=timezone.now() - dt.timedelta(days=2))

    found = manager.get("weather/hours").json()["items"]

    assert [(one["kind"], one["stale"]) for one in found] == [("observed", False), ("forecast", True)]


def test_a_csv_file_in_us_units_is_stored_as_it_says(farm, tmp_path):
    text = "at,temperature [degF],wind [mph],rain [in],leaf_wet\n2025-12-01T00:00:00-08:00,50,5,0.1,true\n"

    told = load(farm, tmp_path, text, kind="observed")

    row = WeatherHour.objects.get()
    assert (told["stored"], row.temperature.unit, row.at, row.leaf_wet) == (1, "degF", START, True)


def test_gaps_and_doubles_are_told(farm, tmp_path):
    times = ["2025-12-01T00:00Z", "2025-12-01T01:00Z", "2025-12-01T01:00Z", "2025-12-01T05:00Z"]
    text = "at,kind,humidity_percent\n" + "".join(f"{at},observed,80\n" for at in times)

    told = load(farm, tmp_path, text)

    assert (told["stored"], told["duplicates"]) == (3, 1)
    assert told["gaps"] == [{"after": "2025-12-01T01:00:00+00:00", "before": "2025-12-01T05:00:00+00:00"}]


def test_local_times_of_the_night_with_an_hour_twice_become_two_hours(farm, tmp_path):
    times = ["2025-11-02T00:00", "2025-11-02T01:00", "2025-11-02T01:00", "2025-11-02T02:00"]
    text = "at,kind,humidity_percent\n" + "".join(f"{at},observed,80\n" for at in times)

    told = load(farm, tmp_path, text)

    assert (told["stored"], told["duplicates"], told["gaps"]) == (4, 0, [])


def test_an_hour_that_the_clocks_leave_out_is_a_fault(farm, tmp_path):
    with pytest.raises(CommandError, match="no such hour"):
        load(farm, tmp_path, "at,kind,humidity_percent\n2026-03-08T02:30,observed,80\n")


def test_another_zone_is_turned(farm, tmp_path):
    load(farm, tmp_path, "at,kind,humidity_percent\n2025-12-01T17:00,observed,80\n", zone="Asia/Seoul")

    assert WeatherHour.objects.get().at == START


def test_days_and_json_are_read_too(farm, tmp_path):
    day = {"on": "2025-12-01", "kind": "forecast", "rain": {"value": "3", "unit": "mm"}}

    assert load(farm, tmp_path, json.dumps({"items": [day]}))["what"] == "days"
    assert WeatherDay.objects.get().rain.value == 3


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("at,kind,temperature\n2025-12-01T00:00Z,observed,5\n", "say the unit of temperature"),
        ("at,kind,warmth [degC]\n", "is no column"),
        ("at,kind,temperature [degX]\n", "degX"),
        ("kind,humidity_percent\nobserved,80\n", "a column `at`"),
        ("at,kind,humidity_percent\n2025-12-01T00:00Z,observed,180\n", "between 0 and 100"),
        ("at,kind,temperature [degC]\n2025-12-01T00:00Z,observed,1e3\n", "plain decimal"),
        ("at,kind,rain [mm]\n2025-12-01T00:00Z,observed,-1\n", "below zero"),
        ("at,humidity_percent\n2025-12-01T00:00Z,80\n", "observed or forecast"),
        ("at,kind,humidity_percent\nyesterday,observed,80\n", "yesterday"),
        (
            "at,kind,humidity_percent\n2025-12-01T00:00Z,observed,80\n2025-12-01T01:00Z,observed,x\n",
            "row 2, hum",
        ),
        ("at,at,kind\n2025-12-01T00:00Z,2025-12-01T02:00Z,observed\n", "stands twice"),
        ("at,kind,humidity_percent\n2025-12-01T00:00Z,observed,80,5\n", "a comma within a number"),
        ("at,kind,minimum [degC]\n2025-12-01T00:00Z,observed,5\n", "an hour has no minimum"),
        ("on,kind,temperature [degC]\n2025-12-01,observed,5\n", "a day has no temperature"),
        ("on,kind,rain [mm]\n0001-01-01,observed,1\n", "is no day"),
        ("at,kind,humidity_percent\n9999-12-31T23:00-12:00,observed,80\n", "is no moment"),
        ('{"items": [{"at": "2025-12-01T00:00Z", "on": "2025-12-01", "kind": "observed"}]}', "says its time"),
        (
            '{"items": [{"at": "2025-12-01T00:00Z", "kind": "observed"},'
            ' {"on": "2025-12-01", "kind": "observed"}]}',
            "hours or days, not both",
        ),
        ("{not json", "no JSON"),
        ('{"hours": []}', "items"),
    ],
)
def test_a_file_with_a_mistake_says_what_and_where(farm, tmp_path, text, says):
    with pytest.raises(CommandError, match=says):
        load(farm, tmp_path, text)

    assert not WeatherHour.objects.exists()
