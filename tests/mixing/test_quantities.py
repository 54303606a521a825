"""Units and quantities: exact factors, nothing guessed, and the right word named."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as some

from mixing.quantities import Quantity, QuantityError, parse_quantity, plain, unit

D = Decimal


def refused(name):
    with pytest.raises(QuantityError) as caught:
        unit(name)
    return caught.value


@pytest.mark.parametrize(
    ("value", "name", "base"),
    [
        ("1", "gal", "3785.411784"),
        ("1", "fl_oz", "29.5735295625"),
        ("1", "tbsp", "14.78676478125"),
        ("1", "tsp", "4.92892159375"),
        ("1", "lb", "453.59237"),
        ("1", "acre", "4046.8564224"),
        ("1", "imp_gal", "4546.09"),
    ],
)
def test_factors_are_those_of_handbook_44(value, name, base):
    assert Quantity(D(value), name).in_base() == D(base)


@pytest.mark.parametrize(
    ("value", "name", "other", "shown"),
    [
        ("1", "gal", "fl_oz", "128"),
        ("1.5", "tbsp/gal", "fl_oz/100gal", "75"),
        ("1", "percent_vv", "fl_oz/gal", "1.28"),
        ("1", "percent_vv", "tbsp/gal", "2.56"),
        ("50", "degF", "degC", "10"),
        ("10", "degC", "degF", "50"),
        ("9", "degF_difference", "degC_difference", "5"),
    ],
)
def test_conversions_that_end_are_exact(value, name, other, shown):
    assert plain(Quantity(D(value), name).to(other).value, 14) == shown


@pytest.mark.parametrize("name", ["oz", "oz/gal", "oz/100gal", "T", "t", "Tbs", "ounces", "%"])
def test_what_can_be_read_in_two_ways_is_never_guessed(name):
    assert refused(name).code == "unit_ambiguous"


@pytest.mark.parametrize(
    ("name", "meant"),
    [
        ("gallons", "gal"),
        ("litre", "L"),
        ("ML", "mL"),
        ("pounds", "lb"),
        ("tablespoons/Gal", "tbsp/gal"),
        ("floz", "fl_oz"),
        ("fl_oz/100 gal", "fl_oz/100gal"),
        ("lb/ac", "lb/acre"),
        ("hours", "h"),
        ("°F", "degF"),
        ("mL/hL", "mL/100L"),
        ("gpa", "gal/acre"),
    ],
)
def test_the_right_word_is_named_for_another_spelling(name, meant):
    fault = refused(name)

    assert fault.code == "unit_unknown"
    assert f"did you mean {meant}" in fault.detail


@pytest.mark.parametrize(
    "name", ["lb/100 gal", "lb/10gal", "gal/gal/gal", "lb/min", "degC/acre", "", "/", "lb/", "100"]
)
def test_what_is_no_unit_is_refused(name):
    assert refused(name).code == "unit_unknown"


@given(some.decimals(allow_nan=False, allow_infinity=False, places=6, min_value=-(10**12), max_value=10**12))
def test_a_decimal_is_written_plainly_and_reads_back(value):
    text = plain(value)

    assert "E" not in text and "+" not in text
    assert D(text) == value


@given(
    some.decimals("0.001", "99999", places=3),
    some.sampled_from(["gal", "L", "qt", "fl_oz", "tbsp", "imp_pt"]),
    some.sampled_from(["mL", "cup", "tsp", "imp_gal", "m3"]),
)
def test_there_and_back_is_the_same_quantity(value, name, other):
    back = Quantity(value, name).to(other).to(name).value

    assert abs(back - value) < D("1e-40")


def test_every_fault_of_a_quantity_is_found():
    with pytest.raises(QuantityError):
        parse_quantity({"value": "1e3", "unit": "oz", "note": 1})


def test_a_temperature_is_no_difference():
    with pytest.raises(QuantityError):
        Quantity(D(1), "degC").to("degC_difference")
