"""Amounts of a jar test as published."""

from __future__ import annotations

from decimal import Decimal, localcontext

from mixing import doses, jar_test
from mixing.quantities import EXACT, Quantity
from mixing.request import MixRequest
from tests.mixing.tanks import amount, product, tank


def in_jar(mix: MixRequest, litres: str) -> list[Decimal]:
    with localcontext(EXACT):
        water = Quantity(Decimal(litres), "L")
        found = [jar_test.amount(one, mix, water) for one in doses.doses(mix)]
    return [one.value for one in found if one is not None]


def test_field_rates_over_a_hundredth_of_the_water():
    """GrowNotes spray application manual 7.5, Grains Research and Development Corporation, 2025: 70 L/ha is
    0.7 L in the jar, 2 L/ha is 20 mL, 800 mL/ha is 8 mL."""
    spray = {"area": amount("1 ha"), "volume_per_area": amount("70 L/ha")}
    mix = tank(product("a", rate="2000 mL/ha"), product("b", rate="800 mL/ha"), spray=spray)

    first, second = in_jar(mix, "0.7")

    assert abs(first - 20) < Decimal("0.001")
    assert abs(second - 8) < Decimal("0.001")


def test_an_adjuvant_by_volume_scales_with_the_jar():
    """The same manual: mL_per_100L x jar_L / 100; 2000 mL in 100 L is 14 mL in 0.7 L (our figure)."""
    spray = {"area": amount("1 ha"), "volume_per_area": amount("70 L/ha")}
    adjuvant = product("s", rate="2000 mL/100L", adjuvant="surfactant", formulation="SL")

    assert in_jar(tank(adjuvant, spray=spray), "0.7") == [Decimal(14)]


def test_a_pound_in_a_hundred_gallons_is_a_gram_and_an_eighth_in_a_quart():
    """NIST Handbook 44, appendix C: 453.59237 g / 400 qt = 1.134 g; a pint in 100 gal is 1.183 mL a quart."""
    mix = tank(product("dry", rate="1 lb/100gal"), product("wet", rate="1 pt/100gal", formulation="EC"))
    with localcontext(EXACT):
        dry, wet = (one.amount.in_base() for one in jar_test.plan(mix, ()).amounts)

    assert abs(dry - Decimal("1.134")) < Decimal("0.0005")
    assert abs(wet - Decimal("1.183")) < Decimal("0.0005")


def test_the_jar_stands_a_quarter_of_an_hour():
    """Using a Jar Test, Utah State University Extension, 2012: let it stand for 15 minutes."""
    assert jar_test.plan(tank(product("a")), ()).wait.as_json() == amount("15 min")
