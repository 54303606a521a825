"""The listing: every calculation of the contract, its schemas, and requests of any kind at all."""

from __future__ import annotations

import copy
import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from mixing.calculations import CalculationError, calculate, listing

LISTED: dict[str, Any] = {str(one["name"]): one for one in listing()}
CONTRACT = """
    dose_by_area dose_by_volume dose_by_trees tank_loads percent_solution ppm_solution active_ingredient
    product_for_active metal_equivalent applications_left weigh_measure application_rate nozzle_flow
    ground_speed spraying_time plot_calibration pressure_for_flow tree_row_volume concentrate_factor
    dial_setting jar_amounts planted_trees half_life delta_t critical_bud_temperature degree_days
    growing_degree_hours chill infection_risk wash_off efficacy severity_index re_entry harvest
""".split()  # noqa: SIM905
names = pytest.mark.parametrize("name", sorted(LISTED))


def test_the_listing_is_that_of_the_contract() -> None:
    assert sorted(LISTED) == sorted(CONTRACT)
    assert json.loads(json.dumps(listing())) == listing()


@names
def test_schemas_are_schemas_and_every_field_is_described(name: str) -> None:
    one = LISTED[name]

    Draft202012Validator.check_schema(one["input_schema"])
    Draft202012Validator.check_schema(one["output_schema"])
    assert all(field["description"] for field in one["input_schema"]["properties"].values())
    assert all(field["description"] for field in one["output_schema"]["properties"].values())
    assert one["does"] and one["sources"] and all(source["title"] for source in one["sources"])


@names
def test_the_example_fits_its_schema_and_so_does_its_answer(name: str) -> None:
    one = LISTED[name]

    Draft202012Validator(one["input_schema"]).validate(one["example"])
    answer = calculate(name, one["example"])
    Draft202012Validator(one["output_schema"]).validate(answer)
    assert answer["steps"] and answer["source"]


@names
def test_the_same_request_gives_the_same_bytes(name: str) -> None:
    example = LISTED[name]["example"]

    before = copy.deepcopy(example)
    first, second = (json.dumps(calculate(name, example)) for _ in range(2))

    assert first == second
    assert example == before


@names
def test_each_field_that_is_missing_is_named(name: str) -> None:
    schema = LISTED[name]["input_schema"]

    with pytest.raises(CalculationError) as refused:
        calculate(name, {})

    pointers = {fault["pointer"] for fault in refused.value.errors}
    assert pointers >= {f"/{field}" for field in schema["required"]}


@names
def test_an_unknown_field_is_refused_and_not_passed_over(name: str) -> None:
    with pytest.raises(CalculationError) as refused:
        calculate(name, {**LISTED[name]["example"], "moon": "full"})

    assert {f["pointer"]: f["code"] for f in refused.value.errors} == {"/moon": "unknown_field"}


@names
@pytest.mark.parametrize("whole", [None, [], "x", 3, 2.5, True])
def test_a_request_that_is_no_object_is_refused(name: str, whole: Any) -> None:
    with pytest.raises(CalculationError) as refused:
        calculate(name, whole)

    assert [fault["code"] for fault in refused.value.errors] == ["invalid"]


scalars = (
    st.none()
    | st.booleans()
    | st.integers(-(10**25), 10**25)
    | st.floats(allow_nan=True, allow_infinity=True)
    | st.text(max_size=12)
    | st.sampled_from(["1e3", "NaN", "2,8", "+1", "-0", "0", "-5", "9" * 25, "٣", "1.", ".5"])
)
units = st.sampled_from(
    [
        *("gal", "L", "fl_oz", "oz", "oz_wt", "lb", "g", "acre", "ha", "m2", "1000ft2", "tree", "furlong"),
        *("lb/acre", "L/ha", "mL/m2", "m3/ha", "ft3/acre", "tree/ha", "mL/tree", "g/100m", "lb/100gal"),
        *("percent_vv", "percent_ww", "percent_wv", "ppm", "tbsp/gal", "lb/gal", "g/L", "kg/L"),
        *("degC", "degF", "degC_day", "h", "d", "min", "m", "ft", "in", "mph", "gal/min", "L/min"),
        *("psi", "kPa", "L/m3", "gal/1000ft3"),
    ]
)
numbers = st.sampled_from(
    ["0", "1", "2.5", "-3", "100", "0.0000000000000000001", "99999999999999999999", "x"]
)
quantity = st.fixed_dictionaries({"value": numbers, "unit": units})
anything = st.recursive(
    scalars | quantity,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4),
    max_leaves=6,
)


def _turned(data: st.DataObject, value: Any) -> Any:
    """The same value with another number or another unit somewhere in it."""
    if isinstance(value, dict) and value.keys() == {"value", "unit"}:
        part = data.draw(st.sampled_from(["value", "unit"]))
        return {**value, part: data.draw(numbers if part == "value" else units)}
    if isinstance(value, dict) and value:
        field = data.draw(st.sampled_from(sorted(value)))
        return {**value, field: _turned(data, value[field])}
    if isinstance(value, list) and value:
        rank = data.draw(st.integers(0, len(value) - 1))
        return [*value[:rank], _turned(data, value[rank]), *value[rank + 1 :]]
    return data.draw(numbers | scalars)


@names
@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_any_json_gets_an_answer_or_faults_and_never_a_traceback(name: str, data: st.DataObject) -> None:
    example = copy.deepcopy(LISTED[name]["example"])
    fields = sorted([*LISTED[name]["input_schema"]["properties"], "moon"])
    for _ in range(data.draw(st.integers(1, 3))):
        field = data.draw(st.sampled_from(fields))
        way = data.draw(st.integers(0, 5))
        if way == 0:
            example.pop(field, None)
        elif way < 4 and field in example:
            example[field] = _turned(data, example[field])
        else:
            example[field] = data.draw(anything)

    try:
        answer = calculate(name, example)
    except CalculationError as error:
        assert error.errors
        assert all(fault.keys() == {"pointer", "code", "detail"} for fault in error.errors)
        assert all(fault["detail"] for fault in error.errors)
    else:
        Draft202012Validator(LISTED[name]["output_schema"]).validate(answer)
        assert "NaN" not in json.dumps(answer)


def _zeroed(value: Any) -> Any:
    if isinstance(value, dict) and value.keys() == {"value", "unit"}:
        return {"value": "0", "unit": value["unit"]}
    if isinstance(value, dict):
        return {name: _zeroed(one) for name, one in value.items()}
    return [_zeroed(one) for one in value] if isinstance(value, list) else value


@names
def test_nothing_of_anything_gets_an_answer_or_faults(name: str) -> None:
    example = _zeroed(LISTED[name]["example"])

    for request in (
        example,
        *({**LISTED[name]["example"], field: value} for field, value in example.items()),
    ):
        try:
            assert calculate(name, request)["steps"]
        except CalculationError as error:
            assert {fault["code"] for fault in error.errors} == {"out_of_range"}
