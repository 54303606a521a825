"""The plot of open hours: every hour has a sign, and the numbers stand beside it."""

import datetime as dt
import json
from dataclasses import replace
from io import StringIO
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

import pytest
from django.core.management import call_command
from django.utils import timezone

from orchard.blocks import services as blocks
from scheduling.bounds import in_force
from scheduling.plots import open_hours
from scheduling.windows import Place, spray_windows
from tests.callers import Caller
from tests.factories import amount
from tests.scheduling.orchard_weather import NOON, hour
from tests.tasks.lowbell import lowbell
from tests.tasks.test_work_orders import made

SVG = "{http://www.w3.org/2000/svg}"
MIDNIGHT = dt.datetime(2026, 12, 18, 8, tzinfo=dt.UTC)
ZONE = ZoneInfo("America/Los_Angeles")
DAYTIME = Place(sunrise=dt.time(7), sunset=dt.time(17))


def windows(*changed, count=72):
    hours = [
        replace(hour(0), at=(MIDNIGHT + dt.timedelta(hours=step)).astimezone(ZONE)) for step in range(count)
    ]
    for step, more in changed:
        hours[step] = replace(hour(0, **more), at=hours[step].at)
    return spray_windows(hours, bounds=in_force(labels=()), place=DAYTIME)


def signs(text):
    return [one.text for one in ElementTree.fromstring(text).iter(f"{SVG}text")]


def test_every_cell_has_a_sign_beside_its_colour():
    told = signs(open_hours.svg(windows((10, {"wind": "14"})), title="Copper"))

    assert "W" in told and "✓" in told and "R" in told
    assert (
        len(ElementTree.fromstring(open_hours.svg(windows(), title="x")).findall(f"{SVG}rect")) == 1 + 3 * 24
    )


def test_an_hour_that_two_limits_close_says_there_are_more():
    assert "W+" in signs(open_hours.svg(windows((10, {"wind": "14", "leaf_wet": True})), title="Copper"))


def test_the_table_holds_the_numbers_of_the_plot():
    first, *_ = open_hours.table(windows((10, {"wind": "14"})))

    assert (first.on, first.open_hours, first.first, first.longest) == (dt.date(2026, 12, 18), 23, 0, 13)
    assert first.closed_by == {"wind": 1}
    assert open_hours.as_text(windows()).splitlines()[1].startswith("2026-12-18\t24\t00:00\t24\t0\t-")


def test_hours_that_nobody_knows_are_not_open():
    last = open_hours.table(windows(count=60))[-1]

    assert (last.open_hours, last.unknown) == (0, 12)
    assert "?" in signs(open_hours.svg(windows(count=60), title="Copper"))


def test_a_title_cannot_break_the_picture():
    text = open_hours.svg(windows(), title="<script>&")

    assert "<script>" not in text
    assert ElementTree.fromstring(text).find(f"{SVG}title").text == "<script>&"


def test_without_weather_the_picture_says_so():
    assert "no weather hours are stored" in signs(open_hours.svg((), title="Copper"))


def test_a_plot_by_an_old_forecast_says_from_when_on_it_is_old():
    drawn = open_hours.picture(windows(), title="Copper", stale_from=NOON + dt.timedelta(hours=18)).svg

    assert "OLD FORECAST from Sat 19 Dec, 06:00 on" in drawn
    assert "OLD FORECAST" not in open_hours.picture(windows(), title="Copper").svg


def test_how_fast_drops_dry_is_told_in_degrees():
    hot = open_hours.picture(windows((10, {"temperature": "31", "humidity": "20"})), title="Copper")
    (said,) = [
        reason.says
        for one in windows((10, {"temperature": "31", "humidity": "20"}))
        for reason in one.closed_by
        if "Delta T" in reason.says
    ]

    assert "°C is above 10 °C" in said
    assert "difference" not in hot.svg


@pytest.mark.django_db
def test_the_command_draws_an_order_of_the_farm(tmp_path):
    farm = lowbell(now=timezone.now())
    order = made(Caller(farm.farm, "manager"), farm).rsplit("/", 1)[-1]
    start = timezone.now().replace(minute=0, second=0, microsecond=0)
    rows = [
        {
            "at": start + dt.timedelta(hours=step),
            "kind": "forecast",
            "temperature": amount("50", "degF"),
            "wind": amount("5", "mph"),
            "rain": amount("0", "mm"),
        }
        for step in range(60)
    ]
    blocks.store_hours(farm=farm.farm, station="", rows=rows, now=farm.now)
    out, numbers, said = tmp_path / "open.svg", tmp_path / "open.tsv", StringIO()

    call_command(
        "plot_open_hours", farm=str(farm.farm.id), order=order, out=str(out), table=str(numbers), stdout=said
    )

    assert "✓" in signs(out.read_text(encoding="utf-8"))
    assert len(numbers.read_text(encoding="utf-8").splitlines()) == json.loads(said.getvalue())["days"] + 1
