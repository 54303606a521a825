"""The winter of the demonstration: cut the same every time, and told from the data."""

import csv
import gzip
from datetime import date, timedelta
from decimal import Decimal

import pytest

from mixing.quantities import Quantity
from scheduling.bounds import Basis, Bound, Limit, Measure, in_force, of_farm
from scheduling.forecast import Event, bud_colour_estimate
from scheduling.season import records, story
from scheduling.season.cut import HERE, SPECIES, STATION, cut
from scheduling.spray_days import judge_days

CUT = records.load()
OIL = Bound(Measure.TEMPERATURE_MINIMUM, Quantity(Decimal(40), "degF"), Basis.LABEL, "Mineral oil 98 EC")
BOUNDS = in_force(labels=[OIL], farm=of_farm({"wind_maximum": {"value": "8", "unit": "mph"}}))
STEPS = story.season_days(CUT, bounds=BOUNDS)
FILES = ("weather.csv", "earlier_springs.csv", "bud_dates.csv")


def steps(kind):
    return [step for step in STEPS if isinstance(step, kind)]


def rows(name):
    with (HERE / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture
def whole(tmp_path):
    """A folder laid out as the full data, with the cut's own rows and some of another station and species."""
    days = [*rows("earlier_springs.csv"), *rows("weather.csv")]
    columns = ["station", "date", "tmin_c", "tmax_c", "rain_mm", "wind_ms", "rh_pct"]
    with gzip.open(tmp_path / "daily_weather.csv.gz", "wt", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, columns, restval="")
        writer.writeheader()
        writer.writerows({"station": STATION, **day} for day in reversed(days))
        writer.writerows({"station": "elsewhere", **day} for day in days)
        writer.writerow({"station": STATION, "date": "2023-07-01", "tmin_c": "20", "tmax_c": "30"})
    with (tmp_path / "observations.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, ["station", "year", "species", "event", "date"])
        writer.writeheader()
        for species in (SPECIES, "cherry"):
            writer.writerows({"station": STATION, "species": species, **bud} for bud in rows("bud_dates.csv"))
    return tmp_path


def test_the_cut_is_made_again_byte_for_byte(whole, tmp_path):
    made = tmp_path / "made"
    made.mkdir()

    cut(source=whole, target=made)

    assert {name: (made / name).read_bytes() for name in FILES} == {
        name: (HERE / name).read_bytes() for name in FILES
    }


def test_the_winter_has_no_gap_and_no_day_twice():
    days = [day.on for day in CUT.weather]

    assert days == [days[0] + timedelta(days=step) for step in range(len(days))]
    assert (days[0], days[-1]) == (date(2023, 10, 1), date(2024, 4, 30))
    assert all(day.wind and day.minimum and day.maximum for day in CUT.weather)


def test_this_season_and_eight_before_it_have_their_bud_dates():
    assert CUT.observed(Event.BUDBURST) < CUT.observed(Event.FIRST_BLOOM) < CUT.observed(Event.FULL_BLOOM)
    assert len({bud.season for bud in CUT.bud_dates if bud.event == Event.BUDBURST}) > 8


def test_an_empty_rain_cell_is_a_dry_day():
    raw = next(row for row in rows("weather.csv") if row["date"] == "2023-12-08")

    assert raw["rain_mm"] == ""
    assert next(day for day in CUT.weather if day.on == date(2023, 12, 8)).rain == Quantity(Decimal(0), "mm")


def test_a_wanted_day_is_refused_for_wind_one_for_rain_one_for_frost():
    refused = [step for step in steps(story.Try) if not step.verdict.open]
    closed_by = {reason.limit for step in refused for reason in step.verdict.closed_by}

    assert {Limit.WIND, Limit.RAIN, Limit.FROST} <= closed_by


def test_each_block_gets_each_spray_on_an_open_day_once():
    done = [(step.line, step.block) for step in steps(story.Try) if step.verdict.open]

    assert sorted(done) == sorted((line.id, block) for line in story.script().lines for block in line.blocks)


def test_no_spray_goes_before_the_leaves_are_down():
    for step in steps(story.Try):
        if step.line == "leaf-fall":
            looks = [look for look in steps(story.Look) if look.block == step.block and look.on <= step.on]
            assert looks[-1].leaf_drop_percent >= 90


def test_bud_swell_sprays_go_before_the_last_safe_day_that_was_known_then():
    for planned in steps(story.Planned):
        outlook = next(step for step in steps(story.Outlook) if step.on == planned.on)
        assert all(job.on <= outlook.last_safe.on for job in planned.jobs)
        assert all(forecast.issued_on == planned.on for forecast in outlook.forecasts)


def test_one_spray_is_asked_for_in_good_weather_after_bud_colour():
    (late,) = steps(story.TooLate)
    colour = bud_colour_estimate(
        budburst=CUT.observed(Event.BUDBURST), first_bloom=CUT.observed(Event.FIRST_BLOOM)
    )

    assert late.verdict.open
    assert late.on >= colour
    stage = [look.bbch for look in steps(story.Look) if look.block == late.block and look.on <= late.on][-1]
    assert stage >= 57


def test_what_is_not_of_the_station_says_so():
    told = {look.bbch: look.told for look in steps(story.Look)}

    assert told[53] == told[60] == told[65] == story.Told.STATION
    assert told[57] == story.Told.ESTIMATE
    assert all(look.told == story.Told.INVENTED for look in steps(story.Look) if look.leaf_drop_percent)


def test_the_story_follows_the_weather_and_not_the_other_way_round():
    """In a season of fine days nothing is refused, and the first block is sprayed on the first day."""
    fine = [
        type(day)(
            day.on,
            Quantity(Decimal(5), "degC"),
            Quantity(Decimal(15), "degC"),
            Quantity(Decimal(0), "mm"),
            Quantity(Decimal(2), "m/s"),
        )
        for day in CUT.weather
    ]
    calm = records.SeasonCut(CUT.season, tuple(fine), CUT.bud_dates, CUT.days)

    told = story.season_days(calm, bounds=BOUNDS)

    tries = [step for step in told if isinstance(step, story.Try)]
    assert all(step.verdict.open for step in tries)
    assert next(step for step in tries if step.block == "A3 House Row").on == story.script().visits[0].on


def test_steps_come_in_order_of_day():
    assert [step.on for step in STEPS] == sorted(step.on for step in STEPS)


def test_the_refused_days_are_closed_by_their_own_rows():
    verdicts = {verdict.day.on: verdict for verdict in judge_days(CUT.weather, bounds=BOUNDS)}

    assert all(step.verdict == verdicts[step.on] for step in steps(story.Try))
