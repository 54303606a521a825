"""Short ways to ask for a calculation and to read its answer."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from mixing import quantities
from mixing.calculations import CalculationError, calculate


def q(text: str) -> dict[str, str]:
    """`4 gal` as a quantity."""
    value, unit = text.split(" ")
    return {"value": value, "unit": unit}


def ask(name: str, **given: Any) -> Any:
    """The answer; texts with a unit are quantities."""
    return calculate(name, {field.rstrip("_"): _json(value) for field, value in given.items()})


def _json(value: Any) -> Any:
    if isinstance(value, list):
        return [_json(one) for one in value]
    if isinstance(value, str) and value.count(" ") == 1 and value.split(" ")[0].lstrip("-")[:1].isdigit():
        return q(value)
    return value


def faults(name: str, **given: Any) -> dict[str, str]:
    """The faults as pointer to code; none is a failure."""
    try:
        answer = ask(name, **given)
    except CalculationError as error:
        return {fault["pointer"]: fault["code"] for fault in error.errors}
    raise AssertionError(f"{name} took it: {answer}")


def value(found: dict[str, str], unit: str) -> Decimal:
    """A quantity of an answer in a unit."""
    return quantities.convert(quantities.parse_quantity(found), unit).value


def words(name: str, **given: Any) -> str:
    """The details of all faults."""
    try:
        ask(name, **given)
    except CalculationError as error:
        return " ".join(fault["detail"] for fault in error.errors)
    raise AssertionError(f"{name} took it")
