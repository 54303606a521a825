"""How to wash the sprayer afterwards, by what was in it and what it is made of.

Source: rules/cleaning.toml, each row with its own.
"""

from __future__ import annotations

from functools import cache, lru_cache

from mixing import advice, catalogue
from mixing.advice import Tank


@lru_cache(maxsize=1024)
def steps(tank: Tank, language: str = "en") -> tuple[str, ...]:
    """Return the steps in their order, as sentences; what the last load left comes first."""
    metals = sorted(tank.materials & _spoken_of())
    parameters = {
        "residue": ", ".join(tank.residue_names),
        "materials": catalogue.words("material", metals, language),
    }
    return tuple(
        catalogue.render(f"rules.{line.id}.says", parameters, language)
        for line in advice.lines("cleaning", "step", tank)
    )


@cache
def _spoken_of() -> frozenset[str]:
    """The metals that a row speaks of: none speaks of plastic."""
    return frozenset().union(*(line.when.materials for line in advice.read("cleaning", "step")))


def attacked_by_copper(materials: frozenset[str] | set[str]) -> list[str]:
    """Return which materials of a sprayer copper spray eats when it is left in overnight."""
    line = next(line for line in advice.read("cleaning", "step") if line.id == "cleaning.copper-metal")
    return sorted(line.when.materials & materials)
