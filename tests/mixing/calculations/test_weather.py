"""Delta T, degree days, chill, frost, infection, wash-off and the life of a spray in the tank."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from itertools import pairwise

import pytest

from mixing import chemistry
from mixing.calculations import CalculationError, daylight
from tests.mixing.calculations.asking import ask, faults, q, value, words

COOL, MILD = "4 degC", "12 degC"


def day(low: str, high: str) -> dict[str, object]:
    return {"minimum": q(low), "maximum": q(high)}


def test_saturated_air_has_no_delta_t() -> None:
    answer = ask("delta_t", temperature="12 degC", humidity_percent=100)

    assert answer["delta_t"] == q("0 degC_difference")
    assert answer["wet_bulb"] == q("12 degC")


def test_delta_t_follows_the_scale_of_the_thermometer() -> None:
    celsius = ask("delta_t", temperature="20 degC", humidity_percent="50")
    fahrenheit = ask("delta_t", temperature="68 degF", humidity_percent="50")

    assert fahrenheit["delta_t"]["unit"] == "degF_difference"
    assert value(fahrenheit["delta_t"], "degC_difference") == pytest.approx(
        value(celsius["delta_t"], "degC_difference")
    )


def test_thin_air_and_impossible_humidity_are_refused() -> None:
    found = faults("delta_t", temperature="20 degC", humidity_percent="101", pressure="1 bar")
    thin = faults("delta_t", temperature="200 degC", humidity_percent=50, pressure="10 kPa")

    assert found == {"/humidity_percent": "out_of_range"}
    assert thin == {"/temperature/value": "out_of_range", "/pressure/value": "out_of_range"}


def test_the_average_cuts_both_ends_before_the_mean() -> None:
    answer = ask("degree_days", days=[day("40 degF", "95 degF")], base="50 degF", upper="86 degF")

    assert answer["total"] == q("18 degF_day")


def test_double_sine_looks_at_the_next_morning() -> None:
    days = [day("5 degC", "25 degC"), day("15 degC", "25 degC")]
    single = ask("degree_days", days=days, base="10 degC", method="single_sine")["per_day"]
    double = ask("degree_days", days=days, base="10 degC", method="double_sine")["per_day"]

    assert value(double[0], "degC_day") > value(single[0], "degC_day")
    assert double[1] == single[1]


def test_days_in_both_scales_are_one_sum() -> None:
    days = [day("50 degF", "70 degF"), day("10 degC", "20 degC")]

    answer = ask("degree_days", days=days, base="10 degC")

    assert float(value(answer["total"], "degF_day")) == pytest.approx(10 + 9)


def test_a_cut_off_below_the_base_is_refused() -> None:
    found = faults("degree_days", days=[day("5 degC", "25 degC")], base="10 degC", upper="10 degC")

    assert found == {"/upper": "out_of_range"}


def test_each_faulty_day_is_named() -> None:
    days = [day("25 degC", "5 degC"), {"mean": q("12 degC")}, {"minimum": q("3 degC")}, {}]

    found = faults("degree_days", days=days, base="10 degC", method="single_sine")

    assert found == {
        "/days/0/minimum": "out_of_range",
        "/days/2/maximum": "required",
        "/days/3/minimum": "required",
        "/days/3/maximum": "required",
    }


def test_a_mean_is_only_for_the_average() -> None:
    found = faults("degree_days", days=[{"mean": q("12 degC")}], base="10 degC", method="double_sine")

    assert found == {"/days/0/mean": "invalid"}


def test_chill_hours_take_both_ends_in() -> None:
    hours = ["-0.1 degC", "0 degC", "7.2 degC", "7.3 degC", "32 degF", "45 degF", "45.1 degF"]

    assert ask("chill", hours=hours, model="hours")["total"] == "4"


@pytest.mark.parametrize(
    ("degrees", "units"),
    [
        ("1.4", "0"),
        ("1.5", "0.5"),
        ("2.5", "1"),
        ("9.1", "1"),
        ("9.2", "0.5"),
        ("13", "0"),
        ("17", "-0.5"),
        ("19", "-1"),
    ],
)
def test_an_hour_counts_by_the_steps_of_utah(degrees: str, units: str) -> None:
    assert ask("chill", hours=[f"{degrees} degC"], model="utah")["total"] == units


def test_days_name_the_model_of_their_hours() -> None:
    from_days = ask("chill", days=[day("2 degC", "8 degC")] * 3, model="dynamic")
    from_hours = ask("chill", hours=["6 degC"] * 72, model="dynamic")

    assert from_days["hourly_model"] == "Campbell and Norman 1998"
    assert from_hours["hourly_model"] is None


def test_even_days_are_even_hours() -> None:
    for name, more in (("chill", {"model": "utah"}), ("growing_degree_hours", {})):
        days = ask(name, days=[day("6 degC", "6 degC")] * 2, **more)
        hours = ask(name, hours=["6 degC"] * 48, **more)
        assert days["total"] == hours["total"]


def test_hours_and_days_are_not_given_together() -> None:
    found = faults("growing_degree_hours", hours=["6 degC"], days=[day("1 degC", "9 degC")])

    assert found == {"/days": "invalid"}
    assert faults("growing_degree_hours") == {"": "required"}


def test_a_warm_spell_undoes_chill_that_is_not_fixed_yet() -> None:
    cold = ask("chill", hours=["6 degC"] * 60 + ["6 degC"] * 30, model="dynamic")
    broken = ask("chill", hours=["6 degC"] * 20 + ["24 degC"] * 30 + ["6 degC"] * 40, model="dynamic")

    assert float(broken["total"]) < float(cold["total"])


def test_bud_stages_go_by_name_or_code() -> None:
    named = ask("critical_bud_temperature", crop="Nectarine", stage="Pink")
    coded = ask("critical_bud_temperature", crop="peach", stage=57)
    text = ask("critical_bud_temperature", crop="peach", stage="58", in_={"kills_10_percent": "degC"})

    assert named["kills_10_percent"] == coded["kills_10_percent"] == q("25 degF")
    assert text["kills_10_percent"]["value"].startswith("-3.888888")
    assert text["kills_90_percent"] == q("15 degF")


def test_a_chart_without_a_figure_says_so() -> None:
    answer = ask("critical_bud_temperature", crop="apricot", stage="swollen bud")

    assert answer["kills_90_percent"] is None
    assert "no figure" in answer["steps"][-1]


def test_unknown_crops_and_stages_are_refused() -> None:
    assert faults("critical_bud_temperature", crop="peech", stage=57) == {"/crop": "not_found"}
    assert faults("critical_bud_temperature", crop="peach", stage=0) == {"/stage": "out_of_range"}
    assert faults("critical_bud_temperature", crop="peach", stage="calix red") == {"/stage": "not_found"}
    assert "calyx red" in words("critical_bud_temperature", crop="peach", stage="calix red")


def test_a_condition_that_is_not_known_is_never_taken_for_safe() -> None:
    answer = ask("infection_risk", disease="leaf_curl", rain="5 mm", wetness="14 h", temperature="9 degC")

    assert answer["risk"] == "infection"
    assert answer["conditions"][3] == {
        "name": "incubation_temperature",
        "met": None,
        "value": None,
        "limit": q("19 degC"),
    }


def test_a_rule_asks_for_its_own_weather() -> None:
    found = faults("infection_risk", disease="apple_scab", rain="5 mm")

    assert found == {"/temperature": "required", "/wetness": "required", "/rain": "invalid"}
    assert faults("infection_risk", disease="leaf_curle") == {"/disease": "invalid"}


def test_scab_between_two_rows_takes_the_shorter_wetness() -> None:
    answer = ask("infection_risk", disease="apple_scab", wetness="13 h", temperature="45.5 degF")

    assert answer["conditions"][1]["limit"] == q("13 h")
    assert answer["risk"] == "infection"


def test_scab_needs_a_temperature_of_the_table() -> None:
    answer = ask("infection_risk", disease="apple_scab", wetness="60 h", temperature="30 degF")

    assert answer["risk"] == "low"
    assert answer["conditions"][0]["met"] is False


def test_degree_hours_of_fire_blight_may_come_from_hours() -> None:
    hours = ["75 degF"] * 20 + ["60 degF"] * 4

    answer = ask(
        "infection_risk",
        disease="fire_blight",
        blossom_open=True,
        hours=hours,
        rain="0 mm",
        dew=False,
        rain_day_before="3 mm",
        mean_temperature="16 degC",
    )

    assert answer["conditions"][1]["value"] == "200"
    assert answer["risk"] == "infection"


def test_fire_blight_counts_its_conditions() -> None:
    given = {
        "degree_hours": 10,
        "dew": False,
        "rain": "0 mm",
        "rain_day_before": "0 mm",
        "mean_temperature": "65 degF",
    }

    open_now = ask("infection_risk", disease="fire_blight", blossom_open=True, **given)
    shut = ask("infection_risk", disease="fire_blight", blossom_open=False, **given)

    assert (open_now["risk"], shut["risk"]) == ("moderate", "low")


def test_rain_takes_a_deposit_and_age_brings_the_next_spray_nearer() -> None:
    fresh = ask("wash_off", rain="1.5 in", age="2 d")
    old = ask("wash_off", rain="1.5 in", age="8 d")

    assert fresh["left_percent"] == "25" and fresh["spray_again"] is False
    assert old["spray_again"] is True
    assert ask("wash_off", rain="80 mm", age="1 d")["left_percent"] == "0"
    assert ask("wash_off", rain="0 mm", age="0 d")["left_percent"] == "100"


def test_captan_goes_faster_in_alkaline_water() -> None:
    lives = [
        value(ask("half_life", active="captan", ph=ph)["half_life"], "min") for ph in (5, 6, 7, 7.5, 8, 9)
    ]

    assert lives == sorted(lives, reverse=True)


def test_warm_water_halves_the_life_of_a_spray() -> None:
    room = ask("half_life", active="captan", ph=8, temperature="25 degC")
    warm = ask("half_life", active="captan", ph=8, temperature="35 degC")
    cold = ask("half_life", active="captan", ph=8, temperature="10 degC")

    assert room["half_life"] == q("10 min")
    assert warm["half_life"] == q("5 min")
    assert cold["half_life"] == q("20 min")
    assert "from memory" in warm["steps"][1]


def test_what_was_not_seen_in_a_source_says_so() -> None:
    assert ask("half_life", active="phosmet", ph=7)["from_memory"] is True
    assert ask("half_life", active="captan", ph=7)["from_memory"] is False


def test_an_active_or_a_ph_without_a_published_life_is_refused() -> None:
    assert faults("half_life", active="dodine", ph=7) == {"/active": "not_found"}
    assert faults("half_life", active="captan", ph=4) == {"/ph": "out_of_range"}
    assert faults("half_life", active="captan", ph="7,5") == {"/ph": "not_a_decimal"}


@pytest.mark.parametrize("active", ["captan", "carbaryl", "malathion", "phosmet"])
def test_a_spray_is_never_given_longer_than_the_rules_of_mixing_give_it(active: str) -> None:
    """Where a source prints a span we answer its shorter end; the mix check may use the middle."""
    for ph, hours in chemistry.half_lives(active):
        try:
            life = ask("half_life", active=active, ph=str(ph))["half_life"]
        except CalculationError:
            continue
        assert hours / 3 <= value(life, "h") <= hours * Decimal("1.0001")


def test_days_with_a_place_and_a_date_follow_the_sun() -> None:
    winter = {"days": [day("2 degC", "14 degC")] * 4, "model": "hours", "latitude": "38.5"}

    january = ask("chill", first_day="2027-01-10", **winter)
    july = ask("chill", first_day="2027-07-10", **winter)

    assert january["hourly_model"] == "Linvill 1990"
    assert float(january["total"]) > float(july["total"])


def test_a_latitude_goes_with_a_date_and_with_days() -> None:
    assert faults("growing_degree_hours", days=[day("1 degC", "9 degC")], latitude="38") == {
        "/first_day": "required"
    }
    assert faults("growing_degree_hours", hours=["6 degC"], latitude="38", first_day="2027-01-10") == {
        "/latitude": "invalid"
    }


def test_the_drawn_day_keeps_to_its_minimum_and_maximum() -> None:
    hours = daylight.hourly([(2.0, 14.0)] * 3, date(2027, 1, 10), 38.5)[24:48]

    assert min(hours) == pytest.approx(2, abs=0.6)
    assert max(hours) == pytest.approx(14, abs=0.2)
    assert hours.index(max(hours)) in (14, 15)
    assert hours.index(min(hours)) in (7, 8)
    steps = [abs(later - sooner) for sooner, later in pairwise(hours)]
    assert max(steps) < 3.5


@pytest.mark.parametrize(
    ("on", "latitude", "length"),
    [
        (date(2027, 3, 20), 40, 12.15),
        (date(2027, 6, 21), 40, 15.02),
        (date(2027, 12, 21), 40, 9.33),
        (date(2027, 6, 21), -40, 9.33),
    ],
)
def test_days_are_as_long_as_the_almanac_has_them(on: date, latitude: float, length: float) -> None:
    """Length of day at latitude 40: US Naval Observatory tables (from memory), to three minutes."""
    found = daylight.sun(on, latitude)

    assert found.set - found.rise == pytest.approx(length, abs=0.06)
