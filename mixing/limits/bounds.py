"""What a label asks of weather and water, as tests on the circumstances: wind, temperature, dry time, pH."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import NamedTuple

from mixing.findings import Finding, Severity
from mixing.labels import Label
from mixing.limits.lacking import Lacking
from mixing.limits.speaking import limit, short, shown
from mixing.quantities import EXACT, Quantity
from mixing.request import MixRequest, Product
from mixing.scene import Scene
from mixing.uses import Applying

HOUR = Decimal(3600)


class Bound(NamedTuple):
    """One limit of a label on one field of the circumstances.

    :ivar above: whether it is passed above the bound, else below it
    :ivar base: the bound in the unit of the field
    :ivar limit: the bound as the label says it
    :ivar path: where the field stands in a request
    """

    field: str
    above: bool
    base: Decimal
    limit: str
    finding_id: str
    path: str


def of(label: Label, applying: Applying) -> tuple[Bound, ...]:
    """Return the limits of a label, by the rows that apply."""
    rows = applying.bounds
    found = [
        *_sides("wind", "weather.wind", rows.wind_minimum, rows.wind_maximum),
        *_sides("temperature", "weather.temperature", rows.temperature_minimum, rows.temperature_maximum),
    ]
    dry = rows.rain_free
    if dry is not None and dry.value:  # a label that asks for no dry time has said so
        hours = EXACT.divide(dry.in_base(), HOUR)
        path = "weather.rain_within_h"
        found.append(Bound("rain_within", False, hours, shown(dry), "label.rain-free", path))
    if label.mixing is not None:
        lowest, highest = label.mixing.water_ph_minimum, label.mixing.water_ph_maximum
        found += _ph("above", highest)
        found += _ph("below", lowest)
    return tuple(found)


def _sides(field: str, path: str, lowest: Quantity | None, highest: Quantity | None) -> list[Bound]:
    return [
        Bound(field, side == "above", bound.in_base(), shown(bound), f"label.{field}-{side}", path)
        for side, bound in (("above", highest), ("below", lowest))
        if bound is not None
    ]


def _ph(side: str, bound: Decimal | None) -> list[Bound]:
    if bound is None:
        return []
    return [Bound("ph", side == "above", bound, short(bound), f"label.water-ph-{side}", "water.ph")]


def check(
    bounds: tuple[Bound, ...], product: Product, request: MixRequest, scene: Scene, lacking: Lacking
) -> list[Finding]:
    """Return where the weather or the water is outside what the product's own label allows."""
    found = []
    for bound in bounds:
        given = getattr(scene, bound.field)
        if given is None:
            found.append(lacking.needed(bound.path, product))
        elif given > bound.base if bound.above else given < bound.base:
            value = GIVEN[bound.field](request)
            found.append(limit(bound.finding_id, Severity.STOP, product, value=value, limit=bound.limit))
    return found


def _wind(request: MixRequest) -> str:
    weather = request.weather
    return shown(weather.wind) if weather and weather.wind else ""


def _temperature(request: MixRequest) -> str:
    weather = request.weather
    return shown(weather.temperature) if weather and weather.temperature else ""


def _rain(request: MixRequest) -> str:
    rain = request.weather.rain_within_h if request.weather else None
    return "" if rain is None else f"{short(rain)} h"


def _water_ph(request: MixRequest) -> str:
    ph = request.water.ph if request.water else None
    return "" if ph is None else short(ph)


GIVEN: dict[str, Callable[[MixRequest], str]] = {
    "wind": _wind,
    "temperature": _temperature,
    "rain_within": _rain,
    "ph": _water_ph,
}
"""How each field stands in a request, ready to print."""
