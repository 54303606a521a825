"""What each calculation takes and gives, as JSON Schema 2020-12, for those who call it from outside."""

from __future__ import annotations

import copy

from mixing.calculations.fields import QUANTITY_SCHEMA, object_schema
from mixing.calculations.registry import REGISTRY, Calculation
from mixing.calculations.sources import source

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def listing() -> list[dict[str, object]]:
    """Return every calculation: its name, what it does, its schemas, sources and an example."""
    return [_described(REGISTRY[name]) for name in sorted(REGISTRY)]


def _described(found: Calculation) -> dict[str, object]:
    return {
        "name": found.name,
        "does": found.does,
        "input_schema": _input_schema(found),
        "output_schema": _output_schema(found),
        "sources": [source(key) for key in found.sources],
        "example": copy.deepcopy(dict(found.example)),
    }


def _input_schema(found: Calculation) -> dict[str, object]:
    schema = object_schema(found.inputs)
    properties = schema["properties"]
    assert isinstance(properties, dict)
    units = {one.name: {"type": "string"} for one in found.results if one.dimensions}
    if units:
        properties["in"] = {
            "type": "object",
            "description": "the unit of an answer, by the name of its field",
            "properties": units,
            "additionalProperties": False,
        }
    ways = [{"oneOf": [{"required": list(way)} for way in group]} for group in found.ways]
    return {
        "$schema": DIALECT,
        "title": found.name,
        **schema,
        **({"allOf": ways} if ways else {}),
        "$defs": {"quantity": QUANTITY_SCHEMA},
    }


def _output_schema(found: Calculation) -> dict[str, object]:
    properties: dict[str, object] = {
        one.name: {"description": one.about, **one.schema} for one in found.results if one.schema
    }
    properties["steps"] = {
        "type": "array",
        "items": {"type": "string"},
        "description": "the calculation, step by step",
    }
    properties["source"] = {
        "type": "object",
        "description": "where the formula or the table is from",
        "required": ["title", "publisher"],
    }
    always = [one.name for one in found.results if one.always and one.schema]
    return {
        "$schema": DIALECT,
        "title": found.name,
        "type": "object",
        "properties": properties,
        "required": [*always, "steps", "source"],
        "additionalProperties": False,
        "$defs": {"quantity": QUANTITY_SCHEMA},
    }
