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

from django.utils.translation import gettext as _

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
        raise OutlineFault(
            _('an outline is {"type": "Polygon", "coordinates": [[[longitude, latitude], …]]}')
        )
    rings = [_ring(ring) for ring in raw["coordinates"]]
    if not rings:
        raise OutlineFault(_("a polygon has at least one ring"))
    if abs(_signed(rings[0])) < 1e-3:
        raise OutlineFault(_("the ring encloses nothing"))
    _does_not_cross_itself(rings[0])
    wound = [ring if (_signed(ring) > 0) == (at == 0) else ring[::-1] for at, ring in enumerate(rings)]
    return {"type": "Polygon", "coordinates": wound}


def area(outline: dict[str, Any]) -> Quantity:
    """Return the ground that a normalised polygon covers [m2, to the square decimetre]."""
    total = sum(_signed(ring) for ring in outline["coordinates"])
    return Quantity(Decimal(f"{max(total, 0.01):.2f}"), "m2")


def apart(one: dict[str, Any], other: dict[str, Any]) -> float:
    """Return how far two outlines lie apart [m]: from each corner of one to the nearest side of the other."""
    west, south = one["coordinates"][0][0]
    scale = math.radians(1) * RADIUS_M
    flat = [
        [
            ((x - west) * scale * math.cos(math.radians(south)), (y - south) * scale)
            for x, y in ring[:MOST_POINTS]
        ]
        for ring in (one["coordinates"][0], other["coordinates"][0])
    ]
    return min(
        _to_side(corner, *side)
        for corners, sides in (flat, flat[::-1])
        for corner in corners
        for side in itertools.pairwise(sides)
    )


def _to_side(point: tuple[float, float], a: tuple[float, float], b: tuple[float, float]) -> float:
    length = (b[0] - a[0]) ** 2 + (b[1] - a[1]) ** 2
    along = (
        0.0
        if not length
        else ((point[0] - a[0]) * (b[0] - a[0]) + (point[1] - a[1]) * (b[1] - a[1])) / length
    )
    share = min(max(along, 0.0), 1.0)
    return math.dist(point, (a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])))


def _ring(raw: Any) -> list[list[float]]:
    if not isinstance(raw, list) or not 4 <= len(raw) <= MOST_POINTS:
        raise OutlineFault(_("a ring has 4 to %(most)s points") % {"most": MOST_POINTS})
    ring = [_point(point) for point in raw]
    if ring[0] != ring[-1]:
        raise OutlineFault(_("a ring ends where it begins"))
    return ring


def _point(raw: Any) -> list[float]:
    numbers = isinstance(raw, list) and 2 <= len(raw) <= 3 and all(type(one) in (int, float) for one in raw)
    if not numbers or abs(raw[0]) > 180 or abs(raw[1]) > 90:
        raise OutlineFault(_("a point is [longitude, latitude] in degrees"))
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
                raise OutlineFault(_("the ring crosses itself"))


def _turn(a: list[float], b: list[float], c: list[float]) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def distance_m(one: dict[str, Any], other: dict[str, Any]) -> float:
    """Return how far two normalised polygons lie apart [m]; 0 where they touch or one holds the other.

    On a plane through the first corner, which at the size of an orchard differs from the ground by less than
    a millimetre in ten metres.
    """
    origin = one["coordinates"][0][0]
    here, there = _flat(one["coordinates"][0], origin), _flat(other["coordinates"][0], origin)
    if _holds(here, there[0]) or _holds(there, here[0]) or _cross(here, there):
        return 0.0
    return min(
        _from_side(point, side)
        for points, ring in ((here, there), (there, here))
        for point in points
        for side in itertools.pairwise(ring)
    )


def _flat(ring: list[list[float]], origin: list[float]) -> list[list[float]]:
    """Return a ring in metres east and north of a point."""
    east = math.radians(1) * RADIUS_M * math.cos(math.radians(origin[1]))
    north = math.radians(1) * RADIUS_M
    return [[(x - origin[0]) * east, (y - origin[1]) * north] for x, y in ring]


def _holds(ring: list[list[float]], point: list[float]) -> bool:
    """Say whether a point lies inside a ring: a ray from it crosses the ring an odd number of times."""
    x, y = point
    crossed = False
    for (ax, ay), (bx, by) in itertools.pairwise(ring):
        if (ay > y) != (by > y) and x < (bx - ax) * (y - ay) / (by - ay) + ax:
            crossed = not crossed
    return crossed


def _cross(one: list[list[float]], other: list[list[float]]) -> bool:
    return any(
        _turn(a, b, c) * _turn(a, b, d) < 0 and _turn(c, d, a) * _turn(c, d, b) < 0
        for a, b in itertools.pairwise(one)
        for c, d in itertools.pairwise(other)
    )


def _from_side(point: list[float], side: tuple[list[float], list[float]]) -> float:
    (px, py), ((ax, ay), (bx, by)) = point, side
    length = (bx - ax) ** 2 + (by - ay) ** 2
    along = (
        0.0 if length == 0 else max(0.0, min(1.0, ((px - ax) * (bx - ax) + (py - ay) * (by - ay)) / length))
    )
    return math.hypot(px - ax - along * (bx - ax), py - ay - along * (by - ay))
