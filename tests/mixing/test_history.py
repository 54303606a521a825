"""What history forbids: partners by label, pairs by publication, modes of action, metal over years."""

from __future__ import annotations

from typing import Any

import pytest

from mixing.check import check_mix
from tests.mixing.mixes import Json, ids, mix, product, q
from tests.mixing.test_label_limits import earlier, found
from tests.mixing.test_pairs import named


def check(*products: Json, **changes: Any) -> Json:
    return check_mix(mix(*products, **changes))


@pytest.mark.parametrize(("on", "severity"), [("2027-01-10", "stop"), ("2027-01-07", "caution")])
def test_sulfur_after_oil_stops_within_a_fortnight_and_cautions_within_a_month(on: str, severity: str):
    report = check(named("s", "sulfur"), history=[earlier(on, named("o", "mineral oil"))])

    [one] = [one for one in report["findings"] if one["id"].startswith("interval.oil-and-sulfur")]
    assert one["severity"] == severity


def test_oil_after_sulfur_gives_the_same_answer_as_sulfur_after_oil():
    sulfur, oil = named("s", "sulfur"), named("o", "mineral oil")

    one = check(sulfur, history=[earlier("2027-01-10", oil)])
    other = check(oil, history=[earlier("2027-01-10", sulfur)])

    assert "interval.oil-and-sulfur" in ids(one) & ids(other)


def test_the_fortnight_is_over_on_the_fifteenth_day():
    report = check(named("s", "sulfur"), history=[earlier("2027-01-07", named("o", "mineral oil"))])

    assert "interval.oil-and-sulfur" not in ids(report)


def test_the_strictest_interval_speaks_and_names_the_others():
    report = check(named("s", "sulfur"), history=[earlier("2027-01-15", named("o", "mineral oil"))])

    one = found(report, "interval.oil-and-sulfur")
    assert "2027-01-29" in one["do"]
    for other in ("The Patriot-News", "norganics"):
        assert other in one["why"]


@pytest.mark.parametrize(
    ("direction", "oil_first", "speaks"),
    [
        ("before", True, True),
        ("before", False, False),
        ("after", True, False),
        ("after", False, True),
        ("either", True, True),
        ("either", False, True),
    ],
)
def test_a_label_keeps_partners_apart_in_the_direction_that_it_names(
    direction: str, oil_first: bool, speaks: bool
):
    apart = [{"what": "oil", "interval": q("10", "d"), "direction": direction}]
    mine, oil = named("a", "pyrafenol", mixing={"intervals": apart}), named("o", "canola oil")
    now, before = (mine, oil) if oil_first else (oil, mine)

    report = check(now, history=[earlier("2027-01-12", before)])

    assert ("label.interval-partner" in ids(report)) is speaks


def test_a_partner_interval_of_ten_days_is_over_on_the_eleventh_day():
    apart = [{"what": "oil", "interval": q("10", "d"), "direction": "either"}]
    mine = named("a", "pyrafenol", mixing={"intervals": apart})

    report = check(mine, history=[earlier("2027-01-11", named("o", "canola oil"))])

    assert "label.interval-partner" not in ids(report)


def test_a_ready_mix_counts_for_each_of_its_modes_of_action():
    both = [{"scheme": "FRAC", "code": "7"}, {"scheme": "FRAC", "code": "11"}]
    mix_of_two = product("m", name="Twofold 30 SC", mode_of_action=both)
    strobilurin = product("a", mode_of_action=[{"scheme": "frac", "code": " 11"}])

    report = check(strobilurin, history=[earlier("2027-01-10", mix_of_two)])

    assert "resistance.high-risk-in-a-row" in ids(report)


def test_a_spray_of_another_group_between_breaks_the_row():
    one = product("a", mode_of_action=[{"scheme": "FRAC", "code": "11"}])
    other = product("b", name="Captanol", mode_of_action=[{"scheme": "FRAC", "code": "M4"}])
    history = [earlier("2027-01-05", one), earlier("2027-01-12", other)]

    assert "resistance.high-risk-in-a-row" not in ids(check(one, history=history))


def copper(rate: str) -> Json:
    metal = {"of": "copper", "content": q("50", "percent_ww")}
    content = [{"name": "copper hydroxide", "content": q("77", "percent_ww"), "metal": metal}]
    dry = {"formulation": "WP", "density": None, "bulk_density": q("0.5", "kg/L")}
    return product("cu", q(rate, "kg/ha"), name="Copper 50 WP", active_ingredients=content, **dry)


def test_seven_years_of_copper_are_counted_in_the_union_and_not_elsewhere():
    """The six years of cu-eu-02 in kg/ha: 5, 4, 3, 6, 4, 3, so that 3 are left for the seventh."""
    years = zip(range(2021, 2027), ("10", "8", "6", "12", "8", "6"), strict=True)
    history = [earlier(f"{year}-03-01", copper(rate)) for year, rate in years]

    def stops(rate: str, region: str) -> bool:
        report = check(copper(rate), history=history, region=region)
        return "yearly.eu-copper-seven-years" in ids(report)

    assert stops("6.001", "FR") is True
    assert stops("6", "FR") is False
    assert stops("6.001", "IT-32") is True
    assert stops("6.001", "US-OR") is False


def test_a_regulation_may_not_be_overridden():
    history = [earlier(f"{year}-03-01", copper("10")) for year in range(2021, 2027)]

    one = found(check(copper("6"), history=history, region="ES"), "yearly.eu-copper-seven-years")

    assert (one["severity"], one["basis"], one["may_be_overridden"]) == ("stop", "regulation", False)


def test_a_region_without_limits_is_said_not_to_be_checked():
    assert "region" in [line["what"] for line in check(region="NZ")["not_checked"]]
    assert "region" not in [line["what"] for line in check(region="DE")["not_checked"]]
