"""Calibration, canopy and hose-end dials."""

from __future__ import annotations

from tests.mixing.calculations.asking import ask, faults, q, value, words


def test_rate_and_flow_undo_each_other() -> None:
    flow = ask("nozzle_flow", rate="100 gal/acre", speed="2.5 mph", swath="18 ft")["flow"]
    rate = ask("application_rate", flow="9.0909090909090909 gal/min", speed="2.5 mph", swath="18 ft")["rate"]

    assert flow == q("9.090909090909091 gal/min")
    assert value(rate, "gal/acre").quantize(1) == 100


def test_metric_flow_gives_litres_a_hectare() -> None:
    answer = ask("application_rate", flow="10 L/min", speed="6 km/h", swath="5 m")

    assert answer["rate"] == q("200 L/ha")
    assert answer["source"]["where"].endswith("495")


def test_a_walk_over_two_hundred_feet_gives_the_speed() -> None:
    assert value(ask("ground_speed", distance="200 ft", time="54.5 s")["speed"], "mph").quantize(2) == 3
    assert ask("ground_speed", distance="100 m", time="60 s")["speed"] == q("6 km/h")


def test_ounces_from_a_hundred_and_twenty_eighth_of_an_acre_are_gallons_an_acre() -> None:
    answer = ask(
        "plot_calibration",
        plot_length="340.3125 ft",
        plot_width="1 ft",
        time="40 s",
        catch_volume="37 fl_oz",
        catch_time="40 s",
    )

    assert answer["rate"] == q("37 gal/acre")


def test_twice_the_flow_takes_four_times_the_pressure() -> None:
    answer = ask("pressure_for_flow", flow="0.4 gal/min", pressure="40 psi", wanted_flow="0.8 gal/min")

    assert answer["pressure"] == q("160 psi")


def test_spraying_takes_its_time() -> None:
    assert ask("spraying_time", volume="20 gal", flow="2 gal/min")["time"] == q("10 min")
    assert ask("spraying_time", volume="20 gal", flow="2 gal/min", in_={"time": "h"})["time"]["unit"] == "h"


def test_no_time_is_no_calibration() -> None:
    assert faults("ground_speed", distance="100 m", time="0 s") == {"/time/value": "out_of_range"}


def test_canopy_alone_needs_no_spray_per_canopy() -> None:
    answer = ask("tree_row_volume", height="3 m", canopy_width="2 m", row_spacing="4 m")

    assert answer["canopy_volume_per_area"] == q("15000 m3/ha")
    assert "dilute_volume_per_area" not in answer


def test_concentrate_spray_is_stronger_by_its_factor() -> None:
    given = {"dilute_volume_per_area": "1500 L/ha", "volume_per_area": "500 L/ha"}

    assert ask("concentrate_factor", **given)["factor"] == "3"
    assert ask("concentrate_factor", **given, rate="40 g/100L")["tank_rate"] == q("120 g/100L")


def test_trees_are_rounded_to_the_nearest() -> None:
    answer = ask("planted_trees", row_spacing="20 ft", tree_spacing="20 ft", area="1 acre")
    metric = ask("planted_trees", row_spacing="5 m", tree_spacing="3 m", area="1 ha")

    assert answer["trees"] == q("109 tree") and answer["trees_per_area"] == q("108.9 tree/acre")
    assert metric["trees"] == q("667 tree")


DIAL = {
    "volume": "12 gal",
    "dial_step": "0.5 tbsp/gal",
    "dial_max": "8 tbsp/gal",
    "jar": "1 pt",
}


def test_the_dial_is_set_to_the_sum_of_the_rates() -> None:
    answer = ask("dial_setting", rates=["4 tbsp/gal", "2 tbsp/gal"], **DIAL)

    assert answer["dial"] == q("6 tbsp/gal")
    assert answer["premix"] == [q("48 tbsp"), q("24 tbsp")]
    assert answer["jars"] == 3
    assert answer["error_percent"] == "0"


def test_between_two_marks_the_nearest_is_set_unless_a_maximum_is_passed() -> None:
    free = ask("dial_setting", rates=["1.8 tbsp/gal"], **DIAL)
    bound = ask("dial_setting", rates=["1.8 tbsp/gal"], maximums=["1.9 tbsp/gal"], **DIAL)
    unknown = ask("dial_setting", rates=["1.8 tbsp/gal"], maximums=[None], **DIAL)

    assert free["dial"] == q("2 tbsp/gal") and free["error_percent"].startswith("11.111111")
    assert bound["dial"] == q("1.5 tbsp/gal") and bound["error_percent"].startswith("-16.66666")
    assert unknown["dial"] == free["dial"]


def test_a_dial_that_ends_too_early_is_refused() -> None:
    assert faults("dial_setting", rates=["6 tbsp/gal", "3 tbsp/gal"], **DIAL) == {"/dial_max": "out_of_range"}
    assert "another sprayer" in words("dial_setting", rates=["9 tbsp/gal"], **DIAL)


def test_less_than_half_a_mark_cannot_be_set() -> None:
    assert faults("dial_setting", rates=["0.2 tbsp/gal"], **DIAL) == {"/dial_step": "out_of_range"}


def test_a_rate_above_its_own_maximum_is_refused() -> None:
    found = faults("dial_setting", rates=["2 tbsp/gal"], maximums=["1.5 tbsp/gal"], **DIAL)

    assert found == {"/rates/0": "out_of_range"}


def test_a_dry_product_does_not_go_through_a_dial() -> None:
    assert faults("dial_setting", rates=["1 oz_wt/gal"], **DIAL) == {"/rates/0/unit": "unit_kind"}
