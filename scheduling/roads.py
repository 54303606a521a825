"""How long it takes from the place where tanks are filled to each block."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from orchard.blocks.models import Block
from orchard.blocks.outlines import RADIUS_M
from scheduling.practice import practice

Point = tuple[float, float]


def drive_minutes(blocks: Iterable[Block], *, outlines: Sequence[Mapping[str, Any]]) -> dict[str, float]:
    """Return the minutes to each block, by its id, one way.

    Nobody tells where tanks are filled: the middle of the farm's outlines stands for it, and a block without
    an outline takes as long as the table says.
    """
    job = practice()["job"]
    middles = [_middle(outline) for outline in outlines]
    yard = _mean(middles) if middles else None
    return {
        str(block.id): float(job["drive_minutes"])
        if block.outline is None or yard is None
        else _metres(yard, _middle(block.outline)) / job["metres_a_minute"]
        for block in blocks
    }


def _middle(outline: Mapping[str, Any]) -> Point:
    return _mean([(point[0], point[1]) for point in outline["coordinates"][0][:-1]])


def _mean(points: Sequence[Point]) -> Point:
    return sum(one[0] for one in points) / len(points), sum(one[1] for one in points) / len(points)


def _metres(one: Point, other: Point) -> float:
    scale = math.radians(1) * RADIUS_M
    east = (other[0] - one[0]) * scale * math.cos(math.radians(one[1]))
    return math.hypot(east, (other[1] - one[1]) * scale)
