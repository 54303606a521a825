"""Lines under the report: the law, the distance others keep, and what growers know of such a tank.

Source: rules/cautions.toml, each row with its own or "practice".
"""

from __future__ import annotations

from functools import lru_cache

from mixing import advice, catalogue
from mixing.advice import Tank


@lru_cache(maxsize=1024)
def lines(tank: Tank, language: str = "en") -> tuple[str, ...]:
    """Return the lines that are for this tank, in their order, as sentences."""
    return tuple(
        catalogue.render(f"rules.{line.id}.says", language=language)
        for line in advice.lines("cautions", "line", tank)
    )
