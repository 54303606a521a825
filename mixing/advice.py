"""Lines of advice that stand under a tank: rows of a table, each with the tanks that it is for.

The keys of `when` are a closed set; all that are given must hold. Used by `cleaning` and `cautions`.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from mixing import chemistry
from mixing.formulation_types import formulation_type
from mixing.labels import Label
from mixing.request import MixRequest, SprayerKind
from mixing.stages import Window

RULES = Path(__file__).parent / "rules"
US_UNITS = frozenset(
    ("tsp", "tbsp", "fl_oz", "cup", "pt", "qt", "gal", "100gal", "oz_wt", "lb", "acre", "ft", "mph", "degF")
)
SPOONS = frozenset(("tsp", "tbsp", "cup", "fl_oz", "oz_wt"))
TANK_KEYS = (
    "residue",
    "any_of",
    "all_of",
    "none_of",
    "materials",
    "sprayers",
    "us_units",
    "spoons",
    "restricted_use",
)
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
    restricted_use: bool


@dataclass(frozen=True, slots=True)
class Line:
    """One row: its id, its place in the list, whom it is for."""

    id: str
    place: int
    when: When


@dataclass(frozen=True, slots=True, eq=False)
class Tank:
    """What lines ask about: substances and formulations in the tank and left in it, and where it stands.

    It equals only itself, so that sentences for it can be kept by it.
    """

    groups: frozenset[str]
    residue: frozenset[str]
    residue_names: tuple[str, ...]
    materials: frozenset[str]
    crops: frozenset[str]
    targets: frozenset[str]
    bbch: int | None
    country: str | None
    region: str | None
    sprayer: str
    us_units: bool
    spoons: bool
    restricted_use: bool


def lines(table: str, rows: str, tank: Tank) -> tuple[Line, ...]:
    """Return the lines of a table that are for this tank, in their order."""
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
        and (not when.restricted_use or tank.restricted_use)
    )


def tank_of(request: MixRequest) -> Tank:
    """Return what lines ask about, of one request; like requests give the same object."""
    sprayer, stage = request.sprayer, request.stage
    return _tank(
        tuple([product.label for product in request.products]),
        (*[product.rate.unit for product in request.products], *_units(request)),
        request.measures,
        request.crop,
        request.targets,
        stage.bbch if stage else None,
        request.region,
        sprayer.kind,
        sprayer.residue,
        sprayer.materials,
    )


@lru_cache(maxsize=1024)
def _tank(
    labels: tuple[Label, ...],
    units: tuple[str, ...],
    measures: tuple[str, ...] | None,
    crop: str,
    targets: tuple[str, ...],
    bbch: int | None,
    region: str | None,
    kind: SprayerKind,
    residue: tuple[str, ...],
    materials: tuple[str, ...],
) -> Tank:
    names = {name for unit in units for name in unit.split("/")}
    region = region.upper() if region else None
    return Tank(
        groups=frozenset().union(
            *(chemistry.groups(one) | formulation_type(one.formulation).groups for one in labels)
        ),
        residue=frozenset().union(*map(chemistry.groups_of, residue)),
        residue_names=residue,
        materials=frozenset(name.casefold().replace(" ", "_") for name in materials),
        crops=chemistry.names_of_crop(crop),
        targets=frozenset(name.casefold() for name in targets),
        bbch=bbch,
        country=region.partition("-")[0] if region else None,
        region=region,
        sprayer=str(kind),
        us_units=not US_UNITS.isdisjoint(names),
        spoons=not SPOONS.isdisjoint(names | set(measures or ())),
        restricted_use=any(label.restricted_use for label in labels),
    )


def _units(request: MixRequest) -> list[str]:
    spray, sprayer = request.spray, request.sprayer
    given = [sprayer.tank, sprayer.jar]
    if spray is not None:
        given += [spray.total, spray.area, spray.volume_per_tree, spray.row_length]
    return [quantity.unit for quantity in given if quantity is not None]


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
        restricted_use=raw.get("restricted_use", False),
    )
