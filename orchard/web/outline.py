"""A small map of the blocks, drawn from their outlines: north is up, the block that is meant is dark."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from orchard.blocks.models import Block

WIDE = 300.0


@dataclass(frozen=True, slots=True)
class Shape:
    """One outline as an SVG path."""

    name: str
    path: str
    own: bool


@dataclass(frozen=True, slots=True)
class Map:
    """Outlines on a sheet of `width` by `height`."""

    width: float
    height: float
    shapes: tuple[Shape, ...]


def map_of(blocks: Iterable[Block], *, own: Block) -> Map | None:
    """Return the map; None where the block that is meant has no outline."""
    drawn = [(one, one.outline["coordinates"]) for one in blocks if one.outline]
    if not any(one.pk == own.pk for one, _ in drawn):
        return None
    points = [point for _, rings in drawn for point in rings[0]]
    west, east = min(p[0] for p in points), max(p[0] for p in points)
    south, north = min(p[1] for p in points), max(p[1] for p in points)
    narrow = math.cos(math.radians((south + north) / 2))
    scale = WIDE / max((east - west) * narrow, north - south, 1e-9)
    shapes = []
    for one, outline in sorted(drawn, key=lambda pair: pair[0].pk == own.pk):
        rings = (
            " ".join(f"{(x - west) * narrow * scale:.1f},{(north - y) * scale:.1f}" for x, y, *_ in ring)
            for ring in outline
        )
        shapes.append(Shape(one.name, "".join(f"M{ring}Z" for ring in rings), one.pk == own.pk))
    return Map((east - west) * narrow * scale, (north - south) * scale, tuple(shapes))
