"""Worked examples that others have printed, worked out again: the source stands beside each of them."""

from __future__ import annotations

import tomllib
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from mixing import quantities
from mixing.calculations import calculate
from mixing.calculations.exact import amount
from mixing.calculations.hourly import of_days
from mixing.calculations.lists import Day
from mixing.calculations.weather import saturation_pressure
from mixing.quantities import Quantity

HERE = Path(__file__).parent
FILES = ("worked_examples.toml", "more_examples.toml")


def read(name: str) -> dict[str, Any]:
    return tomllib.loads((HERE / name).read_text(encoding="utf-8"))


def examples() -> list[Any]:
    found = []
    for name in FILES:
        file = read(name)
        for example in file["example"]:
            source = file["sources"][example["source"]]
            found.append(pytest.param(example, id=f"{example['id']} [{source['publisher'][:30]}]"))
    return found


def as_json(given: Any) -> Any:
    """Return what the shorthand of the files stands for: `4 gal` a quantity, `#5` a number, `=x` a word."""
    if isinstance(given, dict):
        return {name: as_json(value) for name, value in given.items()}
    if isinstance(given, list):
        return [as_json(value) for value in given]
    if not isinstance(given, str):
        return given
    if given[0] in "#=":
        return given[1:]
    value, unit = given.split(" ")
    return {"value": value, "unit": unit}


def at(answer: Any, path: str) -> Any:
    for step in path.split("."):
        if step == "count":
            return len(answer)
        answer = answer[int(step)] if isinstance(answer, list) else answer[step]
    return answer


def answer_of(example: dict[str, Any]) -> Any:
    given = as_json(example["given"])
    if example["calculation"] == "convert":
        unit = example["expect"]["quantity"].split(" ")[1]
        start = quantities.parse_quantity(given["quantity"])
        return {"quantity": quantities.convert(start, unit).as_json()}
    if example["calculation"] == "saturation_pressure":
        return {"pascal": repr(saturation_pressure(float(given["celsius"])))}
    return calculate(example["calculation"], given)


def in_the_unit_of(found: Any, expected: Any) -> tuple[Any, Any]:
    """Return both as decimals in the expected unit; words and flags as they are."""
    if isinstance(expected, str) and " " in expected:
        value, unit = expected.split(" ")
        here = quantities.parse_quantity(found)
        return quantities.convert(here, unit).value, Decimal(value)
    if isinstance(expected, str) and expected.lstrip("-").replace(".", "").isdigit():
        return Decimal(str(found)), Decimal(expected)
    return found, expected


@pytest.mark.parametrize("example", examples())
def test_a_printed_example_comes_out(example: dict[str, Any]) -> None:
    answer = answer_of(example)

    for path, printed in example["expect"].items():
        found, expected = in_the_unit_of(at(answer, path), printed)
        if not isinstance(expected, Decimal):
            assert found == expected, path
            continue
        within = Decimal(example.get("within", {}).get(path, "0")) + Decimal("1e-12")
        assert abs(found - expected) <= within, f"{path}: {found} for {expected}"


@pytest.mark.parametrize("example", [one for one in examples() if "misprint" in one.values[0]])
def test_a_misprint_does_not_come_out(example: dict[str, Any]) -> None:
    answer = answer_of(example)

    for path, misprint in example["misprint"].items():
        found, wrong = in_the_unit_of(at(answer, path), misprint)
        assert abs(found - wrong) > abs(wrong) / 20, path


def test_every_gathered_example_is_checked_or_has_a_reason() -> None:
    ledger = read("not_calculated.toml")
    checked = {example["id"] for example in read("worked_examples.toml")["example"]}
    reasons = ledger["reasons"]

    assert set(ledger["gathered"]["ids"]) == checked | set(reasons)
    assert not checked & set(reasons)
    assert all(len(reason) > 20 for reason in reasons.values())


def test_the_examples_rest_on_many_sources() -> None:
    files = [read(name) for name in FILES]
    used = {(rank, one["source"]) for rank, file in enumerate(files) for one in file["example"]}
    checks = sum(len(file["example"]) for file in files)

    assert checks >= 200
    assert len(used) >= 50
    assert all(file["sources"][one["source"]]["title"] for file in files for one in file["example"])


def frost_rows(kind: str) -> list[Any]:
    rows: list[Any] = []
    for chart in read("printed_frost_tables.toml")["chart"]:
        if kind == "disagrees":
            rows.extend(chart.get("disagrees", ()))
            continue
        crops = set(chart) - {"title", "publisher", "year", "disagrees"}
        rows.extend([crop, *row] for crop in sorted(crops) for row in chart[crop])
    return rows


@pytest.mark.parametrize(("crop", "stage", "kills_10", "kills_90"), frost_rows("agrees"))
def test_printed_bud_temperatures_come_out(crop: str, stage: str, kills_10: int, kills_90: int) -> None:
    answer = calculate("critical_bud_temperature", {"crop": crop, "stage": stage})

    assert answer["kills_10_percent"] == {"value": str(kills_10), "unit": "degF"}
    assert answer["kills_90_percent"] == {"value": str(kills_90), "unit": "degF"}


def test_some_publishers_print_other_bud_temperatures() -> None:
    """A note of where they differ: by three degrees at most where both know the stage by that name."""
    for crop, stage, kills_10, kills_90 in frost_rows("disagrees"):
        try:
            answer = calculate("critical_bud_temperature", {"crop": crop, "stage": stage})
        except ValueError:
            continue
        ours = [Decimal(answer[name]["value"]) for name in ("kills_10_percent", "kills_90_percent")]
        assert ours != [kills_10, kills_90]
        assert abs(ours[0] - kills_10) <= 3 and abs(ours[1] - kills_90) <= 3


@pytest.mark.parametrize(
    ("celsius", "portions"),
    [(0, 4.8519), (4, 29.8494), (6, 34.2042), (8, 34.5684), (10, 32.4355), (12, 25.0015)],
)
def test_a_thousand_hours_give_the_chill_portions_of_the_dynamic_model(celsius: int, portions: float) -> None:
    """Dynamic model of Fishman et al. 1987, with the constants of chillR (Luedeling), run once and kept."""
    hours = [{"value": str(celsius), "unit": "degC"}] * 1000

    answer = calculate("chill", {"hours": hours, "model": "dynamic"})

    assert float(str(answer["total"])) == pytest.approx(portions, abs=1e-4)


@pytest.mark.parametrize(
    ("low", "high", "base", "sine", "triangle"),
    [
        (0, 20, 10, 3.1831, 2.5),
        (5, 25, 10, 6.0900, 5.6250),
        (2, 14, 10, 1.0170, 0.6667),
        (8, 20, 10, 4.3526, 4.1667),
        (12, 24, 10, 8, 8),
    ],
)
def test_one_day_gives_the_degree_days_of_the_published_formulas(
    low: int, high: int, base: int, sine: float, triangle: float
) -> None:
    """Single sine (Baskerville and Emin 1969) and single triangle (Sevacherian 1977), worked by hand."""
    days = [
        {
            "minimum": {"value": str(low), "unit": "degC"},
            "maximum": {"value": str(high), "unit": "degC"},
        }
    ]
    request = {"days": days, "base": {"value": str(base), "unit": "degC"}}

    for method, expected in (("single_sine", sine), ("single_triangle", triangle)):
        answer = calculate("degree_days", {**request, "method": method})
        assert float(answer["total"]["value"]) == pytest.approx(expected, abs=1e-4)


def test_the_hourly_curve_is_that_of_campbell_and_norman() -> None:
    """diurnal_temp_variation_sine(T_max = 30, T_min = 10, t = 11) is 25.08958: TrenchR documentation, 2023,
    after Campbell and Norman, An Introduction to Environmental Biophysics, 1998, equations 2.2 and 2.3.
    """
    low, high = (amount(Quantity(Decimal(value), "degC")) for value in ("10", "30"))

    hours = of_days([Day(low, high, None)] * 3)

    assert hours[24 + 11] == pytest.approx(25.08958, abs=1e-5)
