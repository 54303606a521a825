"""What a formulation code means in a tank: its name, its groups and what it is diluted in.

Source: rules/formulations.toml.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

TABLE = Path(__file__).parent / "rules" / "formulations.toml"


@dataclass(frozen=True, slots=True)
class FormulationType:
    """One code of the international system.

    :ivar groups: `dry`, `soluble_dry`, `suspension`, `capsule`, `emulsion`, `oil_dispersion`, `dispersible`,
        `solution`, `paste`, `oil`; empty for what never meets water
    :ivar diluted_in: `water`, `oil`, `none` (used as it comes) or `unknown`
    """

    code: str
    name: str
    groups: frozenset[str]
    diluted_in: str


UNKNOWN = FormulationType(code="", name="", groups=frozenset(), diluted_in="unknown")


def formulation_type(code: str | None) -> FormulationType:
    """Return what is known of a code; `UNKNOWN` for none, or for one that the table does not have."""
    return all_types().get(code or "", UNKNOWN)


@cache
def all_types() -> Mapping[str, FormulationType]:
    """Return the whole table, by code."""
    with TABLE.open("rb") as file:
        rows = tomllib.load(file)["formulations"]
    return {
        code: FormulationType(
            code=code, name=row["name"], groups=frozenset(row["groups"]), diluted_in=row["diluted_in"]
        )
        for code, row in rows.items()
    }
