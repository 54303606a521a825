"""What the request does not give: listed once each, and a caution where a limit of these labels needs it."""

from __future__ import annotations

from mixing.catalogue import Text
from mixing.findings import NOT_GIVEN, Basis, Finding, Missing, Severity
from mixing.request import Product

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
        """Return them as they were noted; `gaps` puts them in the order of the request."""
        return [Missing(path, why) for path, why in self._fields.items()]
