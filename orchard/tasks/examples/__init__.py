"""Season plans as extension services publish them, shipped as data with their sources.

An example names ingredients and rates, never a product: `orchard.tasks.adopting` turns it into a season plan
of a farm with that farm's own products, under their labels.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from importlib import resources
from typing import Any

from mixing.quantities import Quantity, parse_quantity


@dataclass(frozen=True, slots=True)
class Part:
    """One partner of a published mix: what it is, and how much.

    :ivar what: ingredient or group of ingredients, as the engine's tables name them
    :ivar rate: of product, where the publication gives one
    :ivar metal: the element that the publication's rate counts, with `metal_rate` (mass per area)
    """

    what: str
    rate: Quantity | None = None
    metal: str | None = None
    metal_rate: Quantity | None = None


@dataclass(frozen=True, slots=True)
class Mix:
    """The partners of one spray."""

    parts: tuple[Part, ...]
    note: str | None = None


@dataclass(frozen=True, slots=True)
class ExampleLine:
    """One job of an example; `mix` is None for what is no spray."""

    key: str
    title: str
    kind: str
    crops: tuple[str, ...]
    stage: tuple[int, int]
    targets: tuple[str, ...]
    mix: Mix | None
    alternatives: tuple[Mix, ...]
    volume_per_area: Quantity | None
    leaf_drop_minimum_percent: Decimal | None
    repeat_after: Quantity | None
    note: str
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Example:
    """A published season plan. `sources` by key: `{"title", "publisher", "year"?, "where"}`."""

    id: str
    title: str
    about: str
    crops: tuple[str, ...]
    sources: Mapping[str, Mapping[str, Any]]
    lines: tuple[ExampleLine, ...]


@lru_cache(maxsize=1)
def shipped() -> Mapping[str, Example]:
    """Return the examples by their id, in order of it."""
    files = (one for one in resources.files(__name__).iterdir() if one.name.endswith(".toml"))
    found = [_example(tomllib.loads(file.read_text(encoding="utf-8"))) for file in files]
    return {one.id: one for one in sorted(found, key=lambda one: one.id)}


def _example(raw: Mapping[str, Any]) -> Example:
    crops = tuple(raw["crops"])
    return Example(
        id=raw["id"],
        title=raw["title"],
        about=raw["about"],
        crops=crops,
        sources=raw["sources"],
        lines=tuple(_line(row, crops) for row in raw["line"]),
    )


def _line(row: Mapping[str, Any], crops: tuple[str, ...]) -> ExampleLine:
    drop = row.get("leaf_drop_minimum_percent")
    return ExampleLine(
        key=row["key"],
        title=row["title"],
        kind=row["kind"],
        crops=tuple(row.get("crops", crops)),
        stage=(row["stage"]["from"], row["stage"]["to"]),
        targets=tuple(row.get("targets", ())),
        mix=_mix(row) if row.get("product") else None,
        alternatives=tuple(_mix(one) for one in row.get("alternative", ())),
        volume_per_area=_quantity(row.get("volume_per_area")),
        leaf_drop_minimum_percent=None if drop is None else Decimal(drop),
        repeat_after=_quantity(row.get("repeat_after")),
        note=row["note"],
        sources=tuple(row["sources"]),
    )


def _mix(row: Mapping[str, Any]) -> Mix:
    return Mix(tuple(_part(one) for one in row["product"]), row.get("note"))


def _part(row: Mapping[str, Any]) -> Part:
    metal = row.get("metal") or {}
    return Part(row["what"], _quantity(row.get("rate")), metal.get("of"), _quantity(metal.get("rate")))


def _quantity(raw: Mapping[str, str] | None) -> Quantity | None:
    return None if raw is None else parse_quantity(dict(raw))
