"""Lines of advice that stand under a tank: rows of a table, each with the tanks that it is for.

The keys of `when` are a closed set; all that are given must hold. Used by `cleaning` and `cautions`.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any
from weakref import WeakKeyDictionary

from mixing import chemistry
from mixing.formulation_types import formulation_type
from mixing.labels import Label
from mixing.request import MixRequest
from mixing.stages import Window

RULES = Path(__file__).parent / "rules"
US_UNITS = frozenset(
    ("tsp", "tbsp", "fl_oz", "cup", "pt", "qt", "gal", "100gal", "oz_wt", "lb", "acre", "ft", "mph", "degF")
)
SPOONS = frozenset(("tsp", "tbsp", "cup", "fl_oz", "oz_wt"))
TANK_KEYS = ("residue", "any_of", "all_of", "none_of", "materials", "sprayers", "us_units", "spoons")
PLACE_KEYS = ("crops", "targets", "stage_from", "stage_to", "regions", "not_regions")
KEYS = frozenset((*TANK_KEYS, *PLACE_KEYS))


class LineError(ValueError):
    """A row of advice with a key that nobody reads, or without a source or a basis."""


@dataclass(frozen=True, slots=True)
class When:
    """The tanks that a line is for; None or empty is no condition."""

    residue: bool
    any_of: frozenset[str]
    all_of: frozenset[str]
    none_of: frozenset[str]
    materials: frozenset[str]
    crops: frozenset[str]
    targets: frozenset[str]
    stages: Window | None
    regions: frozenset[str]
    not_regions: frozenset[str]
    sprayers: frozenset[str]
    us_units: bool
    spoons: bool


@dataclass(frozen=True, slots=True)
class Line:
    """One row: its id, its place in the list, whom it is for."""

    id: str
    place: int
    when: When


@dataclass(frozen=True, slots=True)
class Tank:
    """What lines ask about: substances and formulations in the tank and left in it, and where it stands."""

    groups: frozenset[str]
    residue: frozenset[str]
    materials: frozenset[str]
    crops: frozenset[str]
    targets: frozenset[str]
    bbch: int | None
    country: str | None
    region: str | None
    sprayer: str
    us_units: bool
    spoons: bool


def lines(table: str, rows: str, tank: Tank) -> tuple[Line, ...]:
    """Return the lines of a table that are for this tank, in their order."""
    return _lines(table, rows, tank)


@lru_cache(maxsize=512)
def _lines(table: str, rows: str, tank: Tank) -> tuple[Line, ...]:
    return tuple(line for line in read(table, rows) if holds(line.when, tank))


def holds(when: When, tank: Tank) -> bool:
    """Say whether all that a row asks holds; its groups are looked for in the residue where it says so."""
    groups = tank.residue if when.residue else tank.groups
    return (
        (not when.residue or bool(tank.residue))
        and (not when.any_of or not when.any_of.isdisjoint(groups))
        and when.all_of <= groups
        and when.none_of.isdisjoint(groups)
        and (not when.materials or not when.materials.isdisjoint(tank.materials))
        and (not when.crops or not when.crops.isdisjoint(tank.crops))
        and (not when.targets or not when.targets.isdisjoint(tank.targets))
        and (when.stages is None or tank.bbch in when.stages)
        and (not when.regions or not when.regions.isdisjoint((tank.region, tank.country)))
        and when.not_regions.isdisjoint((tank.region, tank.country))
        and (not when.sprayers or tank.sprayer in when.sprayers)
        and (not when.us_units or tank.us_units)
        and (not when.spoons or tank.spoons)
    )


def tank_of(request: MixRequest) -> Tank:
    """Return what lines ask about, of one request."""
    names = {name for product in request.products for name in product.rate.unit.split("/")}
    names |= {quantity.unit for quantity in _volumes(request)}
    spoons = not SPOONS.isdisjoint(names | set(request.measures or ()))
    region = request.region.upper() if request.region else None
    return Tank(
        groups=frozenset().union(*(groups(product.label) for product in request.products)),
        residue=frozenset().union(*map(chemistry.groups_of, request.sprayer.residue)),
        materials=frozenset(name.casefold().replace(" ", "_") for name in request.sprayer.materials),
        crops=chemistry.names_of_crop(request.crop),
        targets=frozenset(name.casefold() for name in request.targets),
        bbch=request.stage.bbch if request.stage else None,
        country=region.partition("-")[0] if region else None,
        region=region,
        sprayer=str(request.sprayer.kind),
        us_units=not US_UNITS.isdisjoint(names),
        spoons=spoons,
    )


_GROUPS: WeakKeyDictionary[Label, frozenset[str]] = WeakKeyDictionary()


def groups(label: Label) -> frozenset[str]:
    """Return the substance groups of a label and those of its formulation."""
    found = _GROUPS.get(label)
    if found is None:
        found = _GROUPS[label] = chemistry.groups(label) | formulation_type(label.formulation).groups
    return found


def _volumes(request: MixRequest) -> Iterable[Any]:
    spray, sprayer = request.spray, request.sprayer
    given = [sprayer.tank, sprayer.jar]
    if spray is not None:
        given += [spray.total, spray.area, spray.volume_per_tree, spray.row_length]
    return (quantity for quantity in given if quantity is not None)


@lru_cache
def read(table: str, rows: str) -> tuple[Line, ...]:
    """Return all lines of a table in their order.

    :raises LineError: for an unknown key, a missing source, or a twin id
    """
    with (RULES / f"{table}.toml").open("rb") as file:
        raw = tomllib.load(file)
    found = [_line(row, raw["sources"]) for row in raw[rows]]
    if len({line.id for line in found}) < len(found):
        raise LineError(f"{table}: two rows have the same id")
    return tuple(sorted(found, key=lambda line: (line.place, line.id)))


def _line(row: Mapping[str, Any], sources: Mapping[str, Any]) -> Line:
    when = row.get("when", {})
    if unknown := set(when) - KEYS:
        raise LineError(f"{row['id']}: nobody reads {', '.join(sorted(unknown))}")
    if row["basis"] != "practice" and row.get("source") not in sources:
        raise LineError(f"{row['id']}: names no source, nor says that it is practice")
    return Line(id=row["id"], place=row["place"], when=_when(when))


def _when(raw: Mapping[str, Any]) -> When:
    def named(key: str) -> frozenset[str]:
        return frozenset(raw.get(key, ()))

    return When(
        residue=raw.get("residue", False),
        any_of=named("any_of"),
        all_of=named("all_of"),
        none_of=named("none_of"),
        materials=named("materials"),
        crops=named("crops"),
        targets=named("targets"),
        stages=Window(raw["stage_from"], raw["stage_to"]) if "stage_from" in raw else None,
        regions=named("regions"),
        not_regions=named("not_regions"),
        sprayers=named("sprayers"),
        us_units=raw.get("us_units", False),
        spoons=raw.get("spoons", False),
    )
