"""Wind, temperature, frost, humidity, rain and inversion: what the labels allow and what publications say."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from decimal import Decimal

from mixing import chemistry
from mixing.findings import Finding, Severity
from mixing.limits.lacking import Lacking
from mixing.limits.speaking import in_unit_of, limit, short, shown, spoken
from mixing.quantities import Quantity
from mixing.request import MixRequest, Product
from mixing.rulebook import Rulebook, When, strictest
from mixing.scene import Scene, in_place, in_weather
from mixing.uses import Applying

Applied = tuple[tuple[Product, Applying], ...]


def by_label(
    product: Product, applying: Applying, request: MixRequest, lacking: Lacking
) -> Iterator[Finding]:
    """Yield where the weather is outside what the product's own label allows."""
    weather, rows = request.weather, applying.rows
    wind = weather.wind if weather else None
    temperature = weather.temperature if weather else None
    for name, path, value, bounds, above in (
        ("label.wind-above", "weather.wind", wind, [row.wind_maximum for row in rows], True),
        ("label.wind-below", "weather.wind", wind, [row.wind_minimum for row in rows], False),
        (
            "label.temperature-above",
            "weather.temperature",
            temperature,
            [row.temperature_maximum for row in rows],
            True,
        ),
        (
            "label.temperature-below",
            "weather.temperature",
            temperature,
            [row.temperature_minimum for row in rows],
            False,
        ),
    ):
        bound = _strictest(bounds, lowest=above)
        if bound is None:
            continue
        if value is None:
            yield lacking.needed(path, product)
        elif value.in_base() > bound.in_base() if above else value.in_base() < bound.in_base():
            yield limit(name, Severity.STOP, product, value=shown(value), limit=shown(bound))
    yield from _dry_time(product, applying, request, lacking)


def _dry_time(
    product: Product, applying: Applying, request: MixRequest, lacking: Lacking
) -> Iterator[Finding]:
    wanted = _strictest([row.rain_free for row in applying.rows], lowest=False)
    if wanted is None or wanted.value == 0:
        return
    rain = request.weather.rain_within_h if request.weather else None
    if rain is None:
        yield lacking.needed("weather.rain_within_h", product)
    elif rain * 3600 < wanted.in_base():
        yield limit("label.rain-free", Severity.STOP, product, value=f"{short(rain)} h", limit=shown(wanted))


def _strictest(bounds: list[Quantity | None], *, lowest: bool) -> Quantity | None:
    given = [bound for bound in bounds if bound is not None]
    if not given:
        return None
    return (min if lowest else max)(given, key=Quantity.in_base)


def published(applied: Applied, request: MixRequest, scene: Scene, rulebook: Rulebook) -> Iterator[Finding]:
    """Yield what publications and regulations say of this weather, for the whole tank or for one product."""
    whole = [
        rule
        for rule in rulebook.for_tank("weather", request.crop)
        if in_place(rule.when, scene) and in_weather(rule.when, scene)
    ]
    speaking = [(rule, rule.severity) for rule in whole if _whom(rule.when, applied) is not None]
    for rule, severity, rivals in strictest(speaking):
        products = _whom(rule.when, applied) or ()
        yield spoken(
            rulebook,
            rule,
            severity,
            rivals,
            products=products,
            parameters=_parameters(rule.when, request, scene, _names(products, applied)),
        )
    for product, applying in applied:
        yield from _of_product(product, applying, request, scene, rulebook)


def _of_product(
    product: Product, applying: Applying, request: MixRequest, scene: Scene, rulebook: Rulebook
) -> Iterator[Finding]:
    speaking = [
        (rule, rule.severity)
        for rule in rulebook.for_product("weather", chemistry.groups(product.label), request.crop)
        if in_place(rule.when, scene)
        and in_weather(rule.when, scene)
        and not has_own(rule.when.unless_label, product, applying)
    ]
    for rule, severity, rivals in strictest(speaking):
        yield spoken(
            rulebook,
            rule,
            severity,
            rivals,
            products=(product.id,),
            parameters=_parameters(rule.when, request, scene, product.label.name),
        )


def _whom(when: When, applied: Applied) -> tuple[str, ...] | None:
    """Return the products a rule for any tank speaks of: empty for all of them, None for none of them."""
    if when.unless_label is None:
        return ()
    without = [
        product.id for product, applying in applied if not has_own(when.unless_label, product, applying)
    ]
    if not without:
        return None
    return () if len(without) == len(applied) else tuple(without)


def _names(products: tuple[str, ...], applied: Applied) -> str:
    return ", ".join(p.label.name for p, _ in applied if not products or p.id in products)


def has_own(limit_name: str | None, product: Product, applying: Applying) -> bool:
    """Say whether a product's label has a limit of its own of that kind."""
    return limit_name is not None and OWN[limit_name](product, applying)


def _water_ph(product: Product, _: Applying) -> bool:
    mixing = product.label.mixing
    return mixing is not None and (mixing.water_ph_minimum is not None or mixing.water_ph_maximum is not None)


OWN: dict[str, Callable[[Product, Applying], bool]] = {
    "wind": lambda _, applying: any(row.wind_maximum for row in applying.rows),
    "wind_minimum": lambda _, applying: any(row.wind_minimum for row in applying.rows),
    "temperature": lambda _, applying: any(
        row.temperature_minimum or row.temperature_maximum for row in applying.rows
    ),
    "rain_free": lambda _, applying: any(row.rain_free for row in applying.rows),
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
            return shown(quantity), in_unit_of(bound, quantity.unit)
    if scene.rain_within is not None and when.rain_within is not None:
        return f"{short(scene.rain_within)} h", f"{short(when.rain_within)} h"
    humid = _first(when.humidity_above, when.humidity_below)
    if scene.humidity is not None and humid is not None:
        return f"{short(scene.humidity)} %", f"{short(humid)} %"
    return "", ""


def _first(*bounds: Decimal | None) -> Decimal | None:
    return next((bound for bound in bounds if bound is not None), None)
