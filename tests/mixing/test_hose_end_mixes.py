"""Hose-end sprayers: the dial, the premix, the jar and what makes them unfit."""

from mixing import check_mix
from tests.mixing.mixes import gaps, ids, mix, powder, product, q, use

DIAL = {
    "kind": "hose_end_dial",
    "dial_max": q("8", "tbsp/gal"),
    "dial_step": q("0.5", "tbsp/gal"),
    "jar": q("1", "pt"),
    "residue": [],
    "materials": [],
}
RATIO = {"kind": "hose_end_ratio", "ratio": "20", "jar": q("1", "qt"), "residue": [], "materials": []}
JOB = {"total": q("12", "gal")}


def dialled(*products, **changes):
    return check_mix(mix(*products, sprayer={**DIAL, **changes}, spray=JOB))


def test_the_dial_is_set_to_what_the_products_take_together():
    report = dialled(product("cu", q("4", "tbsp/gal")), product("oil", q("2", "tbsp/gal")))

    dial = report["dial"]
    assert dial["setting"] == dial["wanted"] == q("6", "tbsp/gal")
    assert dial["error_percent"] == "0.0"
    assert dial["premix"] == [
        {"id": "cu", "amount": q("48", "tbsp")},
        {"id": "oil", "amount": q("24", "tbsp")},
    ]
    assert dial["jars"] == 3
    assert dial["per_jar"][1] == {"id": "oil", "amount": q("10.666666666666667", "tbsp")}
    assert dial["jar_makes"] == q("5.333333333333333", "gal")


def test_loads_are_one_the_whole_job():
    (load,) = dialled(product("cu", q("4", "tbsp/gal")))["loads"]

    assert load["spray"] == q("12", "gal")
    assert load["products"][0]["exact"] == q("48", "tbsp")


def test_the_dial_is_set_to_the_nearest_mark():
    assert dialled(product(rate=q("5.8", "tbsp/gal")))["dial"]["setting"] == q("6", "tbsp/gal")
    assert dialled(product(rate=q("6.2", "tbsp/gal")))["dial"]["setting"] == q("6", "tbsp/gal")


def test_the_mark_below_is_set_where_the_nearest_would_pass_a_maximum():
    limited = [use(rate={"maximum": q("5.8", "tbsp/gal")})]

    dial = dialled(product(rate=q("5.8", "tbsp/gal"), uses=limited))["dial"]

    assert dial["setting"] == q("5.5", "tbsp/gal")
    assert dial["error_percent"] == "-5.2"


def test_the_nearest_allowed_mark_is_set_where_the_rate_itself_is_above_the_maximum():
    limited = [use(rate={"maximum": q("3", "tbsp/gal")})]

    report = dialled(product(rate=q("4.2", "tbsp/gal"), uses=limited))

    assert report["dial"]["setting"] == q("3", "tbsp/gal")
    assert report["verdict"] == "stop"


def test_without_the_spray_of_the_job_the_setting_and_one_jar_still_stand():
    report = check_mix(mix(product(rate=q("6", "tbsp/gal")), sprayer=DIAL, spray=None))

    dial = report["dial"]
    assert dial["setting"] == q("6", "tbsp/gal")
    assert dial["per_jar"] == [{"id": "a", "amount": q("32", "tbsp")}]
    assert dial["premix"] == [{"id": "a", "amount": None}]
    assert dial["jars"] is None
    assert "spray" in gaps(report)


def test_a_setting_more_than_five_percent_off_is_a_caution():
    report = dialled(product(rate=q("1.3", "tbsp/gal")))

    assert report["dial"]["setting"] == q("1.5", "tbsp/gal")
    (finding,) = [one for one in report["findings"] if one["id"] == "hose-end.dial-error"]
    assert finding["says"] == "The dial set to 1.5 tbsp/gal is 15.4 % above the 1.3 tbsp/gal that are wanted."


def test_a_dial_past_its_end_is_unfit():
    report = dialled(product("a", q("6", "tbsp/gal")), product("b", q("4", "tbsp/gal")))

    assert report["dial"]["setting"] == q("8", "tbsp/gal")
    assert "hose-end.dial-past-its-end" in ids(report)


def test_the_dial_speaks_the_unit_of_its_step():
    dial = dialled(
        product(rate=q("1", "fl_oz/gal")), dial_step=q("1", "tsp/gal"), dial_max=q("10", "tbsp/gal")
    )["dial"]

    assert dial["wanted"] == q("6", "tsp/gal")


def test_a_dry_product_is_not_for_a_jar():
    assert "hose-end.dry-product" in ids(dialled(powder(rate=q("1", "tbsp/gal"))))


def test_two_formulations_in_one_jar_are_a_caution():
    report = dialled(product("a"), product("b", name="Zolanide 10 EC", formulation="EC"))

    (finding,) = [one for one in report["findings"] if one["id"] == "hose-end.unlike-pair"]
    assert finding["severity"] == "caution"
    assert finding["products"] == ["a", "b"]


def test_what_the_dial_does_not_say_is_not_checked():
    report = check_mix(mix(product(), sprayer={"kind": "hose_end_dial"}, spray=JOB))

    assert {"sprayer.dial_max", "sprayer.dial_step", "sprayer.jar"} <= set(gaps(report))
    assert report["dial"]["setting"] is None


def test_a_fixed_ratio_takes_a_premix_of_product_and_water():
    report = check_mix(mix(product(rate=q("1", "fl_oz/gal")), sprayer=RATIO, spray={"total": q("10", "gal")}))

    dial = report["dial"]
    assert dial["setting"] is None
    assert dial["premix"] == [{"id": "a", "amount": q("10", "fl_oz")}]
    assert dial["water"] == q("0.421875", "gal"), "half a gallon of premix less 10 fl_oz"
    assert dial["jars"] == 2
    assert dial["jar_makes"] == q("5", "gal")
    assert dial["per_jar"] == [{"id": "a", "amount": q("5", "fl_oz")}]


def test_a_ratio_that_has_no_room_for_the_products_is_a_stop():
    report = check_mix(mix(product(rate=q("8", "fl_oz/gal")), sprayer=RATIO, spray={"total": q("10", "gal")}))

    (finding,) = [one for one in report["findings"] if one["id"] == "hose-end.ratio-too-thin"]
    assert finding["severity"] == "stop"
    assert finding["may_be_overridden"] is False


def test_another_sprayer_has_no_dial():
    assert check_mix(mix())["dial"] is None
