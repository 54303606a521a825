"""What the request does not give: listed once each, and a caution where a limit of these labels needs it."""

from __future__ import annotations

from mixing.catalogue import Text
from mixing.findings import NOT_GIVEN, Basis, Finding, Missing, Severity
from mixing.request import MixRequest, Product

# the finding for each kind of field that a label's limit may need
NEEDED = {
    "stage": "label.stage-unknown",
    "at": "label.date-unknown",
    "history": "label.history-unknown",
    "spray": "label.area-unknown",
    "water.ph": "label.water-ph-unknown",
    "weather.wind": "label.wind-unknown",
    "weather.temperature": "label.temperature-unknown",
    "weather.rain_within_h": "label.rain-unknown",
    "label.density": "label.density-unknown",
    "label.content": "label.content-unknown",
}


class Lacking:
    """Collects the missing fields of one check."""

    def __init__(self) -> None:
        self._fields: dict[str, Text] = {}

    def field(self, path: str, why: Text = NOT_GIVEN) -> None:
        """Note a field as not checked; the first reason stands."""
        self._fields.setdefault(path, why)

    def needed(self, path: str, product: Product) -> Finding:
        """Note a field and return the caution that a limit of this product's label needs it."""
        self._fields[path] = Text("missing.needed", {"product": product.label.name})
        name = path.partition(":")[0]
        finding_id = NEEDED.get(name) or NEEDED[name.partition(".")[0]]
        return Finding(
            finding_id,
            Severity.CAUTION,
            Basis.LABEL,
            (product.id,),
            {"product": product.label.name, "field": path},
        )

    def missing(self) -> list[Missing]:
        """Return them in the order of the request."""
        return [Missing(path, why) for path, why in sorted(self._fields.items(), key=_place)]

    def absent(self, request: MixRequest) -> None:
        """Note the fields that rules would use and that were not given."""
        for path, given in _optional(request):
            if not given:
                self.field(path)


def _optional(request: MixRequest) -> list[tuple[str, bool]]:
    stage, water, weather, spray = request.stage, request.water, request.weather, request.spray
    fields = [
        ("stage", stage is not None),
        ("stage.observed_on", stage is None or stage.observed_on is not None),
        ("region", request.region is not None),
        ("targets", bool(request.targets)),
        ("at", request.at is not None),
        ("water.ph", water is not None and water.ph is not None),
        ("water.hardness", water is not None and water.hardness is not None),
        ("water.temperature", water is not None and water.temperature is not None),
        ("spray", spray is not None),
        ("spray.area", spray is None or spray.area is not None),
        ("weather.wind", weather is not None and weather.wind is not None),
        ("weather.temperature", weather is not None and weather.temperature is not None),
        ("weather.minimum_next_24h", weather is not None and weather.minimum_next_24h is not None),
        ("weather.humidity_percent", weather is not None and weather.humidity_percent is not None),
        ("weather.rain_within_h", weather is not None and weather.rain_within_h is not None),
        ("weather.inversion", weather is not None and weather.inversion is not None),
        ("history", request.history is not None),
    ]
    for product in request.products:
        known = product.label.active_ingredients is not None or product.label.adjuvant is not None
        fields.append((f"label.active_ingredients:{product.id}", known))
    return fields


_ORDER = ("crop", "stage", "region", "targets", "season", "at", "sprayer", "water", "spray", "weather")


def _place(field: tuple[str, Text]) -> int:
    head = field[0].partition(".")[0]
    if head in _ORDER:
        return _ORDER.index(head)
    return len(_ORDER) + (head == "history")
