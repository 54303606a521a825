"""Active ingredient and metal."""

from __future__ import annotations

import pytest

from tests.mixing.calculations.asking import ask, faults, q, value, words


def test_active_ingredient_of_a_liquid_and_of_a_powder() -> None:
    liquid = ask("active_ingredient", product_rate="2 pt/acre", content="4 lb/gal")
    powder = ask("active_ingredient", product_amount="10 lb", content="80 percent_ww")

    assert liquid["active"] == q("1 lb/acre")
    assert powder["active"] == q("8 lb")


def test_a_liquid_with_a_content_by_weight_needs_its_density() -> None:
    found = faults("active_ingredient", product_rate="2 pt/acre", content="50 percent_ww")
    given = ask("active_ingredient", product_rate="2 pt/acre", content="50 percent_ww", density="8 lb/gal")

    assert found == {"/density": "unit_needs_density"}
    assert given["active"] == q("1 lb/acre")


def test_a_powder_with_a_content_by_volume_needs_its_density() -> None:
    found = faults("active_ingredient", product_amount="1 kg", content="200 g/L")

    assert found == {"/density": "unit_needs_density"}
    assert ask("active_ingredient", product_amount="1 kg", content="200 g/L", density="1 kg/L")[
        "active"
    ] == q("200 g")


def test_product_for_active_undoes_active_ingredient() -> None:
    product = ask("product_for_active", active_rate="1 lb/acre", content="4 lb/gal")

    assert product["product_rate"] == q("0.25 gal/acre")
    back = ask("active_ingredient", product_rate="0.25 gal/acre", content="4 lb/gal")
    assert back["active"] == q("1 lb/acre")


def test_active_in_ppm_gives_a_rate_of_the_spray() -> None:
    liquid = ask("product_for_active", active_rate="100 ppm", content="200 g/L")
    powder = ask("product_for_active", active_rate="100 ppm", content="50 percent_ww")

    assert liquid["product_rate"] == q("0.5 mL/L")
    assert powder["product_rate"] == q("0.2 g/L")


def test_more_than_all_of_it_cannot_be_active() -> None:
    assert faults("active_ingredient", product_amount="1 kg", content="101 percent_ww") == {
        "/content/value": "out_of_range"
    }
    assert faults("active_ingredient", product_amount="1 kg", content="1001 g/kg") == {
        "/content/value": "out_of_range"
    }


@pytest.mark.parametrize(
    "compound",
    ["CuSO4.5H2O", "CuSO4·5H2O", "copper sulfate pentahydrate", "Copper Sulphate Pentahydrate", "bluestone"],
)
def test_a_hydrate_goes_by_many_names(compound: str) -> None:
    answer = ask("metal_equivalent", compound=compound, amount="100 lb", metal="copper")

    assert answer["fraction"].startswith("0.2545128")
    assert value(answer["equivalent"], "lb").quantize(1) == 25


def test_a_metal_goes_by_name_or_symbol() -> None:
    named = ask("metal_equivalent", compound="Cu(OH)2", rate="10 lb/acre", metal="Copper")
    symbol = ask("metal_equivalent", compound="Cu(OH)2", rate="10 lb/acre", metal="Cu")

    assert named["fraction"] == symbol["fraction"]
    assert value(named["equivalent"], "lb/acre").quantize(1) == 7


def test_an_unknown_compound_and_an_unknown_metal_are_named_together() -> None:
    found = faults("metal_equivalent", compound="copperhydroxide", metal="cooper", amount="1 lb")
    said = words("metal_equivalent", compound="copperhydroxide", metal="cooper", amount="1 lb")

    assert found == {"/compound": "invalid", "/metal": "invalid"}
    assert "copper hydroxide" in said and "did you mean copper?" in said


@pytest.mark.parametrize(
    "formula", ["Cu0", "Cu(OH", ")", "", " ", "5", "Xx2", "Cu" * 400, "(((((", "Cu.", "H2O)"]
)
def test_a_formula_that_cannot_be_read_is_refused(formula: str) -> None:
    assert faults("metal_equivalent", compound=formula, metal="copper", amount="1 lb").keys() == {"/compound"}


def test_a_compound_without_the_metal_is_refused() -> None:
    found = faults("metal_equivalent", compound="Cu(OH)2", metal="zinc", amount="1 lb")

    assert found == {"/metal": "invalid"}


def test_a_year_allows_whole_applications_only() -> None:
    given = {"used": "4 lb/acre", "rate": "8 lb/acre", "content": "35 percent_ww"}

    answer = ask("applications_left", limit="18 lb/acre", **given)

    assert answer["applications"] == 5
    assert answer["left"] == q("14 lb/acre")
    assert ask("applications_left", limit="17.9 lb/acre", **given)["applications"] == 4


def test_nothing_is_left_of_a_limit_that_is_passed() -> None:
    answer = ask(
        "applications_left", limit="4 kg/ha", used="5 kg/ha", rate="2 kg/ha", content="50 percent_ww"
    )

    assert answer["applications"] == 0
    assert answer["left"] == q("-1 kg/ha")
    assert "passed" in answer["steps"][0]


def test_a_limit_in_pounds_and_a_use_in_kilograms_are_one_ground() -> None:
    answer = ask(
        "applications_left",
        limit="18 lb/acre",
        used="1.12085 kg/ha",
        rate="1 lb/acre",
        content="100 percent_ww",
    )

    assert answer["applications"] == 17


def test_a_rate_per_volume_needs_the_spray_on_the_ground() -> None:
    given = {"limit": "18 lb/acre", "used": "0 lb/acre", "rate": "2 lb/100gal", "content": "50 percent_ww"}

    assert faults("applications_left", **given) == {"/volume_per_area": "required"}
    assert ask("applications_left", **given, volume_per_area="200 gal/acre")["applications"] == 9
