"""The jar test: when it is needed, and amounts scaled to its water."""

from __future__ import annotations

from decimal import Decimal, localcontext

from hypothesis import given
from hypothesis import strategies as st

from mixing import jar_test, rulebook
from mixing.findings import Basis, Finding, Severity
from mixing.quantities import EXACT
from mixing.request import MixRequest
from tests.mixing.tanks import amount, product, tank

METRIC = {"sprayer": {"kind": "backpack", "tank": amount("15 L")}, "spray": {"total": amount("60 L")}}


def amounts(mix: MixRequest) -> list[dict[str, str] | None]:
    with localcontext(EXACT):
        test = jar_test.plan(mix, ())
    return [None if one.amount is None else one.amount.as_json() for one in test.amounts]


def test_the_amounts_are_given_where_no_test_is_needed():
    test = jar_test.plan(tank(product("cu", rate="1.5 tbsp/gal")), ())

    assert not test.needed
    assert test.amounts[0].amount.as_json() == amount("1.125 tsp")
    assert test.water.as_json() == amount("1 qt")
    assert test.wait.as_json() == amount("15 min")
    assert "smooth" in test.look_for[-1].render()


def test_an_untested_pair_needs_it():
    untested = Finding("pair.untested", Severity.CAUTION, Basis.UNTESTED, ("a", "b"))

    test = jar_test.plan(tank(product("a"), product("b")), (untested,))

    assert test.needed
    assert "jar" in test.why.render()


def test_a_finding_that_is_no_untested_pair_does_not_need_it():
    windy = Finding("weather.wind", Severity.STOP, Basis.PUBLISHED)

    assert not jar_test.plan(tank(product("a")), (windy,)).needed


def test_a_finding_that_asks_for_it_needs_it():
    asks = Finding("formulation.od-with-ec", Severity.NOTE, Basis.PUBLISHED, ("a", "b"))

    test = jar_test.plan(tank(product("a"), product("b")), (asks,))

    assert test.needed
    assert "finding asks" in test.why.render()


def test_what_the_last_load_left_is_no_partner_in_a_jar():
    residue = Finding("pair.untested", Severity.NOTE, Basis.UNTESTED, ("a",))

    assert not jar_test.plan(tank(product("a")), (residue,)).needed


def test_the_findings_that_ask_are_those_whose_advice_speaks_of_a_jar():
    advised = {
        rule.id
        for rule in rulebook.load().rules()
        if "in a jar" in rule.do and rule.basis is not Basis.UNTESTED
    }

    assert advised == jar_test.practice().asking


def test_a_metric_farm_uses_a_litre():
    mix = tank(product("a", rate="200 g/100L"), product("b", rate="1.5 percent_vv"), **METRIC)

    assert jar_test.plan(mix, ()).water.as_json() == amount("1 L")
    assert amounts(mix) == [amount("2 g"), amount("15 mL")]


def test_amounts_too_small_for_a_spoon_are_given_for_a_syringe():
    assert amounts(tank(product("a", rate="1 fl_oz/100gal"))) == [amount("0.07393382390625 mL")]


def test_dry_pounds_are_given_for_a_small_scale():
    assert amounts(tank(product("a", rate="1 lb/100gal"))) == [amount("1.133980925 g")]


def test_a_rate_by_area_is_scaled_by_the_spray_on_that_area():
    spray = {"area": amount("2 acre"), "volume_per_area": amount("100 gal/acre")}

    assert amounts(tank(product("a", rate="50 fl_oz/acre"), spray=spray)) == [amount("0.75 tsp")]


def test_a_rate_by_area_without_spray_volume_cannot_be_scaled():
    assert amounts(tank(product("a", rate="32 fl_oz/acre"))) == [None]


def test_a_rate_by_tree_is_scaled_by_the_spray_on_a_tree():
    spray = {"trees": 40, "volume_per_tree": amount("2 L")}

    assert amounts(tank(product("a", rate="10 mL/tree"), **(METRIC | {"spray": spray}))) == [amount("5 mL")]


def test_concentrate_spray_is_tried_as_it_is_sprayed():
    spray = {
        "area": amount("1 acre"),
        "volume_per_area": amount("50 gal/acre"),
        "dilute_volume_per_area": amount("200 gal/acre"),
    }
    spreader = product("s", rate="1 tsp/gal", adjuvant="surfactant", formulation="SL")

    assert amounts(tank(product("a", rate="1 tsp/gal"), spreader, spray=spray)) == [
        amount("1 tsp"),
        amount("0.25 tsp"),
    ]


@given(
    st.decimals(min_value="0.01", max_value="50", places=2),
    st.sampled_from(["tbsp", "fl_oz", "lb", "g", "mL"]),
)
def test_the_jar_has_exactly_the_strength_of_the_tank(rate, unit):
    mix = tank(product("a", rate=f"{rate} {unit}/100gal"))

    with localcontext(EXACT):
        found = jar_test.plan(mix, ()).amounts[0].amount
        strength = found.in_base() / jar_test.practice().water_us.in_base()
        assert abs(strength - mix.products[0].rate.in_base()) <= strength * Decimal("1e-50")
