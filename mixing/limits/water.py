"""pH, hardness and temperature of the water: what the labels allow and what publications say."""

from __future__ import annotations

from collections.abc import Iterator

from mixing import chemistry
from mixing.findings import Finding, Severity
from mixing.limits.lacking import Lacking
from mixing.limits.speaking import in_unit_of, limit, short, shown, spoken
from mixing.limits.weather import Applied, has_own
from mixing.request import MixRequest, Product
from mixing.rulebook import Rulebook, When, strictest
from mixing.scene import Scene, in_place, in_water


def by_label(product: Product, scene: Scene, lacking: Lacking) -> Iterator[Finding]:
    """Yield where the pH of the water is outside what the product's own label allows."""
    mixing = product.label.mixing
    if mixing is None or (mixing.water_ph_minimum is None and mixing.water_ph_maximum is None):
        return
    lowest, highest = mixing.water_ph_minimum, mixing.water_ph_maximum
    if scene.ph is None:
        yield lacking.needed("water.ph", product)
        return
    if lowest is not None and scene.ph < lowest:
        yield limit(
            "label.water-ph-below", Severity.STOP, product, value=short(scene.ph), limit=short(lowest)
        )
    if highest is not None and scene.ph > highest:
        yield limit(
            "label.water-ph-above", Severity.STOP, product, value=short(scene.ph), limit=short(highest)
        )


def published(applied: Applied, request: MixRequest, scene: Scene, rulebook: Rulebook) -> Iterator[Finding]:
    """Yield what publications say of this water for each product, and for the tank as a whole."""
    if request.water is None:
        return
    whole = [
        (rule, rule.severity)
        for rule in rulebook.for_tank("water", request.crop)
        if in_place(rule.when, scene) and in_water(rule.when, scene)
    ]
    for rule, severity, rivals in strictest(whole):
        names = ", ".join(product.label.name for product, _ in applied)
        yield spoken(
            rulebook,
            rule,
            severity,
            rivals,
            products=(),
            parameters=_parameters(rule.when, request, scene, names),
        )
    for product, applying in applied:
        speaking = [
            (rule, rule.severity)
            for rule in rulebook.for_product("water", chemistry.groups(product.label), request.crop)
            if in_place(rule.when, scene)
            and in_water(rule.when, scene)
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


def _parameters(when: When, request: MixRequest, scene: Scene, names: str) -> dict[str, str]:
    value, bound = _measured(when, request, scene)
    return {"product": names, "value": value, "limit": bound}


def _measured(when: When, request: MixRequest, scene: Scene) -> tuple[str, str]:
    water = request.water
    ph = when.ph_above if when.ph_above is not None else when.ph_below
    if scene.ph is not None and ph is not None:
        return f"pH {short(scene.ph)}", f"pH {short(ph)}"
    if water is not None and water.hardness is not None and when.hardness_above is not None:
        return shown(water.hardness), f"{short(when.hardness_above)} ppm"
    cold = when.water_below if when.water_below is not None else when.water_above
    if water is not None and water.temperature is not None and cold is not None:
        return shown(water.temperature), in_unit_of(cold, water.temperature.unit)
    return "", ""
