from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mixing.pint_units import BASES, from_pint, registry, to_pint
from mixing.quantities import SIMPLE, Quantity, QuantityError

NAMES = [name for dimension in BASES for name in SIMPLE[dimension] if not name[0].isdigit()]


@pytest.mark.parametrize("name", NAMES)
def test_pint_turns_a_unit_into_its_base_by_the_same_factor(name):
    ours = Quantity(Decimal("2.5"), name)
    base = BASES[ours.dimension]

    assert to_pint(ours).to(base).magnitude == ours.to(base).value


@given(st.decimals("0.001", "1000", places=3), st.sampled_from(["tbsp/gal", "lb/acre", "mL/L", "g/m"]))
def test_a_rate_goes_to_pint_and_comes_back_unchanged(value, name):
    there = to_pint(Quantity(value, name))

    assert (
        from_pint(there, name) == Quantity(value.normalize() + 0, name)
        or from_pint(there, name).value == value
    )


def test_pint_multiplies_a_rate_by_the_ground():
    amount = to_pint(Quantity(Decimal(12), "lb/acre")) * to_pint(Quantity(Decimal("1.5"), "acre"))

    assert from_pint(amount, "lb") == Quantity(Decimal(18), "lb")


@pytest.mark.parametrize("name", ["oz", "ac", "T"])
def test_shorthand_that_is_misread_is_not_defined(name):
    assert name not in registry()


@pytest.mark.parametrize("name", ["degC", "percent_vv", "ppm"])
def test_what_pint_would_get_wrong_is_not_handed_over(name):
    with pytest.raises(QuantityError):
        to_pint(Quantity(Decimal(1), name))


def test_an_amount_of_another_kind_does_not_come_back():
    with pytest.raises(QuantityError):
        from_pint(to_pint(Quantity(Decimal(1), "lb")), "gal")
