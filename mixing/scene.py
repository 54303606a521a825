"""The circumstances of a mix as plain numbers, worked out once a check, and whether a row's conditions hold.

Whatever the request does not give is None, and a condition about it does not hold: the report lists it as
not checked.
"""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from functools import lru_cache
from typing import NamedTuple

from mixing.request import MixRequest
from mixing.rulebook import Place, Rulebook
from mixing.rulebook.rows import Rule, Test


class Scene(NamedTuple):
    """Place, day, weather and water [m/s, degC, %, h, ppm].

    :ivar today: the day of the application in the offset of `at`
    """

    place: Place
    today: date | None
    wind: Decimal | None
    temperature: Decimal | None
    minimum: Decimal | None
    humidity: Decimal | None
    rain_within: Decimal | None
    inversion: bool | None
    ph: Decimal | None
    hardness: Decimal | None
    water_temperature: Decimal | None


def of(request: MixRequest, rulebook: Rulebook) -> Scene:
    """Return the circumstances of a request."""
    weather, water = request.weather, request.water
    return Scene(
        place=rulebook.place(
            request.crop, request.stage.bbch if request.stage else None, request.targets, request.region
        ),
        today=request.at.date() if request.at else None,
        wind=weather.wind.in_base() if weather and weather.wind else None,
        temperature=weather.temperature.in_base() if weather and weather.temperature else None,
        minimum=weather.minimum_next_24h.in_base() if weather and weather.minimum_next_24h else None,
        humidity=weather.humidity_percent if weather else None,
        rain_within=weather.rain_within_h if weather else None,
        inversion=weather.inversion if weather else None,
        ph=water.ph if water else None,
        hardness=water.hardness.in_base() if water and water.hardness else None,
        water_temperature=water.temperature.in_base() if water and water.temperature else None,
    )


def may_speak(rules: tuple[tuple[Rule, ...], ...], scene: Scene) -> bool:
    """Say whether the weather passes any bound of these rows; where it passes none, none of them speaks."""
    first = _first_bounds(rules)
    if first is None:
        return True
    for field, above, bound in first:
        value = getattr(scene, field)
        if value is not None and (value > bound if above else value < bound):
            return True
    return False


@lru_cache(maxsize=1024)
def _first_bounds(rules: tuple[tuple[Rule, ...], ...]) -> tuple[Test, ...] | None:
    """Return of each field the bound that is passed first on either side; None where a row has no bound."""
    rows = [rule.weather for of_one in rules for rule in of_one]
    if not all(rows):
        return None
    first: dict[tuple[str, bool], Decimal] = {}
    for field, above, bound in (test for row in rows for test in row):
        other = first.get((field, above))
        if other is None or (bound < other) is above:
            first[field, above] = bound
    return tuple((field, above, bound) for (field, above), bound in first.items())


def holds(tests: tuple[Test, ...], scene: Scene) -> bool:
    """Say whether the weather or the water that a row asks for is there; what is not known is not."""
    for field, above, bound in tests:
        value = getattr(scene, field)
        if value is None or not (value > bound if above else value < bound):
            return False
    return True
