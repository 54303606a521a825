"""The fields of a calculation that hold others: lists, records, hourly temperatures and days."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from mixing.calculations.exact import Amount
from mixing.calculations.fields import Field, Schema, object_schema, read_field, temperature
from mixing.catalogue import said
from mixing.faults import Place
from mixing.reading import Reader

MOST_DEGREES = 24 * 800
"""Temperatures in one list: two years and some, hour by hour."""


def many(name: str, about: str, one: Field, *, least: int = 1, most: int = 100, gaps: bool = False) -> Field:
    """A list of fields of one kind; with `gaps` an entry may be null."""

    def read(reader: Reader, raw: object, at: Place) -> object | None:
        if raw is None:
            return None
        if not isinstance(raw, list):
            reader.faults.add(at, "invalid", said("fault.plain_list"))
            return None
        if not least <= len(raw) <= most:
            detail = said("fault.entries", count=len(raw), least=least, most=most)
            reader.faults.add(at, "required" if len(raw) < least else "out_of_range", detail)
            return None
        for rank, entry in enumerate(raw):
            if entry is None and not gaps:
                reader.faults.add((at, rank), "required", said("fault.empty_entry"))
        found = [one.read(reader, entry, (at, rank)) for rank, entry in enumerate(raw)]
        if any(value is None and entry is not None for value, entry in zip(found, raw, strict=True)):
            return None
        return None if None in raw and not gaps else tuple(found)

    items: Schema = {"anyOf": [one.schema, {"type": "null"}]} if gaps else one.schema
    return Field(name, about, read, {"type": "array", "minItems": least, "maxItems": most, "items": items})


def one_or_many(name: str, about: str, one: Field, *, most: int = 500) -> Field:
    """A field, or a list of them as replicates; always a tuple when read."""
    listed = many(name, about, one, least=1, most=most)

    def read(reader: Reader, raw: object, at: Place) -> object | None:
        if isinstance(raw, list):
            return listed.read(reader, raw, at)
        found = one.read(reader, raw, at)
        return None if found is None else (found,)

    return Field(name, about, read, {"anyOf": [one.schema, listed.schema]})


def record(name: str, about: str, parts: Sequence[Field]) -> Field:
    """An object of named fields; a dict of what was given when read, None where any of it is faulty."""
    known = frozenset(part.name for part in parts)

    def read(reader: Reader, raw: object, at: Place) -> object | None:
        if raw is None:
            return None
        fields = reader.fields(raw, at, known, what=f"an entry of {name}")
        if fields is None:
            return None
        found = {part.name: read_field(reader, part, fields, at) for part in parts}
        faulty = any(found[p.name] is None and (p.required or fields.get(p.name) is not None) for p in parts)
        return None if faulty or not known.issuperset(fields) else found

    return Field(name, about, read, object_schema(parts))


def degrees(name: str = "hours") -> Field:
    """A list of temperatures, one an hour, in order."""
    one = temperature("temperature", "the temperature of one hour")
    return many(name, "temperatures, one an hour, in order", one, most=MOST_DEGREES)


@dataclass(frozen=True, slots=True)
class Day:
    """One day's temperatures: the minimum and the maximum, or only the mean."""

    minimum: Amount | None
    maximum: Amount | None
    mean: Amount | None


def days(*, mean: bool) -> Field:
    """A list of days with their minimum and maximum, or (`mean`) with their mean alone."""
    parts = [
        temperature("minimum", "the lowest temperature of the day").optional(),
        temperature("maximum", "the highest temperature of the day").optional(),
        *([temperature("mean", "the day's mean, in place of the two").optional()] if mean else []),
    ]
    inner = record("days", "one day", parts)

    def one(reader: Reader, raw: object, at: Place) -> object | None:
        found = inner.read(reader, raw, at)
        return _day(reader, found, at) if isinstance(found, dict) else None

    about = 'days in order: {"minimum", "maximum"}' + (' or {"mean"}' if mean else "")
    pairs: list[object] = [{"required": ["minimum", "maximum"]}]
    schema = {**inner.schema, "oneOf": [*pairs, *([{"required": ["mean"]}] if mean else [])]}
    entry = Field("days", "one day", one, schema)
    return many("days", about, entry, most=MOST_DEGREES // 24)


def _day(reader: Reader, found: Mapping[str, Amount | None], at: Place) -> Day | None:
    low, high, mean = found.get("minimum"), found.get("maximum"), found.get("mean")
    if mean is not None and (low or high):
        reader.faults.add(at, "invalid", said("fault.day_twice"))
        return None
    if mean is None:
        for name, value in (("minimum", low), ("maximum", high)):
            if value is None:
                reader.faults.add((at, name), "required", said("fault.day_part_missing", part=name))
        if low is None or high is None:
            return None
        if low.base > high.base:
            reader.faults.add((at, "minimum"), "out_of_range", said("fault.ends_reversed"))
            return None
    return Day(low, high, mean)
