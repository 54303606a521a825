"""What publications say of the tank itself: the metals it is made of, and how many products are in it."""

from __future__ import annotations

from collections.abc import Iterator

from mixing.findings import Finding
from mixing.limits.speaking import spoken
from mixing.limits.weather import Subjects
from mixing.request import MixRequest
from mixing.rulebook import Rulebook, strictest
from mixing.scene import Scene

SPELLINGS = {
    "aluminum": "aluminium",
    "galvanised": "galvanized",
    "galvanized_steel": "galvanized",
    "mild_steel": "steel",
}
"""What a row knows a metal by."""


def published(subjects: Subjects, request: MixRequest, scene: Scene, rulebook: Rulebook) -> Iterator[Finding]:
    """Yield what a product does to the sprayer's metal, and whether there are too many products."""
    count = len(request.products)
    whole = [
        (rule, rule.severity)
        for rule in rulebook.for_tank("tank", scene.place)
        if rule.when.products_above is not None and count > rule.when.products_above
    ]
    for rule, severity, rivals in strictest(whole):
        parameters = {"product": "", "value": str(count), "limit": str(rule.when.products_above)}
        yield spoken(rulebook, rule, severity, rivals, products=(), parameters=parameters)
    if not request.sprayer.materials:
        return
    written = (name.casefold().replace(" ", "_") for name in request.sprayer.materials)
    materials = {SPELLINGS.get(name, name) for name in written}
    for subject in subjects:
        if not subject.rows.tank:
            continue
        speaking = [
            (rule, rule.severity)
            for rule in subject.rows.tank
            if rule.when.materials is not None and not rule.when.materials.isdisjoint(materials)
        ]
        for rule, severity, rivals in strictest(speaking):
            touched = ", ".join(sorted((rule.when.materials or frozenset()) & materials))
            parameters = {"product": subject.label.name, "value": touched, "limit": ""}
            yield spoken(
                rulebook, rule, severity, rivals, products=(subject.product.id,), parameters=parameters
            )
