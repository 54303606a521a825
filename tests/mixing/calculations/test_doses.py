"""Doses, loads and jars: the sums that go wrong with a jug in the hand."""

from __future__ import annotations

from tests.mixing.calculations.asking import ask, faults, q, value, words


def test_a_dose_is_given_in_the_unit_of_its_rate_and_in_the_unit_asked() -> None:
    answer = ask("dose_by_volume", volume="22 gal", rate="1.5 tbsp/gal")
    asked = ask("dose_by_volume", volume="22 gal", rate="1.5 tbsp/gal", in_={"amount": "fl_oz"})

    assert answer["amount"] == q("33 tbsp")
    assert asked["amount"] == q("16.5 fl_oz")


def test_every_answer_shows_its_steps_and_its_source() -> None:
    answer = ask("dose_by_volume", volume="150 gal", rate="4 fl_oz/100gal")

    assert answer["steps"] == ["150 gal ÷ 100 gal × 4 fl_oz = 6 fl_oz"]
    assert answer["source"]["publisher"] == "National Institute of Standards and Technology"


def test_one_percent_is_an_ounce_and_a_quarter_to_the_gallon() -> None:
    us = ask("percent_solution", volume="1 gal", percent_vv="1")
    metric = ask("percent_solution", volume="1 L", percent_vv=1)

    assert us["amount"] == q("1.28 fl_oz")
    assert metric["amount"] == q("10 mL")


def test_an_amount_that_ends_is_exact_and_another_has_many_digits() -> None:
    exact = ask("percent_solution", volume="1 gal", percent_vv="1", in_={"amount": "mL"})
    endless = ask("dose_by_volume", volume="1 gal", rate="1 fl_oz/100gal", in_={"amount": "cup"})

    assert exact["amount"] == q("37.85411784 mL")
    assert endless["amount"] == q("0.00125 cup")
    third = ask("tank_loads", total="3 gal", tank="3 gal", volume_per_area="9 gal/acre", rate="1 lb/acre")
    assert third["total"] == q("0.333333333333333 lb")


def test_a_small_answer_keeps_its_digits() -> None:
    answer = ask("dose_by_volume", volume="1 mL", rate="1 fl_oz/1000gal", in_={"amount": "gal"})

    digits = answer["amount"]["value"].lstrip("0.")
    assert len(digits) >= 8


def test_a_liquid_is_weighed_only_with_its_density() -> None:
    refused = faults("dose_by_area", area="1 acre", rate="1 pt/acre", in_={"amount": "lb"})
    weighed = ask("dose_by_area", area="1 acre", rate="1 pt/acre", density="8 lb/gal", in_={"amount": "lb"})

    assert refused == {"/in/amount": "unit_needs_density"}
    assert weighed["amount"] == q("1 lb")


def test_bare_ounces_are_refused_with_both_names() -> None:
    said = words("dose_by_volume", volume="4 gal", rate="2 oz/gal")

    assert "fl_oz" in said and "oz_wt" in said


def test_all_faults_come_at_once() -> None:
    found = faults(
        "dose_by_area", area="0 acre", rate="1 lb/gal", rats=1, in_={"amount": "furlong", "amout": "lb"}
    )

    assert found == {
        "/rats": "unknown_field",
        "/area/value": "out_of_range",
        "/rate/unit": "unit_kind",
        "/in/amount": "unit_unknown",
        "/in/amout": "unknown_field",
    }


def test_a_fault_of_one_field_does_not_hide_that_two_contradict_each_other() -> None:
    found = faults("application_rate", flow="1 gal", speed="3 mph", spacing="20 in", swath="18 ft")

    assert found == {"/flow/unit": "unit_kind", "/swath": "invalid"}


def test_a_wrong_name_is_answered_with_the_nearest_right_one() -> None:
    assert "dose_by_trees" in words("dose_by_tree")
    assert "did you mean amount" in words(
        "dose_by_area", area="1 acre", rate="1 lb/acre", in_={"amout": "lb"}
    )


def test_a_rate_in_ppm_needs_the_content_of_the_product() -> None:
    liquid = ask("ppm_solution", volume="100 L", ppm=100, content="50 percent_ww", density="1.25 kg/L")

    assert faults("dose_by_volume", volume="100 L", rate="100 ppm") == {"/content": "required"}
    assert ask("ppm_solution", volume="100 L", ppm=100, content="50 percent_ww")["amount"] == q("20 g")
    assert liquid["amount"] == q("16 mL")
    assert ask("dose_by_volume", volume="100 L", rate="100 ppm", content="200 g/L")["amount"] == q("50 mL")


def test_a_content_by_volume_says_nothing_of_weight() -> None:
    found = faults("ppm_solution", volume="100 L", ppm=100, content="50 percent_vv")

    assert found == {"/content/unit": "unit_kind"}


def test_trees_may_be_a_bare_number_or_a_quantity() -> None:
    bare = ask("dose_by_trees", trees=40, volume_per_tree="0.5 gal", rate="1.5 tbsp/gal")
    measured = ask("dose_by_trees", trees="40 tree", volume_per_tree="0.5 gal", rate="1.5 tbsp/gal")

    assert bare == measured
    assert bare["spray"] == q("20 gal") and bare["amount"] == q("30 tbsp")
    assert faults("dose_by_trees", trees="2.5", volume_per_tree="1 gal", rate="1 tbsp/gal") == {
        "/trees": "out_of_range"
    }


def test_a_rate_per_tree_is_counted_by_trees() -> None:
    answer = ask("dose_by_trees", trees=40, volume_per_tree="2 L", rate="50 mL/tree")

    assert answer["amount"] == q("2000 mL")


def test_loads_are_full_ones_and_the_rest() -> None:
    answer = ask(
        "tank_loads", area="13.5 acre", volume_per_area="25 gal/acre", tank="100 gal", rate="2 pt/acre"
    )

    assert [load["spray"]["value"] for load in answer["loads"]] == ["100", "100", "100", "37.5"]
    assert [load["amount"]["value"] for load in answer["loads"]] == ["8", "8", "8", "3"]
    assert answer["full_loads"] == 3
    assert answer["total"] == q("27 pt")


def test_a_job_smaller_than_the_tank_is_one_load() -> None:
    answer = ask("tank_loads", total="3 gal", tank="4 gal", rate="1.5 percent_vv")

    assert answer["full_loads"] == 0
    assert answer["loads"] == [{"spray": q("3 gal"), "amount": q("5.76 fl_oz")}]


def test_a_rate_of_any_kind_makes_loads_when_it_is_known_what_a_load_covers() -> None:
    by_tree = ask("tank_loads", total="8 gal", tank="4 gal", rate="50 mL/tree", volume_per_tree="0.5 gal")
    by_row = ask("tank_loads", total="40 L", tank="20 L", rate="30 g/100m", volume_per_length="5 L/100m")
    by_area = ask("tank_loads", total="30 gal", area="1 acre", tank="15 gal", rate="2 lb/acre")

    assert by_tree["total"] == q("800 mL")
    assert by_row["loads"][0]["amount"] == q("120 g")
    assert by_area["loads"][1]["amount"] == q("1 lb")
    assert faults("tank_loads", total="30 gal", tank="4 gal", rate="2 lb/acre") == {
        "/volume_per_area": "required"
    }


def test_two_hundred_loads_and_more_are_refused_as_absurd() -> None:
    assert faults("tank_loads", total="3000 gal", tank="4 gal", rate="1 lb/gal") == {"/tank": "out_of_range"}


def test_spray_and_area_may_not_contradict_each_other() -> None:
    found = faults(
        "tank_loads",
        total="30 gal",
        area="1 acre",
        volume_per_area="50 gal/acre",
        tank="4 gal",
        rate="1 lb/acre",
    )

    assert found == {"/volume_per_area": "invalid"}
    assert faults("tank_loads", tank="4 gal", rate="1 lb/gal") == {"": "required"}


def test_a_jar_test_is_scaled_down_exactly() -> None:
    answer = ask(
        "jar_amounts", jar="1 qt", rates=["2 pt/acre", "1.5 tbsp/gal"], volume_per_area="50 gal/acre"
    )

    assert answer["amounts"] == [q("0.01 pt"), q("0.375 tbsp")]


def test_a_jar_names_the_rate_that_cannot_be_scaled() -> None:
    found = faults("jar_amounts", jar="1 qt", rates=["2 pt/acre", "100 ppm"])

    assert found == {"/volume_per_area": "required", "/contents/1": "required"}


def test_weight_and_measure_turn_into_each_other() -> None:
    weight = ask("weigh_measure", volume="1 L", density="0.7 kg/L")
    measure = ask("weigh_measure", mass="0.7 kg", density="0.7 kg/L")

    assert weight["mass"] == q("0.7 kg") and "volume" not in weight
    assert measure["volume"] == q("1 L") and "mass" not in measure
    assert faults("weigh_measure", volume="1 L") == {"/density": "required"}
    assert faults("weigh_measure", volume="1 L", mass="1 kg", density="1 kg/L") == {"/mass": "invalid"}


def test_a_density_per_hundred_gallons_is_a_density_still() -> None:
    assert ask("weigh_measure", mass="834 lb", density="834 lb/100gal")["volume"] == q("100 gal")


def test_canopy_volume_is_no_spray() -> None:
    said = words("tank_loads", area="1 acre", volume_per_area="100 ft3/acre", tank="10 gal", rate="1 lb/acre")

    assert "canopy" in said


def test_spray_in_cubic_metres_a_hectare_is_understood() -> None:
    answer = ask("tank_loads", area="1 ha", volume_per_area="1 m3/ha", tank="500 L", rate="2 kg/ha")

    assert answer["full_loads"] == 2
    assert value(answer["total"], "kg") == 2
