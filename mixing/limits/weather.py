"""Wind, temperature, frost, humidity, rain and inversion: what the labels allow and what publications say."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from decimal import Decimal

from mixing.findings import Finding, Severity
from mixing.limits.lacking import Lacking
from mixing.limits.speaking import in_unit_of, limit, short, shown, spoken
from mixing.limits.subject import Subject
from mixing.quantities import Quantity
from mixing.request import MixRequest, Product
from mixing.rulebook import Rule, Rulebook, When, strictest
from mixing.scene import Scene, in_place, in_weather
from mixing.uses import NO_BOUNDS

Subjects = tuple[Subject, ...]


def by_label(subject: Subject, request: MixRequest, scene: Scene, lacking: Lacking) -> Iterator[Finding]:
    """Yield where the weather is outside what the product's own label allows."""
    bounds, weather = subject.applying.bounds, request.weather
    if bounds is NO_BOUNDS:
        return
    product = subject.product
    lowest, highest = bounds.wind_minimum, bounds.wind_maximum
    if lowest is not None or highest is not None:
        given = weather.wind if weather else None
        yield from _outside("wind", "weather.wind", given, lowest, highest, product, lacking)
    lowest, highest = bounds.temperature_minimum, bounds.temperature_maximum
    if lowest is not None or highest is not None:
        given = weather.temperature if weather else None
        yield from _outside("temperature", "weather.temperature", given, lowest, highest, product, lacking)
    yield from _dry_time(subject, scene, lacking)


def _outside(
    what: str,
    path: str,
    given: Quantity | None,
    lowest: Quantity | None,
    highest: Quantity | None,
    product: Product,
    lacking: Lacking,
) -> Iterator[Finding]:
    """Yield each of two bounds that a measured value passes, or that it would take that value to judge."""
    for side, bound in (("above", highest), ("below", lowest)):
        if bound is None:
            continue
        if given is None:
            yield lacking.needed(path, product)
        elif given.in_base() > bound.in_base() if side == "above" else given.in_base() < bound.in_base():
            yield limit(
                f"label.{what}-{side}", Severity.STOP, product, value=shown(given), limit=shown(bound)
            )


def _dry_time(subject: Subject, scene: Scene, lacking: Lacking) -> Iterator[Finding]:
    wanted, rain = subject.applying.bounds.rain_free, scene.rain_within
    if wanted is None or wanted.value == 0:  # a label that asks for no dry time has said so
        return
    if rain is None:
        yield lacking.needed("weather.rain_within_h", subject.product)
    elif rain * 3600 < wanted.in_base():
        yield limit(
            "label.rain-free", Severity.STOP, subject.product, value=f"{short(rain)} h", limit=shown(wanted)
        )


def published(subjects: Subjects, request: MixRequest, scene: Scene, rulebook: Rulebook) -> Iterator[Finding]:
    """Yield what publications and regulations say of this weather, for the whole tank or for one product."""
    if request.weather is None:
        return
    said: set[tuple[str, str]] = set()  # product and what a row for it was about: the general row is silent
    for subject in subjects:
        speaking = [
            (rule, rule.severity)
            for rule in subject.rows.weather
            if in_weather(rule, scene)
            and in_place(rule, scene)
            and not has_own(rule.when.unless_label, subject)
        ]
        for rule, severity, rivals in strictest(speaking):
            said.add((subject.product.id, rule.about))
            parameters = _parameters(rule.when, request, scene, subject.label.name)
            yield spoken(
                rulebook, rule, severity, rivals, products=(subject.product.id,), parameters=parameters
            )
    speaking = [
        (rule, rule.severity)
        for rule in rulebook.for_tank("weather", request.crop)
        if in_weather(rule, scene) and in_place(rule, scene) and _whom(rule, subjects, said) is not None
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
        if not has_own(when.unless_label, one) and (one.product.id, rule.about) not in said
    ]
    if not without:
        return None
    return () if len(without) == len(subjects) else tuple(without)


def _names(products: tuple[str, ...], subjects: Subjects) -> str:
    return ", ".join(one.label.name for one in subjects if not products or one.product.id in products)


def has_own(limit_name: str | None, subject: Subject) -> bool:
    """Say whether a product's label has a limit of its own of that kind."""
    return limit_name is not None and OWN[limit_name](subject)


def _water_ph(subject: Subject) -> bool:
    mixing = subject.label.mixing
    return mixing is not None and (mixing.water_ph_minimum is not None or mixing.water_ph_maximum is not None)


def _temperature(subject: Subject) -> bool:
    bounds = subject.applying.bounds
    return bounds.temperature_minimum is not None or bounds.temperature_maximum is not None


OWN: dict[str, Callable[[Subject], bool]] = {
    "wind": lambda subject: subject.applying.bounds.wind_maximum is not None,
    "wind_minimum": lambda subject: subject.applying.bounds.wind_minimum is not None,
    "temperature": _temperature,
    "rain_free": lambda subject: subject.applying.bounds.rain_free is not None,
    "water_ph": _water_ph,
}


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
