"""The lines under a report: always the law, and what concerns this tank."""

from __future__ import annotations

from mixing import advice, cautions
from tests.mixing.tanks import amount, product, tank

COPPER = product("cu", active_ingredients=[{"name": "copper hydroxide"}], rate="1 tbsp/gal")
OIL = product("oil", formulation="EC", active_ingredients=[{"name": "mineral oil"}], rate="1 percent_vv")
LEAF_CURL = {"targets": ["leaf curl"], "stage": {"bbch": 95}}


def lines(*products, **said) -> str:
    return "\n".join(cautions.lines(advice.tank_of(tank(*products, **said))))


def test_every_report_says_that_the_label_is_the_law():
    first, *rest = cautions.lines(advice.tank_of(tank(product("a"))))

    assert first.startswith("The label is the law.")
    assert any("local rules" in line for line in rest)
    assert any("licensed adviser" in line for line in rest)


def test_a_restricted_product_is_for_certified_applicators():
    assert "certified applicator" in lines(product("a"), product("b", restricted_use=True))
    assert "certified applicator" not in lines(product("a", restricted_use=False), product("b"))


def test_wind_water_and_measures_are_told_always():
    told = lines(product("a"))

    assert "above 10 mph" in told
    assert "plain water first" in told
    assert "marked cups" in told


def test_one_percent_of_oil_is_told_in_spoons_where_spoons_are_used():
    assert "2.56 tbsp" in lines(COPPER, OIL)
    assert "2.56 tbsp" not in lines(COPPER)
    metric = {"sprayer": {"kind": "backpack", "tank": amount("15 L")}}
    assert "2.56 tbsp" not in lines(OIL, **metric)


def test_an_ounce_is_no_tablespoon_only_where_spoons_or_ounces_are_used():
    assert "not a tablespoon" in lines(COPPER)
    assert "not a tablespoon" not in lines(product("a", rate="2 lb/acre"))


def test_oil_helps_copper_to_stick_only_where_both_are_in_the_tank():
    assert "helps copper" in lines(COPPER, OIL)
    assert "helps copper" not in lines(COPPER)
    assert "helps copper" not in lines(OIL)


def test_leaf_curl_has_its_lines_on_peach_and_no_other_crop():
    told = lines(COPPER, **LEAF_CURL)

    assert "pick or shake them off" in told
    assert "at least two sprays" in told
    assert "does not wipe it out" in told
    assert "two sprays" not in lines(COPPER, crop="apple", **LEAF_CURL)


def test_leaves_are_picked_off_only_while_they_hang():
    assert "pick or shake" not in lines(COPPER, targets=["leaf curl"], stage={"bbch": 0})


def test_wood_is_wetted_in_dormancy_not_in_leaf():
    assert "Wet all the wood" in lines(COPPER, stage={"bbch": 1})
    assert "Wet all the wood" not in lines(COPPER, stage={"bbch": 75})
    assert "Wet all the wood" not in lines(COPPER)


def test_a_hose_end_sprayer_needs_a_backflow_preventer():
    assert "backflow" in lines(product("a"), sprayer={"kind": "hose_end_dial"})
    assert "backflow" not in lines(product("a"))
