"""Pictures of forecasts and seasons: what they show stands beside them as rows, and colour is never the
only sign."""

import datetime as dt
import xml.etree.ElementTree as ET

import pytest

from scheduling.forecast import Event, Forecast
from scheduling.forecast.sound import Day
from scheduling.plots.forecast import forecast_picture
from scheduling.plots.season import Mark, season_picture

ISSUED = dt.date(2024, 3, 4)
SVG = "{http://www.w3.org/2000/svg}"


def due(event, first, *, model="warmth and notes"):
    return Forecast(event, first + dt.timedelta(7), first, first + dt.timedelta(14), ISSUED, model, 3, "")


FORECASTS = (due(Event.BUDBURST, dt.date(2024, 3, 12)), due(Event.FIRST_BLOOM, dt.date(2024, 3, 22)))
DAYS = [Day(dt.date(2023, 12, 1) + dt.timedelta(step), step % 7 - 3.0, step % 7 + 8.0) for step in range(95)]


def words(picture):
    return [element.text for element in ET.fromstring(picture.svg).iter(f"{SVG}text")]


def test_every_number_of_a_forecast_stands_in_the_rows():
    picture = forecast_picture(FORECASTS, block="Lower Peach", last_safe=dt.date(2024, 3, 11))

    assert len(picture.rows) == 3
    assert picture.rows[0][:5] == ("budburst", "53", "2024-03-12", "2024-03-19", "2024-03-26")
    assert picture.rows[2][3] == "2024-03-11"
    assert all(len(row) == len(picture.heads) for row in picture.rows)


def test_the_drawing_names_its_marks_in_words():
    said = words(forecast_picture(FORECASTS, block="Lower Peach", last_safe=dt.date(2024, 3, 11)))

    assert "last safe day 11 Mar" in said
    assert "budburst (53)" in said
    assert any("A bar: eight in ten; a diamond: the likeliest day" in line for line in said)


def test_where_the_fit_is_from_and_what_it_could_not_use_stand_below():
    said = words(forecast_picture(FORECASTS, block="b", remarks=["3 days left out"]))

    assert "3 days left out" in said
    assert any("warmth and notes" in line for line in said)


def test_the_first_day_of_the_odds_is_not_written_across_the_last_safe_day():
    picture = forecast_picture(FORECASTS, block="b", last_safe=dt.date(2024, 3, 11))
    drawn = ET.fromstring(picture.svg)

    line = next(
        float(one.get("x1")) for one in drawn.iter(f"{SVG}line") if one.get("stroke-dasharray") == "8 4"
    )
    first = next(one for one in drawn.iter(f"{SVG}text") if one.text == "12 Mar")

    assert first.get("text-anchor") == "end" and float(first.get("x")) < line
    assert "today" not in words(picture) and "made this day" in words(picture)


def test_names_cannot_break_the_drawing():
    picture = forecast_picture(FORECASTS, block="<script>\"'&")

    assert ET.fromstring(picture.svg).find(f"{SVG}title").text.startswith("<script>")


def test_a_stage_that_was_seen_has_another_mark_than_one_forecast():
    seen = Forecast(Event.BUDBURST, ISSUED, ISSUED, ISSUED, ISSUED, "observed", 3, "")

    assert "seen 4 Mar" in words(forecast_picture([seen], block="b"))
    assert "<polygon" not in forecast_picture([seen], block="b").svg


def test_nothing_is_drawn_from_nothing():
    with pytest.raises(ValueError, match="no forecast"):
        forecast_picture([], block="b")
    with pytest.raises(ValueError, match="no weather"):
        season_picture(block="b", days=[])


def test_a_season_shows_weather_stages_sprays_and_forecasts():
    picture = season_picture(
        block="b",
        days=DAYS,
        rain=[(dt.date(2023, 12, 5), 12.0), (dt.date(2023, 12, 6), 0.0)],
        seen=[Mark(dt.date(2024, 2, 26), "51")],
        sprays=[Mark(dt.date(2024, 2, 28), "copper")],
        forecasts=FORECASTS,
    )

    assert len(picture.rows) == len(DAYS) + 1 + 1 + 1 + 2
    assert ("2024-02-28", "spray", "copper") in picture.rows
    assert {"stages seen", "sprays", "forecast", "51", "copper"} <= set(words(picture))


def test_a_gap_in_the_weather_is_drawn_as_a_gap():
    whole = season_picture(block="b", days=DAYS).svg.count("<polyline")
    holed = season_picture(block="b", days=[day for day in DAYS if day.on.day != 15]).svg.count("<polyline")

    assert holed > whole
