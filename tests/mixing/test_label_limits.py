"""What a product's own label forbids: stop, basis label, no override; what it needs and lacks: caution."""

from __future__ import annotations

import copy
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mixing import limits, request_reading, rulebook
from mixing.check import check_mix
from tests.mixing.mixes import Json, gaps, ids, label, mix, product, q, use


def found(report: Json, finding_id: str) -> Json:
    """Return the one finding of that id."""
    [one] = [finding for finding in report["findings"] if finding["id"] == finding_id]
    return one


def on_label(*rows: Json, **changes: Any) -> Json:
    """Return a product whose label has these rows."""
    return product(uses=list(rows), **changes)


def check(*products: Json, **changes: Any) -> Json:
    return check_mix(mix(*products, **changes))


def weather(**changes: Any) -> Json:
    return {**mix()["weather"], **changes}


def earlier(on: str, of: Json, **changes: Any) -> Json:
    made = {
        "on": on,
        "bbch": 97,
        "label": of["label"],
        "rate": of["rate"],
        "spray_volume": q("10", "gal"),
        "area": q("0.25", "acre"),
    }
    return {**made, **changes}


def test_a_clean_tank_of_one_product_is_ok():
    report = check()

    assert report["verdict"] == "ok"
    assert report["findings"] == []


def test_a_crop_the_label_does_not_name_stops():
    report = check(on_label(use(crops=["apple"])))

    assert found(report, "label.crop")["severity"] == "stop"
    assert found(report, "label.crop")["basis"] == "label"
    assert found(report, "label.crop")["may_be_overridden"] is False


def test_a_label_without_any_row_names_no_crop():
    assert "label.crop" in ids(check(on_label()))


def test_a_label_whose_uses_were_not_copied_out_is_listed_and_nothing_else():
    report = check(product(uses=None))

    assert "label.uses:a" in gaps(report)
    assert report["verdict"] == "ok"


def test_a_label_for_stone_fruit_is_for_peach():
    assert "label.crop" not in ids(check(on_label(use(crops=["Stone Fruit"]))))


@pytest.mark.parametrize("crop", ["Peaches", "PEACH", " peach"])
def test_one_peach_or_many_is_the_same_crop(crop: str):
    assert "label.crop" not in ids(check(on_label(use(crops=[crop]))))


def test_a_rate_in_ppm_is_held_against_a_limit_of_product():
    """2000 mg/L of active from a product of 20 percent and 1.1 kg/L is 9.09 mL/L, or 1.164 fl oz/gal."""
    fits = use(rate={"minimum": None, "maximum": q("1.17", "fl_oz/gal")})
    over = use(rate={"minimum": None, "maximum": q("1.16", "fl_oz/gal")})

    assert "label.rate-above-maximum" not in ids(check(product(rate=q("2000", "ppm"), uses=[fits])))
    assert "label.rate-above-maximum" in ids(check(product(rate=q("2000", "ppm"), uses=[over])))


def test_a_target_the_label_does_not_name_is_a_caution():
    report = check(on_label(use(targets=["brown rot"])))

    assert found(report, "label.target")["severity"] == "caution"
    assert report["verdict"] == "caution"


def test_one_of_two_targets_named_is_enough():
    report = check(on_label(use(targets=["leaf curl"])), targets=["shot hole", "Leaf Curl"])

    assert "label.target" not in ids(report)


@pytest.mark.parametrize(("bbch", "allowed"), [(93, True), (0, True), (57, True), (59, False), (92, False)])
def test_a_stage_window_wraps_round_the_year_and_holds_its_ends(bbch: int, allowed: bool):
    report = check(
        on_label(use(stages=[{"from": 93, "to": 57}])), stage={"bbch": bbch, "observed_on": "2027-01-20"}
    )

    assert ("label.stage" not in ids(report)) is allowed


def test_a_row_for_another_target_does_not_lend_its_stages():
    dormant = use(stages=[{"from": 97, "to": 3}])
    other = use(targets=["shot hole"], stages=[{"from": 51, "to": 59}])

    report = check(on_label(dormant, other), stage={"bbch": 55, "observed_on": "2027-01-20"})

    assert found(report, "label.stage")["severity"] == "stop"


def test_without_a_stage_a_label_with_windows_is_a_caution_and_is_listed():
    report = check(on_label(use(stages=[{"from": 93, "to": 57}])), stage=None)

    assert found(report, "label.stage-unknown")["severity"] == "caution"
    assert "stage" in gaps(report)


@pytest.mark.parametrize(("rate", "above"), [("2.0", False), ("2.000001", True)])
def test_the_maximum_itself_is_allowed_and_anything_more_stops(rate: str, above: bool):
    rows = use(rate={"minimum": None, "maximum": q("1", "fl_oz/gal")})

    report = check(product(rate=q(rate, "tbsp/gal"), uses=[rows]))

    assert ("label.rate-above-maximum" in ids(report)) is above


def test_too_little_is_a_caution():
    rows = use(rate={"minimum": q("1", "fl_oz/gal"), "maximum": None})

    report = check(product(rate=q("1", "tbsp/gal"), uses=[rows]))

    assert found(report, "label.rate-below-minimum")["severity"] == "caution"


def test_a_limit_by_area_is_checked_beside_the_one_by_volume():
    """10 gal on a quarter acre at 1 fl oz a gallon is 40 fl oz an acre."""
    by_volume = use(rate={"minimum": None, "maximum": q("2", "fl_oz/gal")})
    by_area = use(rate={"minimum": None, "maximum": q("39", "fl_oz/acre")})

    report = check(on_label(by_volume, by_area))

    assert "39" in found(report, "label.rate-above-maximum")["says"]


def test_a_limit_by_area_without_an_area_is_a_caution_and_is_listed():
    rows = use(rate={"minimum": None, "maximum": q("39", "fl_oz/acre")})

    report = check(on_label(rows), spray={"total": q("10", "gal")})

    assert found(report, "label.area-unknown")["severity"] == "caution"
    assert gaps(report).count("spray.area") == 1


def test_concentrate_spraying_keeps_the_dose_by_area_of_the_dilute_volume():
    """1 fl oz a gallon of 400 dilute gallons an acre is 400 fl oz an acre, at 100 gallons sprayed too."""
    spray = {
        "area": q("1", "acre"),
        "volume_per_area": q("100", "gal/acre"),
        "dilute_volume_per_area": q("400", "gal/acre"),
    }
    rows = use(rate={"minimum": None, "maximum": q("399", "fl_oz/acre")})

    assert "label.rate-above-maximum" in ids(check(on_label(rows), spray=spray))


def test_the_strictest_of_two_rows_for_the_crop_holds():
    loose = use(rate={"minimum": None, "maximum": q("4", "fl_oz/gal")}, wind={"maximum": q("15", "mph")})
    strict = use(rate={"minimum": None, "maximum": q("0.5", "fl_oz/gal")}, wind={"maximum": q("4", "mph")})

    report = check(on_label(loose, strict))

    assert {"label.rate-above-maximum", "label.wind-above"} <= ids(report)


@pytest.mark.parametrize(
    ("limits", "changes", "finding"),
    [
        ({"wind": {"maximum": q("8", "mph")}}, {"wind": q("8.1", "mph")}, "label.wind-above"),
        ({"wind": {"maximum": q("8", "mph")}}, {"wind": q("13", "km/h")}, "label.wind-above"),
        ({"wind": {"minimum": q("3", "mph")}}, {"wind": q("2.9", "mph")}, "label.wind-below"),
        ({"rain_free": q("12", "h")}, {"rain_within_h": "11.9"}, "label.rain-free"),
        ({"rain_free": q("1", "d")}, {"rain_within_h": "23"}, "label.rain-free"),
        (
            {"temperature": {"maximum": q("85", "degF")}},
            {"temperature": q("30", "degC")},
            "label.temperature-above",
        ),
        (
            {"temperature": {"minimum": q("40", "degF")}},
            {"temperature": q("4", "degC")},
            "label.temperature-below",
        ),
    ],
)
def test_weather_outside_the_label_stops(limits: Json, changes: Json, finding: str):
    report = check(on_label(use(**limits)), weather=weather(**changes))

    assert found(report, finding)["severity"] == "stop"
    assert found(report, finding)["basis"] == "label"


@pytest.mark.parametrize(
    ("limits", "changes"),
    [
        ({"wind": {"maximum": q("8", "mph")}}, {"wind": q("8", "mph")}),
        ({"rain_free": q("12", "h")}, {"rain_within_h": "12"}),
        ({"temperature": {"maximum": q("50", "degF")}}, {"temperature": q("10", "degC")}),
        ({"rain_free": q("0", "h")}, {"rain_within_h": "0"}),
    ],
)
def test_weather_at_the_limit_is_allowed(limits: Json, changes: Json):
    report = check(on_label(use(**limits)), weather=weather(**changes))

    assert not [one for one in report["findings"] if one["basis"] == "label"]


@pytest.mark.parametrize(
    ("limits", "field", "finding"),
    [
        ({"wind": {"maximum": q("8", "mph")}}, "wind", "label.wind-unknown"),
        ({"rain_free": q("12", "h")}, "rain_within_h", "label.rain-unknown"),
        ({"temperature": {"maximum": q("30", "degC")}}, "temperature", "label.temperature-unknown"),
    ],
)
def test_a_reading_that_a_label_needs_and_lacks_is_a_caution_and_is_listed_once(
    limits: Json, field: str, finding: str
):
    report = check(on_label(use(**limits)), weather=weather(**{field: None}))

    assert found(report, finding)["severity"] == "caution"
    assert gaps(report).count(f"weather.{field}") == 1


def test_a_reading_that_no_label_needs_is_only_listed():
    report = check(weather=None)

    assert "weather.wind" in gaps(report)
    assert report["verdict"] == "ok"


@pytest.mark.parametrize(
    ("ph", "finding"), [("5.4", "label.water-ph-below"), ("9.1", "label.water-ph-above")]
)
def test_water_outside_the_label_stops(ph: str, finding: str):
    mixing = {"water_ph": {"minimum": "5.5", "maximum": "9"}}

    report = check(product(mixing=mixing), water={**mix()["water"], "ph": ph})

    assert found(report, finding)["severity"] == "stop"


def test_a_ph_that_a_label_needs_and_lacks_is_a_caution():
    mixing = {"water_ph": {"minimum": "5.5", "maximum": "9"}}

    report = check(product(mixing=mixing), water=None)

    assert found(report, "label.water-ph-unknown")["severity"] == "caution"
    assert "water.ph" in gaps(report)


@pytest.mark.parametrize(("on", "free"), [("2027-01-14", True), ("2027-01-15", False), ("2027-01-21", False)])
def test_an_interval_of_seven_days_is_over_on_the_eighth(on: str, free: bool):
    again = on_label(use(interval=q("7", "d")))

    report = check(again, history=[earlier(on, again)])

    assert ("label.interval" not in ids(report)) is free


def test_another_registration_is_another_product_whatever_its_name():
    again = on_label(use(interval=q("7", "d")))
    other = product(registration="demo-other", uses=again["label"]["uses"])

    assert "label.interval" not in ids(check(again, history=[earlier("2027-01-20", other)]))


def test_products_without_registration_are_told_by_name():
    again = on_label(use(interval=q("7", "d")), registration=None)

    assert "label.interval" in ids(check(again, history=[earlier("2027-01-20", again)]))


@pytest.mark.parametrize(("first", "counts"), [("2026-01-22", True), ("2026-01-21", False)])
def test_applications_are_counted_over_the_year_up_to_today(first: str, counts: bool):
    twice = on_label(use(maximum_applications=2))
    history = [earlier(first, twice), earlier("2026-12-01", twice)]

    assert ("label.number" in ids(check(twice, history=history))) is counts


def test_history_missing_where_a_label_counts_is_a_caution_and_is_listed():
    report = check(on_label(use(maximum_applications=2)), history=None)

    assert found(report, "label.history-unknown")["severity"] == "caution"
    assert "history" in gaps(report)


def test_without_a_day_nothing_is_counted_and_the_labels_that_need_it_caution():
    twice = on_label(use(maximum_applications=2))

    report = check(twice, at=None, history=[earlier("2026-12-01", twice)])

    assert report["year"] is None
    assert found(report, "label.date-unknown")["severity"] == "caution"
    assert "at" in gaps(report)


@pytest.mark.parametrize(("seen", "old"), [("2027-01-07", False), ("2027-01-06", True)])
def test_a_stage_seen_more_than_a_fortnight_ago_is_a_caution(seen: str, old: bool):
    report = check(stage={"bbch": 1, "observed_on": seen})

    assert ("label.observation-old" in ids(report)) is old
    assert report["verdict"] == ("caution" if old else "ok")


COPPER = {
    "name": "Copper hydroxide 50 WP",
    "registration": "demo-cu",
    "active_ingredients": [
        {
            "name": "copper hydroxide",
            "content": q("77", "percent_ww"),
            "metal": {"of": "copper", "content": q("50", "percent_ww")},
        }
    ],
    "formulation": "WP",
    "density": None,
    "bulk_density": q("0.5", "kg/L"),
}


def copper(maximum: str, rate: str = "2", **changes: Any) -> Json:
    yearly = [{"of": "copper", "amount": q(maximum, "lb/acre")}]
    rows = [use(maximum_per_year=yearly)]
    return product("cu", q(rate, "lb/acre"), **copy.deepcopy({**COPPER, "uses": rows, **changes}))


def test_copper_of_another_product_counts_towards_the_yearly_limit():
    """2 lb of half copper now and 4 lb of a quarter copper before: 2 lb of metal an acre."""
    other = copper("99", "4", registration="demo-other", name="Copper oxychloride 25 WP")
    other["label"]["active_ingredients"][0]["metal"]["content"] = q("25", "percent_ww")
    history = [earlier("2026-03-01", other)]

    assert "label.yearly" not in ids(check(copper("2"), history=history))
    assert found(check(copper("1.99"), history=history), "label.yearly")["severity"] == "stop"


def test_the_year_line_says_what_was_used_and_what_it_comes_to():
    [line] = check(copper("18"), history=[earlier("2026-03-01", copper("18", "3"))])["year"]

    assert line["of"] == "copper"
    assert (Decimal(line["used"]["value"]), line["used"]["unit"]) == (Decimal("1.5"), "lb/acre")
    assert (Decimal(line["after"]["value"]), line["after"]["unit"]) == (Decimal("2.5"), "lb/acre")
    assert line["maximum"] == q("18", "lb/acre")


def test_metal_comes_from_the_formula_where_the_label_gives_none():
    bare = copper("1.0")
    del bare["label"]["active_ingredients"][0]["metal"]
    bare["rate"] = q("2", "lb/acre")

    report = check(bare)

    assert "label.yearly" in ids(report)  # 2 lb x 77 % x 0.6514 is 1.003 lb


def test_a_yearly_limit_without_an_area_is_a_caution_and_is_listed():
    by_volume = copper("18")
    by_volume["rate"] = q("1", "oz_wt/gal")

    report = check(by_volume, spray={"total": q("10", "gal")})

    assert found(report, "label.area-unknown")["severity"] == "caution"
    assert "spray.area" in gaps(report)


def test_a_captan_limit_is_counted_by_its_active_ingredient():
    captan = [{"name": "captan", "content": q("80", "percent_ww")}]
    rows = [use(maximum_per_year=[{"of": "Captan", "amount": q("1.5", "lb/acre")}])]
    powder = {"formulation": "WG", "density": None, "bulk_density": q("0.5", "kg/L")}

    report = check(
        product("c", q("2", "lb/acre"), **{**powder, "active_ingredients": captan, "uses": rows}),
        crop="peach",
    )

    assert found(report, "label.yearly")["products"] == ["c"]


def test_a_yearly_limit_asks_for_the_content_of_what_it_limits():
    rows = [use(maximum_per_year=[{"of": "captan", "amount": q("10", "lb/acre")}])]
    powder = {"formulation": "WG", "density": None, "bulk_density": q("0.5", "kg/L"), "uses": rows}
    unknown, known = (
        product("c", q("2", "lb/acre"), active_ingredients=[{"name": "captan", "content": content}], **powder)
        for content in (None, q("80", "percent_ww"))
    )

    assert found(check(unknown), "label.content-unknown")["severity"] == "caution"
    assert "label.content:c" in gaps(check(unknown))
    assert "label.content-unknown" not in ids(check(known))


def test_the_widest_strip_to_leave_is_a_note():
    rows = [
        use(buffer={"width": q("10", "ft"), "from": "water"}),
        use(buffer={"width": q("25", "ft"), "from": "houses"}),
    ]

    report = check(on_label(*rows))

    assert "25 ft" in found(report, "label.buffer")["says"]
    assert report["verdict"] == "ok"


def test_a_label_needs_only_a_name():
    report = check_mix(
        {
            "crop": "peach",
            "sprayer": {"kind": "backpack"},
            "products": [{"id": "x", "rate": q("1", "fl_oz/gal"), "label": {"name": "Something"}}],
        }
    )

    assert "label.active_ingredients:x" in gaps(report)
    assert "label.uses:x" in gaps(report)


def test_labels_are_not_mixed_up_between_two_products():
    strict = label("Strictol 10 SC", uses=[use(wind={"maximum": q("3", "mph")})])
    mild = product("b", name="Mildanol 10 SC")

    report = check({"id": "a", "rate": q("1", "fl_oz/gal"), "label": strict}, mild)

    assert found(report, "label.wind-above")["products"] == ["a"]


def test_a_label_with_a_wind_limit_of_its_own_is_not_held_to_the_published_one():
    windy = weather(wind=q("12", "mph"))

    report = check(on_label(use(wind={"maximum": q("15", "mph")})), weather=windy)

    assert report["verdict"] == "ok"


def test_wind_above_ten_without_a_limit_of_the_label_is_a_published_stop():
    report = check(weather=weather(wind=q("10.1", "mph")))

    one = found(report, "weather.wind-above-10-mph")
    assert (one["severity"], one["basis"], one["may_be_overridden"]) == ("stop", "published", True)
    assert one["products"] == []


def test_the_published_wind_limit_is_about_the_products_without_one_of_their_own():
    own = on_label(use(wind={"maximum": q("15", "mph")}))
    none = product("b", name="Mildanol 10 SC")

    report = check(own, none, weather=weather(wind=q("12", "mph")))

    assert found(report, "weather.wind-above-10-mph")["products"] == ["b"]


@pytest.mark.parametrize(("to", "severity"), [(57, "stop"), (63, "caution")])
def test_a_published_stage_limit_is_a_caution_where_the_label_has_a_window_for_the_stage(
    to: int, severity: str
):
    rows = [use(stages=[{"from": 93, "to": to}])]
    blooming = {"bbch": 61, "observed_on": "2027-01-20"}

    report = check(copper("99", uses=rows), stage=blooming)

    assert found(report, "stage.copper-after-bud-colour")["severity"] == ("caution" if to == 63 else "stop")
    assert report["verdict"] == severity


def test_a_label_without_windows_does_not_soften_a_published_stage_limit():
    report = check(copper("99"), stage={"bbch": 61, "observed_on": "2027-01-20"})

    assert found(report, "stage.copper-after-bud-colour")["severity"] == "stop"
    assert found(report, "stage.copper-after-bud-colour")["may_be_overridden"] is True


@pytest.mark.parametrize(("bbch", "worst"), [(53, "note"), (55, "caution"), (57, "caution"), (59, "stop")])
def test_full_rate_copper_on_peach_is_best_before_the_buds_open(bbch: int, worst: str):
    report = check(copper("99"), stage={"bbch": bbch, "observed_on": "2027-01-20"})

    of_stage = [one["severity"] for one in report["findings"] if one["id"].startswith("stage.")]
    assert of_stage[0] == worst


def test_a_label_that_asks_for_no_dry_time_is_not_held_to_the_usual_day():
    soon = weather(rain_within_h="6")

    assert check(on_label(use(rain_free=q("0", "h"))), weather=soon)["verdict"] == "ok"
    assert "weather.rain-within-24-h" in ids(check(weather=soon))


@given(
    rate=st.sampled_from(
        [("lb/100gal", "lb/acre", 100), ("oz_wt/gal", "lb/acre", 16), ("oz_wt/gal", "oz_wt/acre", 1)]
    ),
    amount=st.integers(1, 99),
    gallons=st.integers(10, 400),
    acres=st.sampled_from(["0.25", "1", "1.75"]),
)
@settings(max_examples=60, deadline=None)
def test_a_rate_that_is_the_limit_by_area_to_the_last_digit_is_neither_above_nor_below(
    rate: tuple[str, str, int], amount: int, gallons: int, acres: str
):
    by_volume, by_area, parts = rate
    exactly = q(format(Decimal(amount * gallons) / parts, "f"), by_area)
    spray = {"area": q(acres, "acre"), "volume_per_area": q(str(gallons), "gal/acre")}
    dry = {"formulation": "WG", "density": None, "bulk_density": q("0.5", "kg/L")}
    rows = [use(rate={"minimum": exactly, "maximum": exactly})]

    request = request_reading.read_request(
        mix(product(rate=q(str(amount), by_volume), uses=rows, **dry), spray=spray)
    )
    found, _ = limits.check(request, rulebook.load())

    assert not [one.id for one in found if one.id.startswith("label.rate")]
