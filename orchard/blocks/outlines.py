"""Outlines of blocks: GeoJSON polygons in, the same polygon well wound out, and its area.

The area is that of the polygon on a sphere of the authalic radius, which differs from the ellipsoid's by
less than a tenth of a per cent at the size of a block. Source of the form: The GeoJSON Format, RFC 7946,
IETF, 2016, section 3.1.6. Source of the sum: Some Algorithms for Polygons on a Sphere, Chamberlain and
Duquette, NASA Jet Propulsion Laboratory, 2007, equation for the approximate area (from memory).
"""

from __future__ import annotations

import itertools
import math
from decimal import Decimal
from typing import Any

from mixing.quantities import Quantity

RADIUS_M = 6_371_007.2
MOST_POINTS = 500


class OutlineFault(ValueError):
    """An outline that is not one polygon on the ground."""


def normalised(raw: Any) -> dict[str, Any]:
    """Return the polygon with its outer ring anticlockwise and its holes clockwise.

    :raises OutlineFault: where it is not a GeoJSON polygon in degrees, longitude first
    """
    if (
        not isinstance(raw, dict)
        or raw.get("type") != "Polygon"
        or not isinstance(raw.get("coordinates"), list)
    ):
        raise OutlineFault('an outline is {"type": "Polygon", "coordinates": [[[longitude, latitude], …]]}')
    rings = [_ring(ring) for ring in raw["coordinates"]]
    if not rings:
        raise OutlineFault("a polygon has at least one ring")
    if abs(_signed(rings[0])) < 1e-3:
        raise OutlineFault("the ring encloses nothing")
    _does_not_cross_itself(rings[0])
    wound = [ring if (_signed(ring) > 0) == (at == 0) else ring[::-1] for at, ring in enumerate(rings)]
    return {"type": "Polygon", "coordinates": wound}


def area(outline: dict[str, Any]) -> Quantity:
    """Return the ground that a normalised polygon covers [m2, to the square decimetre]."""
    total = sum(_signed(ring) for ring in outline["coordinates"])
    return Quantity(Decimal(f"{max(total, 0.01):.2f}"), "m2")


def _ring(raw: Any) -> list[list[float]]:
    if not isinstance(raw, list) or not 4 <= len(raw) <= MOST_POINTS:
        raise OutlineFault(f"a ring has 4 to {MOST_POINTS} points")
    ring = [_point(point) for point in raw]
    if ring[0] != ring[-1]:
        raise OutlineFault("a ring ends where it begins")
    return ring


def _point(raw: Any) -> list[float]:
    numbers = isinstance(raw, list) and 2 <= len(raw) <= 3 and all(type(one) in (int, float) for one in raw)
    if not numbers or abs(raw[0]) > 180 or abs(raw[1]) > 90:
        raise OutlineFault("a point is [longitude, latitude] in degrees")
    return [round(float(raw[0]), 7), round(float(raw[1]), 7)]


def _signed(ring: list[list[float]]) -> float:
    """Return the area of a ring [m2], above zero where it runs anticlockwise."""
    total = 0.0
    for (west, south), (east, north) in itertools.pairwise(ring):
        total += math.radians(east - west) * (
            2 + math.sin(math.radians(south)) + math.sin(math.radians(north))
        )
    return -total * RADIUS_M**2 / 2


def _does_not_cross_itself(ring: list[list[float]]) -> None:
    sides = list(itertools.pairwise(ring))
    for at, (a, b) in enumerate(sides):
        for c, d in sides[at + 2 : len(sides) - (at == 0)]:
            if _turn(a, b, c) * _turn(a, b, d) < 0 and _turn(c, d, a) * _turn(c, d, b) < 0:
                raise OutlineFault("the ring crosses itself")


def _turn(a: list[float], b: list[float], c: list[float]) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
