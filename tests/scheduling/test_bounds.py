"""Which limits hold: the label's, a stricter one of the farm, else a published one."""

from decimal import Decimal

import pytest

from mixing.quantities import Quantity
from scheduling.bounds import Basis, Bound, Measure, in_force, of_farm, of_label, published, strictest

COPPER = {
    "name": "Copper hydroxide 30 WG",
    "uses": [
        {
            "crops": ["peach"],
            "wind": {"maximum": {"value": "12", "unit": "mph"}},
            "rain_free": {"value": "12", "unit": "h"},
            "temperature": {"minimum": None, "maximum": None},
        },
        {"crops": ["apple"], "wind": {"maximum": {"value": "5", "unit": "mph"}}},
    ],
}


def wind(value: str, basis: Basis = Basis.LABEL) -> Bound:
    return Bound(Measure.WIND_MAXIMUM, Quantity(Decimal(value), "mph"), basis, "somebody")


def values(bounds, measure):
    return [(bound.basis, bound.value.as_json()) for bound in bounds if bound.measure == measure]


def test_a_label_takes_the_place_of_the_published_wind_limit():
    bounds = in_force(labels=of_label(COPPER, crop="peach"))

    assert values(bounds, Measure.WIND_MAXIMUM) == [(Basis.LABEL, {"value": "12", "unit": "mph"})]


def test_the_row_of_another_crop_is_not_read():
    bounds = of_label(COPPER, crop="peach")

    assert values(bounds, Measure.WIND_MAXIMUM) == [(Basis.LABEL, {"value": "12", "unit": "mph"})]
    assert of_label(COPPER, crop="plum") == ()


def test_where_the_label_is_silent_the_published_limit_holds():
    bounds = in_force(labels=())

    assert values(bounds, Measure.WIND_MAXIMUM) == [(Basis.PUBLISHED, {"value": "10", "unit": "mph"})]


def test_a_farm_may_be_stricter_than_a_label():
    bounds = in_force(
        labels=of_label(COPPER, crop="peach"),
        farm=of_farm({"wind_maximum": {"value": "8", "unit": "mph"}}),
    )

    assert values(bounds, Measure.WIND_MAXIMUM) == [
        (Basis.LABEL, {"value": "12", "unit": "mph"}),
        (Basis.FARM, {"value": "8", "unit": "mph"}),
    ]


def test_a_farm_cannot_loosen_a_label():
    bounds = in_force(
        labels=of_label(COPPER, crop="peach"),
        farm=of_farm({"wind_maximum": {"value": "15", "unit": "mph"}}),
    )

    assert values(bounds, Measure.WIND_MAXIMUM) == [(Basis.LABEL, {"value": "12", "unit": "mph"})]


def test_a_farm_limit_in_other_units_is_compared_by_what_it_means():
    farm = of_farm({"wind_maximum": {"value": "13", "unit": "km/h"}})  # 8.1 mph

    bounds = in_force(labels=of_label(COPPER, crop="peach"), farm=farm)

    assert [basis for basis, _ in values(bounds, Measure.WIND_MAXIMUM)] == [Basis.LABEL, Basis.FARM]


def test_re_entry_of_the_farm_is_not_a_matter_of_weather():
    assert of_farm({"re_entry_minimum": {"value": "72", "unit": "h"}}) == ()


@pytest.mark.parametrize("order", [("8", "12"), ("12", "8")])
def test_of_two_labels_the_lower_wind_holds_in_either_order(order):
    assert strictest(wind(value) for value in order)[0].value.value == 8


def test_of_two_dry_times_the_longer_holds():
    dry = [Bound(Measure.RAIN_FREE, Quantity(Decimal(h), "h"), Basis.LABEL, "x") for h in ("12", "48", "24")]

    assert strictest(dry)[0].value.value == 48


def test_every_published_bound_names_a_source():
    assert all(bound.whose and bound.basis == Basis.PUBLISHED for bound in published())
    assert len({bound.measure for bound in published()}) == len(published())
