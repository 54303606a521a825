"""The closed set of keys of each table, and how its rows are read with every fault at once.

A new key is code with a test: nothing in a row is evaluated.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from datetime import date
from typing import Any

from mixing.findings import SEVERITIES, Basis
from mixing.rulebook.rows import WATER, WEATHER, Rule, Source, When, stages_of, tests_of
from mixing.rulebook.values import Fault, read_value

SCHEMA = 1
ROW_KEYS = frozenset(
    [
        "id",
        "when",
        "severity",
        "basis",
        "source",
        "locator",
        "about",
        "says",
        "why",
        "do",
        "memory",
        "retired",
    ]
)
SOURCE_KEYS = frozenset(["title", "publisher", "year", "kind", "where", "seen"])
SOURCE_KINDS = frozenset(["label", "regulation", "extension", "standard", "paper", "press", "trade"])
_ID = re.compile(r"[a-z][a-z0-9]*(?:[.-][a-z0-9]+)+\Z", re.ASCII)
_BRACES = re.compile(r"\{([^{}]*)\}")

_PLACE = {"crops", "not_crops", "stages", "targets", "regions"}
_WEATHER = {
    "wind_above",
    "wind_below",
    "temperature_above",
    "temperature_below",
    "minimum_below",
    "humidity_above",
    "humidity_below",
    "rain_within",
    "inversion",
}
_WATER = {"ph_above", "ph_below", "hardness_above", "water_below", "water_above"}

# table: (keys it may have, keys it must have, of which at least one must be there, names in braces)
TABLES: dict[str, tuple[set[str], set[str], set[str], set[str]]] = {
    "compatibility": ({"pair", *_PLACE, *_WEATHER}, {"pair"}, set(), {"first", "second", "others"}),
    "formulation_pairs": (
        {"pair", "packet_with"},
        set(),
        {"pair", "packet_with"},
        {"first", "second", "others"},
    ),
    "sequence": (
        {"pair", "days", "direction", *_PLACE},
        {"pair", "days"},
        set(),
        {"first", "second", "days", "since", "on", "until", "others"},
    ),
    "stages": (
        {"what", "copper_above", "copper_up_to", "percent_above", *_PLACE},
        {"what"},
        {"stages", "crops"},
        {"product", "crop", "stage", "others"},
    ),
    "weather": (
        {"what", "unless_label", *_PLACE, *_WEATHER},
        set(),
        _WEATHER,
        {"product", "value", "limit", "others"},
    ),
    "water": (
        {"what", "unless_label", *_PLACE, *_WATER},
        set(),
        _WATER,
        {"product", "value", "limit", "others"},
    ),
    "tank": (
        {"what", "materials", "products_above"},
        set(),
        {"materials", "products_above"},
        {"product", "value", "limit", "others"},
    ),
    "resistance": (
        {"scheme", "codes", "in_a_row", "in_a_year", "crops", "not_crops", "regions"},
        {"scheme"},
        {"in_a_row", "in_a_year"},
        {"product", "code", "value", "limit", "others"},
    ),
    "yearly": (
        {"of", "years", "maximum", *_PLACE},
        {"of", "years", "maximum"},
        set(),
        {"of", "value", "limit", "days", "others"},
    ),
}
TEXT_TABLES = frozenset(["label", "dose", "hose_end"])
"""Tables whose rows have no `when`: code decides when they speak, the row gives the words."""

BASES = {"regulation", "published", "practice"}


def read_sources(raw: Mapping[str, Any]) -> Iterator[Source | Fault]:
    """Yield the sources of a table, and every fault among them."""
    for key, row in raw.items():
        where = f"sources.{key}"
        for extra in sorted(set(row) - SOURCE_KEYS):
            yield Fault(f"{where}: there is no key {extra!r}")
        for wanted in ("title", "publisher", "kind", "where"):
            if not isinstance(row.get(wanted), str) or not row[wanted].strip():
                yield Fault(f"{where}: {wanted} is missing")
        if row.get("kind") not in SOURCE_KINDS:
            yield Fault(f"{where}: kind is one of {', '.join(sorted(SOURCE_KINDS))}")
        year, seen = row.get("year"), row.get("seen")
        if year is not None and not (isinstance(year, int) and 1850 <= year <= 2100):
            yield Fault(f"{where}: year is a whole number such as 2019")
        if seen is not None and not isinstance(seen, date):
            yield Fault(f"{where}: seen is a date such as 2026-11-25")
        yield Source(
            key,
            str(row.get("title", "")),
            str(row.get("publisher", "")),
            year if isinstance(year, int) else None,
            str(row.get("kind", "")),
            str(row.get("where", "")),
            seen if isinstance(seen, date) else None,
        )


def read_row(raw: Mapping[str, Any], *, table: str, sources: frozenset[str]) -> Iterator[Rule | Fault]:
    """Yield every fault of a row, or the row where there is none."""
    where = f"rule {raw.get('id', '(no id)')}"
    faults = [Fault(f"{where}: {text}") for text in _row_faults(raw, table, sources)]
    conditions: dict[str, Any] = {}
    for key, value in dict(raw.get("when", {})).items():
        try:
            conditions[key] = read_value(key, value, table=table)
        except Fault as fault:
            faults.append(Fault(f"{where}: when.{key}: {fault}"))
    if not faults:
        faults = [Fault(f"{where}: {text}") for text in _never(conditions)]
    if faults:
        yield from faults
        return
    when = When(**conditions)
    yield Rule(
        raw["id"],
        table,
        SEVERITIES[raw["severity"]],
        Basis(raw["basis"]),
        raw.get("source"),
        raw.get("locator"),
        raw.get("about", raw["id"]),
        when,
        raw["says"],
        raw.get("why"),
        raw["do"],
        bool(raw.get("memory", False)),
        bool(raw.get("retired", False)),
        stages_of(when),
        tests_of(when, WEATHER),
        tests_of(when, WATER),
    )


def _row_faults(raw: Mapping[str, Any], table: str, sources: frozenset[str]) -> Iterator[str]:
    for extra in sorted(set(raw) - ROW_KEYS):
        yield f"there is no key {extra!r}"
    if not isinstance(raw.get("id"), str) or not _ID.match(raw["id"]):
        yield "id is lower case with a point and hyphens, such as stage.copper-after-bud-colour"
    for wanted in ("says", "do"):
        if not isinstance(raw.get(wanted), str) or not raw[wanted].strip():
            yield f"{wanted} is missing"
    if raw.get("severity") not in SEVERITIES:
        yield "severity is stop, caution or note"
    yield from _basis_faults(raw, table, sources)
    yield from _key_faults(set(raw.get("when", {})), table)
    yield from _text_faults(raw, table)


def _basis_faults(raw: Mapping[str, Any], table: str, sources: frozenset[str]) -> Iterator[str]:
    basis, stop = raw.get("basis"), raw.get("severity") == "stop"
    allowed = BASES if table in TABLES else BASES | {"label", "untested"}
    if basis not in allowed:
        yield f"basis is one of {', '.join(sorted(allowed))}"
    if stop and basis in ("practice", "untested"):
        yield "a stop may not rest on practice"
    if stop and raw.get("memory"):
        yield "a stop may not rest on memory: see the source first"
    if basis in ("regulation", "published"):
        if raw.get("source") not in sources:
            yield f"source {raw.get('source')!r} is not among the sources of this table"
        if not raw.get("locator"):
            yield "locator is missing: say where in the source it stands"


def _key_faults(keys: set[str], table: str) -> Iterator[str]:
    if table not in TABLES:
        if keys:
            yield "a row of this table has no `when`"
        return
    allowed, required, one_of, _ = TABLES[table]
    for extra in sorted(keys - allowed):
        yield f"when.{extra}: the table {table} has no such key"
    for missing in sorted(required - keys):
        yield f"when.{missing} is missing"
    if one_of and not keys & one_of:
        yield f"when needs one of {', '.join(sorted(one_of))}"


def _text_faults(raw: Mapping[str, Any], table: str) -> Iterator[str]:
    if table not in TABLES:
        return
    names = TABLES[table][3]
    for part in ("says", "why", "do"):
        for name in _BRACES.findall(str(raw.get(part, ""))):
            if name not in names:
                yield f"{part}: {{{name}}} is not one of {', '.join(sorted(names))}"


def _never(conditions: Mapping[str, Any]) -> Iterator[str]:
    """Say why the conditions can never hold together."""
    for low, high in (
        ("copper_above", "copper_up_to"),
        ("wind_above", "wind_below"),
        ("temperature_above", "temperature_below"),
        ("humidity_above", "humidity_below"),
        ("ph_above", "ph_below"),
        ("water_above", "water_below"),
    ):
        if low in conditions and high in conditions and conditions[low] >= conditions[high]:
            yield f"when.{low} is not below when.{high}: the row would never fire"
    both = conditions.get("crops", frozenset()) & conditions.get("not_crops", frozenset())
    if both:
        yield f"{sorted(both)[0]} is asked for and shut out: the row would never fire"
