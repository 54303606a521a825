"""The table of substances, read from `substances.toml` when it is first needed; looked up by any name."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from pathlib import Path
from typing import Any

FILE = Path(__file__).resolve().parent.parent / "substances.toml"
SCHEMES = ("FRAC", "IRAC", "HRAC")
_WORD = 6  # shorter names begin too many others to be taken from the front of a longer one


@dataclass(frozen=True, slots=True)
class Substance:
    """One active ingredient, nutrient or adjuvant.

    :ivar groups: its own name and every group it is in, lower case
    :ivar half_life: (pH, hours) pairs, rising in pH
    """

    name: str
    groups: frozenset[str]
    formula: str | None
    codes: tuple[tuple[str, str], ...]
    half_life: tuple[tuple[Decimal, Decimal], ...]


@dataclass(frozen=True, slots=True)
class Table:
    """All of the file, ready for look-ups by lower-case name."""

    substances: Mapping[str, Substance]
    implied: Mapping[str, tuple[str, ...]]
    crops: Mapping[str, frozenset[str]]
    masses: Mapping[str, Decimal]
    metals: Mapping[str, str]
    longest_first: tuple[str, ...]


@lru_cache(maxsize=1)
def table() -> Table:
    """Return the table, read once."""
    raw = tomllib.loads(FILE.read_text(encoding="utf-8"))
    implied = {name: tuple(more) for name, more in raw["implied"].items()}
    substances: dict[str, Substance] = {}
    for family in raw["family"]:
        for row in family["of"]:
            found = _substance(row, family, implied)
            for name in (row["name"], *row.get("also", ())):
                substances.setdefault(name.casefold(), found)
    return Table(
        substances,
        implied,
        _crop_groups(raw["crops"]),
        {symbol: Decimal(mass) for symbol, mass in raw["atomic_mass"].items()},
        raw["metals"],
        tuple(sorted(substances, key=lambda name: (-len(name), name))),
    )


def _substance(
    row: Mapping[str, Any], family: Mapping[str, Any], implied: Mapping[str, tuple[str, ...]]
) -> Substance:
    groups = with_implied((row["name"], *family["groups"], *row.get("groups", ())), implied)
    codes = tuple(
        (scheme, code)
        for scheme in SCHEMES
        for code in row.get(scheme.lower(), family.get(scheme.lower(), ()))
    )
    half_life = tuple(sorted((Decimal(ph), Decimal(h)) for ph, h in row.get("half_life", {}).items()))
    return Substance(row["name"], groups, row.get("formula"), codes, half_life)


def with_implied(names: Iterable[str], implied: Mapping[str, tuple[str, ...]]) -> frozenset[str]:
    """Return names in lower case with every group that follows from one of them."""
    found: set[str] = set()
    waiting = [name.casefold() for name in names]
    while waiting:
        name = waiting.pop()
        if name not in found:
            found.add(name)
            waiting.extend(implied.get(name, ()))
    return frozenset(found)


def _crop_groups(raw: Mapping[str, list[str]]) -> dict[str, frozenset[str]]:
    names = {name for members in raw.values() for name in members} | set(raw)
    upward = {name: {group for group, members in raw.items() if name in members} for name in names}
    return {
        name: frozenset({name} | above | {g for a in above for g in upward.get(a, ())})
        for name, above in upward.items()
    }


@lru_cache(maxsize=4096)
def substance(name: str) -> Substance | None:
    """Return the substance of that name or one that begins with its name ("captan technical"), else None."""
    rows = table()
    wanted = " ".join(name.casefold().split())
    found = rows.substances.get(wanted)
    if found is not None:
        return found
    for known in rows.longest_first:
        if len(known) < _WORD:
            break
        if wanted.startswith(known) and not wanted[len(known) : len(known) + 1].isalnum():
            return rows.substances[known]
    return None


@lru_cache(maxsize=2048)
def groups_of(name: str) -> frozenset[str]:
    """Return the groups of an ingredient named so, its own name with them.

    A name that is not in the table still tells what it is by its words where that errs on the safe side: a
    "copper" of any kind is copper, an "… oil" is an oil, a phosphite is a phosphite.
    """
    wanted, rows = " ".join(name.casefold().split()), table()
    exact = rows.substances.get(wanted)
    if exact is not None:
        return exact.groups | {wanted}
    begins = substance(wanted)
    words = set(re.findall(r"[a-z]+", wanted))
    guessed = [wanted]
    if words & {"copper", "cupric", "cuprous"}:
        guessed.append("copper")
    if wanted.endswith(" oil"):
        guessed.append("oil")
    if words & {"phosphite", "phosphites", "phosphonate", "phosphonates"}:
        guessed.append("phosphite")
    if words & {"polysulfide", "polysulphide"}:
        guessed.append("lime sulfur")
    return with_implied(guessed, rows.implied) | (begins.groups if begins is not None else frozenset())


def half_lives(name: str) -> tuple[tuple[Decimal, Decimal], ...]:
    """Return (pH, hours) pairs of hydrolysis in water, rising in pH; empty where none is known."""
    found = substance(name)
    return found.half_life if found is not None else ()


def formulas() -> tuple[str, ...]:
    """Return the names of the substances whose formula is known."""
    return tuple(name for name, found in table().substances.items() if found.formula is not None)


def metals() -> Mapping[str, str]:
    """Return the symbol of each metal by its English name, lower case."""
    return table().metals
