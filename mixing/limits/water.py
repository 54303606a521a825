"""pH, hardness and temperature of the water: what the labels allow and what publications say."""

from __future__ import annotations

from collections.abc import Iterator

from mixing.findings import Finding, Severity
from mixing.limits.lacking import Lacking
from mixing.limits.speaking import in_unit_of, limit, short, shown, spoken
from mixing.limits.subject import Subject
from mixing.limits.weather import Subjects, has_own
from mixing.request import MixRequest
from mixing.rulebook import Rulebook, When, strictest
from mixing.scene import Scene, in_place, in_water


def by_label(subject: Subject, scene: Scene, lacking: Lacking) -> Iterator[Finding]:
    """Yield where the pH of the water is outside what the product's own label allows."""
    mixing, product = subject.label.mixing, subject.product
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


def published(subjects: Subjects, request: MixRequest, scene: Scene, rulebook: Rulebook) -> Iterator[Finding]:
    """Yield what publications say of this water for each product, and for the tank as a whole."""
    if request.water is None:
        return
    whole = [
        (rule, rule.severity)
        for rule in rulebook.for_tank("water", request.crop)
        if in_water(rule, scene) and in_place(rule, scene)
    ]
    for rule, severity, rivals in strictest(whole):
        parameters = _parameters(rule.when, request, scene, ", ".join(one.label.name for one in subjects))
        yield spoken(rulebook, rule, severity, rivals, products=(), parameters=parameters)
    for subject in subjects:
        speaking = [
            (rule, rule.severity)
            for rule in subject.rows.water
            if in_water(rule, scene)
            and in_place(rule, scene)
            and not has_own(rule.when.unless_label, subject)
        ]
        for rule, severity, rivals in strictest(speaking):
            parameters = _parameters(rule.when, request, scene, subject.label.name)
            yield spoken(
                rulebook, rule, severity, rivals, products=(subject.product.id,), parameters=parameters
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
        return shown(water.temperature), in_unit_of(cold, water.temperature)
    return "", ""
