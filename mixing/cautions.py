"""Lines under the report: the law, the distance others keep, and what growers know of such a tank.

Source: rules/cautions.toml, each row with its own or "practice".
"""

from __future__ import annotations

from mixing import advice, catalogue
from mixing.request import MixRequest


def lines(request: MixRequest, language: str = "en") -> tuple[str, ...]:
    """Return the lines that are for this tank, in their order, as sentences."""
    tank = advice.tank_of(request)
    return tuple(
        catalogue.render(f"rules.{line.id}.says", language=language)
        for line in advice.lines("cautions", "line", tank)
    )
