"""How to wash the sprayer afterwards, by what was in it and what it is made of.

Source: rules/cleaning.toml, each row with its own.
"""

from __future__ import annotations

from mixing import advice, catalogue
from mixing.request import MixRequest


def steps(request: MixRequest, language: str = "en") -> tuple[str, ...]:
    """Return the steps in their order, as sentences; what the last load left comes first."""
    tank = advice.tank_of(request)
    parameters = {
        "residue": ", ".join(request.sprayer.residue),
        "materials": catalogue.words("material", _attacked(tank.materials), language),
    }
    return tuple(
        catalogue.render(f"rules.{line.id}.says", parameters, language)
        for line in advice.lines("cleaning", "step", tank)
    )


def _attacked(materials: frozenset[str]) -> list[str]:
    """The metals among the materials: no row speaks of plastic."""
    named = frozenset().union(*(line.when.materials for line in advice.read("cleaning", "step")))
    return sorted(materials & named)
