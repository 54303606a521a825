"""The fields of an answer: quantities, decimal texts, whole numbers and the rest."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from mixing.calculations.fields import DECIMAL


@dataclass(frozen=True, slots=True)
class Result:
    """One field of an answer: what it is and, for a quantity, what it may measure."""

    name: str
    about: str
    schema: Mapping[str, object]
    dimensions: tuple[str, ...] = ()
    always: bool = True


def measured(name: str, dimensions: tuple[str, ...], about: str, *, always: bool = True) -> Result:
    """A quantity in an answer."""
    schema = {"$ref": "#/$defs/quantity", "x-measures": list(dimensions)}
    return Result(name, about, schema, dimensions, always)


def inner(name: str, dimensions: tuple[str, ...]) -> Result:
    """A quantity inside a list of an answer, which `in` may name."""
    return Result(name, "", {}, dimensions)


def decimal(name: str, about: str, *, always: bool = True) -> Result:
    """A bare number in an answer, as a decimal text."""
    return Result(name, about, {"type": "string", "pattern": DECIMAL}, always=always)


def whole(name: str, about: str) -> Result:
    """A whole number in an answer."""
    return Result(name, about, {"type": "integer"})


def result(name: str, about: str, schema: Mapping[str, object], *, always: bool = True) -> Result:
    """Any other field of an answer."""
    return Result(name, about, schema, always=always)


def listed(name: str, dimensions: tuple[str, ...], about: str) -> Result:
    """A list of quantities in an answer."""
    return Result(name, about, {"type": "array", "items": {"$ref": "#/$defs/quantity"}}, dimensions)
