"""Requests that cannot be understood: every fault at once, each at its place, and never a traceback."""

import copy

import pytest

from mixing import MixRequestError, check_mix
from tests.mixing.mixes import example, label, mix, powder, product, q, use

MISSING = object()


def faults(request):
    with pytest.raises(MixRequestError) as caught:
        check_mix(request)
    errors = caught.value.errors
    assert all(set(error) == {"pointer", "code", "detail"} for error in errors)
    assert all(error["detail"] for error in errors)
    return {error["pointer"]: error["code"] for error in errors}


def changed(path, value, request=None):
    """Return a sound request with one value put in, or taken out, at a dotted path."""
    request = copy.deepcopy(request or mix(product(), powder()))
    *way, last = path.split(".")
    here = request
    for step in way:
        here = here[int(step)] if isinstance(here, list) else here.setdefault(step, {})
    if isinstance(here, list):
        here[int(last)] = value
    elif value is MISSING:
        here.pop(last, None)
    else:
        here[last] = value
    return request


def test_bare_ounces_and_a_stage_beyond_the_scale_are_both_told():
    request, _ = example("bare-ounces-and-a-wrong-stage")

    with pytest.raises(MixRequestError) as caught:
        check_mix(request)

    told = {error["pointer"]: error for error in caught.value.errors}
    assert set(told) == {"/products/0/rate/unit", "/stage/bbch"}
    assert told["/products/0/rate/unit"]["code"] == "unit_ambiguous"
    assert "did you mean fl_oz or oz_wt" in told["/products/0/rate/unit"]["detail"]


L = "products.0.label"
U = f"{L}.uses.0"

ONE_FAULT = [
    ("crop", MISSING, "/crop", "required"),
    ("crop", "", "/crop", "invalid"),
    ("crop", 7, "/crop", "invalid"),
    ("crop", "x" * 501, "/crop", "out_of_range"),
    ("products", MISSING, "/products", "required"),
    ("products", [], "/products", "required"),
    ("products", {}, "/products", "invalid"),
    ("products.0", None, "/products/0", "required"),
    ("products.0.id", MISSING, "/products/0/id", "required"),
    ("products.1.id", "a", "/products/1/id", "invalid"),
    ("products.0.rate", MISSING, "/products/0/rate", "required"),
    ("products.0.label", None, "/products/0/label", "required"),
    ("sprayer", MISSING, "/sprayer", "required"),
    ("sprayer.kind", MISSING, "/sprayer/kind", "required"),
    ("sprayer.kind", "backpak", "/sprayer/kind", "invalid"),
    ("sprayer.tank", "4 gal", "/sprayer/tank", "invalid"),
    ("sprayer.tank", 4, "/sprayer/tank", "invalid"),
    ("sprayer.tank", q("0", "gal"), "/sprayer/tank/value", "out_of_range"),
    ("sprayer.tank", q("-4", "gal"), "/sprayer/tank/value", "out_of_range"),
    ("sprayer.tank", q("4", "lb"), "/sprayer/tank/unit", "unit_kind"),
    ("sprayer.tank", {"value": "4"}, "/sprayer/tank/unit", "required"),
    ("sprayer.tank", {"unit": "gal"}, "/sprayer/tank/value", "required"),
    ("sprayer.tank", {**q("4", "gal"), "note": "x"}, "/sprayer/tank/note", "unknown_field"),
    ("sprayer.ratio", 20, "/sprayer/ratio", "not_a_decimal"),
    ("sprayer.ratio", "0", "/sprayer/ratio", "out_of_range"),
    ("sprayer.wheels", 4, "/sprayer/wheels", "unknown_field"),
    ("weather.wind", q("-1", "mph"), "/weather/wind/value", "out_of_range"),
    ("weather.humidity_percent", "101", "/weather/humidity_percent", "out_of_range"),
    ("weather.humidity_percent", 60, "/weather/humidity_percent", "not_a_decimal"),
    ("weather.rain_within_h", "-1", "/weather/rain_within_h", "out_of_range"),
    ("weather.inversion", "no", "/weather/inversion", "invalid"),
    ("weather.inversion", 0, "/weather/inversion", "invalid"),
    ("weather.temperature", q("300", "degC"), "/weather/temperature/value", "out_of_range"),
    ("water.ph", "15", "/water/ph", "out_of_range"),
    ("water.ph", 7.0, "/water/ph", "not_a_decimal"),
    ("water.hardness", q("-1", "ppm"), "/water/hardness/value", "out_of_range"),
    ("stage.bbch", "53", "/stage/bbch", "invalid"),
    ("stage.bbch", True, "/stage/bbch", "invalid"),
    ("stage.bbch", 53.0, "/stage/bbch", "invalid"),
    ("stage.bbch", 10**400, "/stage/bbch", "out_of_range"),
    ("stage.bbch", MISSING, "/stage/bbch", "required"),
    ("stage.observed_on", "2027-01-22", "/stage/observed_on", "out_of_range"),
    ("stage.observed_on", "22.1.2027", "/stage/observed_on", "invalid"),
    ("stage.observed_on", "2027-02-30", "/stage/observed_on", "invalid"),
    ("region", "California", "/region", "invalid"),
    ("at", "2027-01-21T08:00:00", "/at", "time_without_offset"),
    ("at", "2027-01-21", "/at", "invalid"),
    ("at", "2027-01-21T25:00:00-08:00", "/at", "invalid"),
    ("at", 1800000000, "/at", "invalid"),
    ("at", "9999-12-31T08:00:00Z", "/at", "out_of_range"),
    ("targets", "leaf curl", "/targets", "invalid"),
    ("targets", [7], "/targets/0", "invalid"),
    ("measures", ["oz"], "/measures/0", "unit_ambiguous"),
    ("measures", ["spoon"], "/measures/0", "unit_unknown"),
    ("measures", ["h"], "/measures/0", "unit_kind"),
    ("spray", {}, "/spray", "required"),
    ("spray", {"area": q("1", "acre")}, "/spray/volume_per_area", "required"),
    ("spray", {"trees": 5}, "/spray/volume_per_tree", "required"),
    ("spray", {"trees": "5", "volume_per_tree": q("1", "gal")}, "/spray/trees", "invalid"),
    ("spray", {"trees": 0, "volume_per_tree": q("1", "gal")}, "/spray/trees", "out_of_range"),
    ("spray", {"total": q("9", "gal"), "trees": 5, "volume_per_tree": q("1", "gal")}, "/spray", "invalid"),
    (
        "spray",
        {"total": q("9", "gal"), "dilute_volume_per_area": q("9", "gal/acre")},
        "/spray/dilute_volume_per_area",
        "invalid",
    ),
    ("spray", {"total": q("801", "gal")}, "/spray", "out_of_range"),
    ("tank", q("4", "gal"), "/tank", "unknown_field"),
    ("history", [{"on": "2027-01-22", "label": label()}], "/history/0/on", "out_of_range"),
    ("history", [{"label": label()}], "/history/0/on", "required"),
    ("history", [{"on": "2027-01-01"}], "/history/0/label", "required"),
    ("history", [{"on": "2027-01-01", "label": {}}], "/history/0/label/name", "required"),
    ("products.0.rate", q("1.5", "oz/gal"), "/products/0/rate/unit", "unit_ambiguous"),
    ("products.0.rate", q("1.5", "T/gal"), "/products/0/rate/unit", "unit_ambiguous"),
    ("products.0.rate", q("1.5", "tbsp/gall"), "/products/0/rate/unit", "unit_unknown"),
    ("products.0.rate", q("1.5", "tbsp"), "/products/0/rate/unit", "unit_kind"),
    ("products.0.rate", q("1.5", "percent_ww"), "/products/0/rate/unit", "unit_kind"),
    ("products.0.rate", q("1.5", "percent_wv"), "/products/0/rate/unit", "unit_kind"),
    ("products.0.rate", q("0", "tbsp/gal"), "/products/0/rate/value", "out_of_range"),
    ("products.0.rate", q("-1", "tbsp/gal"), "/products/0/rate/value", "out_of_range"),
    ("products.0.rate", q("2,8", "tbsp/gal"), "/products/0/rate/value", "not_a_decimal"),
    ("products.0.rate", q("1e3", "tbsp/gal"), "/products/0/rate/value", "not_a_decimal"),
    ("products.0.rate", q("+1", "tbsp/gal"), "/products/0/rate/value", "not_a_decimal"),
    ("products.0.rate", q("1_0", "tbsp/gal"), "/products/0/rate/value", "not_a_decimal"),
    ("products.0.rate", q(" 1", "tbsp/gal"), "/products/0/rate/value", "not_a_decimal"),
    ("products.0.rate", q("1.", "tbsp/gal"), "/products/0/rate/value", "not_a_decimal"),
    ("products.0.rate", q("１", "tbsp/gal"), "/products/0/rate/value", "not_a_decimal"),
    ("products.0.rate", q("NaN", "tbsp/gal"), "/products/0/rate/value", "not_a_decimal"),
    ("products.0.rate", q("Infinity", "tbsp/gal"), "/products/0/rate/value", "not_a_decimal"),
    ("products.0.rate", q(1.5, "tbsp/gal"), "/products/0/rate/value", "not_a_decimal"),
    ("products.0.rate", q(float("nan"), "tbsp/gal"), "/products/0/rate/value", "not_a_decimal"),
    ("products.0.rate", q("1" * 21, "tbsp/gal"), "/products/0/rate/value", "out_of_range"),
    ("products.0.rate", q("100", "percent_vv"), "/products/0/rate/value", "out_of_range"),
    ("products.0.rate", q("128", "fl_oz/gal"), "/products", "out_of_range"),
    (f"{L}.name", MISSING, "/products/0/label/name", "required"),
    (f"{L}.formulation", "WDG", "/products/0/label/formulation", "invalid"),
    (f"{L}.density", q("0", "kg/L"), "/products/0/label/density/value", "out_of_range"),
    (f"{L}.density", q("1", "percent_wv"), "/products/0/label/density/unit", "unit_kind"),
    (f"{L}.signal_word", "cautoin", "/products/0/label/signal_word", "invalid"),
    (f"{L}.adjuvant", "spreader", "/products/0/label/adjuvant", "invalid"),
    (f"{L}.colour", "blue", "/products/0/label/colour", "unknown_field"),
    (f"{L}.active_ingredients.0.name", MISSING, "/products/0/label/active_ingredients/0/name", "required"),
    (
        f"{L}.active_ingredients.0.content",
        q("0", "percent_ww"),
        "/products/0/label/active_ingredients/0/content/value",
        "out_of_range",
    ),
    (
        f"{L}.active_ingredients.0.content",
        q("101", "percent_ww"),
        "/products/0/label/active_ingredients/0/content/value",
        "out_of_range",
    ),
    (f"{U}.crops", MISSING, "/products/0/label/uses/0/crops", "required"),
    (f"{U}.stages", [{"from": 0}], "/products/0/label/uses/0/stages/0/to", "required"),
    (f"{U}.stages", [{"from": 0, "to": 100}], "/products/0/label/uses/0/stages/0/to", "out_of_range"),
    (f"{U}.maximum_applications", "4", "/products/0/label/uses/0/maximum_applications", "invalid"),
    (f"{U}.interval", q("-1", "d"), "/products/0/label/uses/0/interval/value", "out_of_range"),
    (f"{U}.interval", q("1" * 20, "d"), "/products/0/label/uses/0/interval/value", "out_of_range"),
    (
        f"{U}.rate",
        {"minimum": q("2", "fl_oz/gal"), "maximum": q("1", "fl_oz/gal")},
        "/products/0/label/uses/0/rate/minimum",
        "out_of_range",
    ),
    (f"{L}.mixing", {"partners": []}, "/products/0/label/mixing/partners", "unknown_field"),
    (f"{L}.mixing", {"do_not_mix_with": [{}]}, "/products/0/label/mixing/do_not_mix_with/0/what", "required"),
]


@pytest.mark.parametrize(("path", "value", "pointer", "code"), ONE_FAULT)
def test_one_fault_is_told_at_its_place_and_nothing_else(path, value, pointer, code):
    assert faults(changed(path, value)) == {pointer: code}


@pytest.mark.parametrize("request_", [None, [], "mix", 7, True, float("nan"), object()])
def test_what_is_no_object_is_refused(request_):
    assert faults(request_) == {"": "invalid"}


def test_an_empty_object_names_all_that_is_required():
    assert faults({}) == {"/crop": "required", "/sprayer": "required", "/products": "required"}


def test_only_crop_kind_and_products_are_required():
    report = check_mix({"crop": "peach", "sprayer": {"kind": "backpack"}, "products": [product()]})

    assert report["verdict"] in ("ok", "caution", "stop")


def test_a_rate_a_thousand_times_the_labels_is_absurd():
    limited = [use(rate={"maximum": q("0.1", "fl_oz/gal")})]

    assert faults(mix(product(rate=q("100", "fl_oz/gal"), uses=limited))) == {
        "/products/0/rate/value": "out_of_range"
    }


def test_more_than_twenty_products_are_refused():
    assert faults(mix(*(product(str(n)) for n in range(21)))) == {"/products": "out_of_range"}


def test_products_that_together_fill_the_tank_are_refused():
    assert faults(mix(product("a", q("60", "percent_vv")), product("b", q("40", "percent_vv")))) == {
        "/products": "out_of_range"
    }


def test_a_full_tank_is_told_beside_other_faults():
    request = mix(product("a", q("60", "percent_vv")), product("b", q("40", "percent_vv")), region="x")

    assert faults(request) == {"/products": "out_of_range", "/region": "invalid"}


def test_the_nearest_right_word_is_named():
    request = changed("products.0.rat", q("1", "fl_oz/gal"))

    with pytest.raises(MixRequestError) as caught:
        check_mix(request)

    assert caught.value.errors[0]["detail"].endswith("did you mean rate?")


def test_a_bottomless_value_is_refused_and_not_echoed():
    bottomless = []
    for _ in range(100_000):
        bottomless = [bottomless]

    for path in ("crop", "stage", "products.0.rate", "products.0.rate.value", "water.ph", "targets", "x"):
        assert faults(changed(path, bottomless))


def test_names_of_fields_are_texts():
    assert faults({**mix(), 10**5000: 1}) == {"": "invalid"}


def test_every_fault_of_a_thoroughly_wrong_request_is_told():
    request = mix(
        product(), product(), spray={"total": q("10", "gall")}, at="2027-01-21T08:00:00", colour="x"
    )

    assert faults(request) == {
        "/colour": "unknown_field",
        "/at": "time_without_offset",
        "/spray/total/unit": "unit_unknown",
        "/products/1/id": "invalid",
    }


def test_a_second_product_of_an_id_is_told_though_the_first_has_other_faults():
    request = changed("products.0.rate", q("2", "oz"))
    request["products"][1]["id"] = request["products"][0]["id"]

    assert faults(request) == {"/products/0/rate/unit": "unit_ambiguous", "/products/1/id": "invalid"}
