"""Wind, temperature, frost, humidity, rain and inversion: what publications and regulations say of them.

What a label itself allows is in `bounds`.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from mixing.findings import Finding
from mixing.limits.speaking import in_unit_of, short, shown, spoken
from mixing.limits.subject import Subject, has_own
from mixing.request import MixRequest
from mixing.rulebook import Rule, Rulebook, When, strictest
from mixing.scene import Scene, holds, may_speak

Subjects = tuple[Subject, ...]


def published(subjects: Subjects, request: MixRequest, scene: Scene, rulebook: Rulebook) -> Iterator[Finding]:
    """Yield what publications and regulations say of this weather, for the whole tank or for one product."""
    if request.weather is None:
        return
    of_tank = rulebook.for_tank("weather", scene.place)
    if not may_speak((of_tank, *[one.rows.weather for one in subjects]), scene):
        return
    said: set[tuple[str, str]] = set()  # product and what a row for it was about: the general row is silent
    for subject in subjects:
        if not subject.rows.weather:
            continue
        speaking = [(rule, rule.severity) for rule in subject.rows.weather if holds(rule.weather, scene)]
        for rule, severity, rivals in strictest(speaking):
            said.add((subject.product.id, rule.about))
            parameters = _parameters(rule.when, request, scene, subject.label.name)
            yield spoken(
                rulebook, rule, severity, rivals, products=(subject.product.id,), parameters=parameters
            )
    speaking = [
        (rule, rule.severity)
        for rule in of_tank
        if holds(rule.weather, scene) and _whom(rule, subjects, said) is not None
    ]
    for rule, severity, rivals in strictest(speaking):
        products = _whom(rule, subjects, said) or ()
        parameters = _parameters(rule.when, request, scene, _names(products, subjects))
        yield spoken(rulebook, rule, severity, rivals, products=products, parameters=parameters)


def _whom(rule: Rule, subjects: Subjects, said: set[tuple[str, str]]) -> tuple[str, ...] | None:
    """Return the products a rule for any tank speaks of: empty for all of them, None for none of them."""
    when = rule.when
    if when.unless_label is None:
        return ()
    without = [
        one.product.id
        for one in subjects
        if not has_own(when.unless_label, one.label, one.applying)
        and (one.product.id, rule.about) not in said
    ]
    if not without:
        return None
    return () if len(without) == len(subjects) else tuple(without)


def _names(products: tuple[str, ...], subjects: Subjects) -> str:
    return ", ".join(one.label.name for one in subjects if not products or one.product.id in products)


def _parameters(when: When, request: MixRequest, scene: Scene, names: str) -> dict[str, str]:
    value, bound = _measured(when, request, scene)
    return {"product": names, "value": value, "limit": bound}


def _measured(when: When, request: MixRequest, scene: Scene) -> tuple[str, str]:
    """Return the measured value that a row speaks of and its bound, in the units of the request."""
    weather = request.weather
    if weather is None:
        return "", ""
    for quantity, bound in (
        (weather.wind, _first(when.wind_above, when.wind_below)),
        (weather.temperature, _first(when.temperature_above, when.temperature_below)),
        (weather.minimum_next_24h, when.minimum_below),
    ):
        if quantity is not None and bound is not None:
            return shown(quantity), in_unit_of(bound, quantity)
    if scene.rain_within is not None and when.rain_within is not None:
        return f"{short(scene.rain_within)} h", f"{short(when.rain_within)} h"
    humid = _first(when.humidity_above, when.humidity_below)
    if scene.humidity is not None and humid is not None:
        return f"{short(scene.humidity)} %", f"{short(humid)} %"
    return "", ""


def _first(*bounds: Decimal | None) -> Decimal | None:
    return next((bound for bound in bounds if bound is not None), None)
