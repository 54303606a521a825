"""pH, hardness and temperature of the water: what publications say. What a label allows is in `bounds`."""

from __future__ import annotations

from collections.abc import Iterator

from mixing.findings import Finding
from mixing.limits.speaking import in_unit_of, short, shown, spoken
from mixing.limits.weather import Subjects
from mixing.request import MixRequest
from mixing.rulebook import Rulebook, When, strictest
from mixing.scene import Scene, holds


def published(subjects: Subjects, request: MixRequest, scene: Scene, rulebook: Rulebook) -> Iterator[Finding]:
    """Yield what publications say of this water for each product, and for the tank as a whole."""
    if request.water is None:
        return
    whole = [
        (rule, rule.severity) for rule in rulebook.for_tank("water", scene.place) if holds(rule.water, scene)
    ]
    for rule, severity, rivals in strictest(whole):
        parameters = _parameters(rule.when, request, scene, ", ".join(one.label.name for one in subjects))
        yield spoken(rulebook, rule, severity, rivals, products=(), parameters=parameters)
    for subject in subjects:
        if not subject.rows.water:
            continue
        speaking = [(rule, rule.severity) for rule in subject.rows.water if holds(rule.water, scene)]
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
