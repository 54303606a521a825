"""Wet spells, leaf curl by the published thresholds, cover after rain, and when to spray again.

Thresholds and asymptotes: Rossi, Bolognesi, Languasco, Giosuè, Phytopathology 96:155-163, 2006, abstract.
Wash-off: Gaskin and others, New Zealand Plant Protection 66:199-203, 2013, abstract; ONfruit, 2020.
"""

import datetime as dt
from dataclasses import replace

import pytest
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from orchard.blocks import services as blocks
from orchard.farms.actors import SYSTEM
from orchard.tasks.services import records
from orchard.tasks.services.told import Line
from scheduling.disease.cover import Rain, cover
from scheduling.disease.leaf_curl import infections
from scheduling.disease.wet_spells import WetSpell, wet_spells
from scheduling.sky import sky_of
from tests.callers import Caller
from tests.factories import BlockFactory, FarmFactory, SprayerFactory, amount
from tests.scheduling.orchard_weather import NOON, hour
from tests.tasks.test_mix_checks import COPPER_LABEL, product_with

DAY = dt.timedelta(days=1)
SPRAYED = dt.datetime(2027, 2, 1, 12, tzinfo=dt.UTC)
COLD_AND_WET = WetSpell(NOON, NOON + dt.timedelta(hours=20), 20, 0, 6.0, 7.0, 0)


def spells(wet, *, count=60, **more):
    hours = [hour(step, rain="0", leaf_wet=step in wet, **more) for step in range(count)]
    return list(wet_spells(sky_of(hours)))


def judged(**more):
    (one,) = infections([replace(COLD_AND_WET, **more)])
    return one


def test_short_dry_gaps_do_not_end_a_wet_spell():
    wet = set(range(5, 15)) | set(range(19, 25)) | set(range(30, 33))

    found = spells(wet)

    assert [(one.wet_hours, (one.ends_at - one.starts_at) / dt.timedelta(hours=1)) for one in found] == [
        (16, 20),
        (3, 3),
    ]


def test_rain_wets_where_no_sensor_says():
    hours = [
        hour(step, rain="2" if step in (3, 4) else "0", leaf_wet=None, humidity="60") for step in range(9)
    ]

    (found,) = wet_spells(sky_of(hours))

    assert (found.wet_hours, found.rain) == (2, 4.0)


def test_rain_wets_whatever_a_sensor_says():
    hours = [hour(step, rain="2" if step in (3, 4) else "0", leaf_wet=False) for step in range(9)]

    (found,) = wet_spells(sky_of(hours))

    assert found.wet_hours == 2


def told(*silent, wet, count=60):
    """Spells of a rainy time in which nothing was heard of the sensor and the gauge in some hours."""
    dark = set().union(*silent)
    rows = (
        hour(
            step,
            rain=None if step in dark else "1" if step in wet else "0",
            leaf_wet=None if step in dark else step in wet,
        )
        for step in range(count)
    )
    return infections(wet_spells(sky_of(rows)))


def test_a_sensor_that_fails_in_the_middle_of_the_rain_makes_no_short_spell_safe():
    (found,) = told(range(15, 27), wet=range(10, 15))

    assert (found.spell.wet_hours, found.spell.unknown_hours, found.risk) == (5, 12, "unknown")


def test_hours_unknown_between_two_short_spells_make_neither_safe():
    found = told(range(18, 24), wet=set(range(10, 18)) | set(range(24, 32)))

    assert [one.risk for one in found] == ["unknown", "unknown"]


def test_a_day_without_any_word_of_rain_or_wetness_is_told_of():
    (found,) = told(range(10, 34), wet=())

    assert (found.spell.wet_hours, found.risk) == (0, "unknown")
    assert "cannot be ruled out" in found.says


def test_a_few_hours_without_a_word_are_too_short_for_an_infection():
    assert told(range(10, 18), wet=()) == []


def test_damp_air_without_a_gauge_may_have_been_rain():
    hours = [
        hour(
            step,
            rain=None if 5 <= step < 25 else "0",
            leaf_wet=None,
            humidity="96" if 5 <= step < 25 else "60",
        )
        for step in range(40)
    ]

    (found,) = infections(wet_spells(sky_of(hours)))

    assert (found.spell.wet_hours, found.risk) == (20, "unknown")


def test_a_dry_winter_has_no_wet_spell():
    assert spells(set()) == []


@pytest.mark.parametrize(
    ("changed", "risk"),
    [
        ({}, "infection"),
        ({"wet_hours": 13}, "infection"),
        ({"wet_hours": 12}, "unlikely"),
        ({"rain": 3.0}, "infection"),
        ({"rain": 2.9}, "unlikely"),
        ({"mean": 15.9}, "infection"),
        ({"mean": 16.0}, "unlikely"),
        ({"mean": None}, "unknown"),
        ({"wet_hours": 10, "unknown_hours": 4}, "unknown"),
        ({"rain": 1.0, "unknown_hours": 1}, "unlikely"),
        ({"rain": 1.0, "rain_unknown_hours": 1}, "unknown"),
    ],
)
def test_a_wet_spell_is_judged_by_the_published_thresholds(changed, risk):
    assert judged(**changed).risk == risk


def test_the_worst_is_two_days_wet_at_eight_degrees_or_less():
    assert judged(wet_hours=48, mean=8.0).share == 1.0
    assert judged(wet_hours=60, mean=2.0).share == 1.0


@given(st.integers(13, 60), st.integers(13, 60), st.floats(0, 15.9), st.floats(0, 15.9))
def test_more_wetness_and_more_cold_never_give_less_disease(one, other, warm, warmer):
    shorter, longer = sorted((one, other))
    cold, mild = sorted((warm, warmer))

    assert judged(wet_hours=longer, mean=cold).share >= judged(wet_hours=shorter, mean=mild).share


def left(fell, days, *, interval=None, **more):
    return cover(sprayed_at=SPRAYED, at=SPRAYED + days * DAY, rain=Rain(fell=fell, **more), interval=interval)


def test_without_rain_nothing_is_washed_off():
    found = left(0, 1)

    assert (found.likely, found.high, found.spray_again) == (100, 100, False)


def test_leaves_keep_half_after_25_mm():
    assert left(25, 1).likely == 50


def test_two_inches_of_rain_call_for_another_spray_and_one_on_an_old_deposit_does():
    assert left(51, 1).spray_again
    assert left(26, 8).spray_again
    assert not left(26, 2).spray_again


def test_the_labels_interval_is_never_overruled():
    found = left(80, 3, interval=7 * DAY)

    assert found.not_before == SPRAYED + 7 * DAY
    assert "the label's interval holds" in found.says


def test_rain_that_nobody_measured_is_named():
    assert "rain of 5 h is not known" in left(3, 2, unknown_hours=5).says


def test_the_more_hours_without_a_gauge_the_less_may_be_left():
    assert left(3, 2).low > left(3, 2, unknown_hours=2).low > left(3, 2, unknown_hours=9).low
    assert left(3, 2, unknown_hours=9).likely == left(3, 2).likely


def test_a_cover_whose_rain_nobody_measured_is_not_a_good_one():
    found = left(0, 20, unknown_hours=480)

    assert (found.low, found.likely) == (0, None)


def test_rain_before_a_spray_had_dried_leaves_nothing_to_count_on():
    found = left(0.4, 1, undried=True)

    assert (found.low, found.likely, found.spray_again) == (0, 0, True)
    assert "before the spray had dried" in found.says


def test_rain_within_the_labels_dry_time_may_have_taken_all():
    found = left(0.4, 1, too_soon=True)

    assert (found.low, found.likely) == (0, 99)
    assert "the dry time that the label wants" in found.says


@given(st.floats(0, 200), st.floats(0, 200), st.floats(0, 60))
def test_more_rain_leaves_no_more(one, other, days):
    little, much = sorted((one, other))
    before, after = left(little, days), left(much, days)

    assert 0 <= after.low <= after.likely <= after.high <= 100
    assert (after.low, after.likely) <= (before.low, before.likely)


@pytest.fixture
def farm(db):
    return FarmFactory()


@pytest.fixture
def block(farm):
    made = BlockFactory(farm=farm)
    today = timezone.now().date()
    blocks.add_stage(block=made, bbch=51, observed_on=today - 10 * DAY, by=SYSTEM, now=timezone.now())
    return made


def rain_from(farm, start, hours, *, kind="forecast"):
    first = timezone.now().replace(minute=0, second=0, microsecond=0) - 8 * DAY
    rows = [
        {
            "at": first + dt.timedelta(hours=step),
            "kind": kind if first + dt.timedelta(hours=step) > timezone.now() else "observed",
            "temperature": amount("7", "degC"),
            "humidity_percent": 70,
            "rain": amount("2" if start <= step < start + hours else "0", "mm"),
        }
        for step in range(14 * 24)
    ]
    blocks.store_hours(farm=farm, station="", rows=rows, now=timezone.now())


def read(farm, block):
    answer = Caller(farm, "crew_member").get(f"blocks/{block.id}/disease")
    assert answer.status_code == 200, answer.json()
    return answer.json()


def sprayed(farm, block, days_ago, *, interval="7"):
    label = {
        **COPPER_LABEL,
        "uses": [{**COPPER_LABEL["uses"][0], "interval": {"value": interval, "unit": "d"}}],
    }
    at = timezone.now() - days_ago * DAY
    records.add_from_paper(
        farm=farm,
        block=block,
        sprayer=SprayerFactory(farm=farm),
        started_at=at - dt.timedelta(hours=1),
        finished_at=at,
        spray={"total": None, "area": {"value": "1", "unit": "acre"}, "trees": None},
        lines=(Line(product=product_with(farm, label), amount=amount("1", "lb"), rate=None, lots=()),),
        by=SYSTEM,
        now=timezone.now(),
    )


def test_rain_ahead_on_bare_buds_asks_for_a_spray_before_it(farm, block):
    rain_from(farm, 10 * 24, 20)

    found = read(farm, block)

    (spell,) = found["spells"]
    assert (spell["risk"], spell["forecast"], spell["wet_hours"]) == ("infection", True, 20)
    assert found["cover"] is None
    assert (found["spray_again"]["wanted"], found["spray_again"]["by"]) == (True, spell["from"])


def test_a_fresh_cover_needs_no_other(farm, block):
    sprayed(farm, block, 1)
    rain_from(farm, 10 * 24, 20)

    found = read(farm, block)

    assert found["cover"]["likely_percent"] == 100
    assert found["spray_again"]["wanted"] is False


def test_a_cover_that_is_gone_waits_for_the_labels_interval_all_the_same(farm, block):
    sprayed(farm, block, 3, interval="14")
    rain_from(farm, 6 * 24, 30)  # two days ago: 60 mm
    now = timezone.now().replace(minute=0, second=0, microsecond=0)
    wet = [
        {
            "at": now + dt.timedelta(hours=step),
            "kind": "forecast",
            "temperature": amount("7", "degC"),
            "rain": amount("2", "mm"),
        }
        for step in range(24, 44)
    ]
    blocks.store_hours(farm=farm, station="", rows=wet, now=timezone.now())

    found = read(farm, block)

    assert found["cover"]["by_the_rule"] is True
    assert found["spray_again"]["wanted"] is False
    assert "the label's interval holds" in found["spray_again"]["says"]


def test_a_block_without_weather_is_not_told_that_nothing_comes(farm, block):
    found = read(farm, block)

    assert found["spray_again"]["wanted"] is None
    assert "no weather ahead is stored" in found["spray_again"]["says"]


def test_a_spray_of_a_time_without_a_gauge_is_no_reason_to_do_without(farm, block):
    sprayed(farm, block, 20)
    rain_from(farm, 10 * 24, 20)

    found = read(farm, block)

    assert found["cover"]["likely_percent"] is None
    assert found["spray_again"]["wanted"] is True
    assert "what cover is left is not known" in found["spray_again"]["says"]


def test_rain_that_was_forecast_for_a_time_gone_by_was_not_measured(farm, block):
    sprayed(farm, block, 1)
    first = timezone.now().replace(minute=0, second=0, microsecond=0) - DAY
    rows = [
        {"at": first + dt.timedelta(hours=step), "kind": "forecast", "rain": amount("0", "mm")}
        for step in range(24)
    ]
    blocks.store_hours(farm=farm, station="", rows=rows, now=timezone.now())

    assert read(farm, block)["cover"]["unknown_hours"] == 24


def test_a_shower_an_hour_after_the_spray_leaves_no_cover_to_count_on(farm, block):
    sprayed(farm, block, 1)
    rain_from(farm, 7 * 24 + 1, 1)

    found = read(farm, block)

    assert (found["cover"]["low_percent"], found["cover"]["likely_percent"]) == (0, 0)
    assert "before the spray had dried" in found["cover"]["says"]


def test_what_is_said_of_leaf_curl_is_said_in_spanish_too(farm, block):
    sprayed(farm, block, 1)
    rain_from(farm, 10 * 24, 20)
    caller = Caller(farm, "crew_member")

    found = caller.get(f"blocks/{block.id}/disease", accept_language="es").json()

    assert "mojad" in found["spells"][0]["says"]
    assert "cobertura" in found["spray_again"]["says"]
    assert "Italia" in found["limits"][0]


def test_a_crop_without_a_rule_is_told_so(farm):
    apples = BlockFactory(farm=farm, crop="apple")
    found = read(farm, apples)
    spanish = Caller(farm, "crew_member").get(f"blocks/{apples.id}/disease", accept_language="es").json()

    assert found["spray_again"]["wanted"] is None
    assert found["spells"] == []
    assert "no rule here for apple" in found["limits"][0]
    assert "manzan" in spanish["limits"][0] and "apple" not in spanish["limits"][0]
