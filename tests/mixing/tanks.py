"""Invented labels and tanks for tests, read as a request is read."""

from __future__ import annotations

from typing import Any

from mixing.labels import Label
from mixing.request import MixRequest
from mixing.request_reading import read_request

SHIRT_AND_SHOES = ["long_sleeves", "long_trousers", "socks", "shoes"]


def amount(text: str) -> dict[str, str]:
    """Return `1.5 tbsp/gal` as a quantity of a request."""
    value, unit = text.split()
    return {"value": value, "unit": unit}


def label(name: str, *, formulation: str | None = "WG", **said: Any) -> dict[str, Any]:
    """Return a label that allows the product on peach and says what to wear; `said` changes it."""
    use = {
        "crops": ["peach"],
        "targets": [],
        "re_entry": amount("12 h"),
        "pre_harvest": amount("7 d"),
    } | said.pop("use", {})
    return {
        "name": name,
        "formulation": formulation,
        "signal_word": "caution",
        "protection": {"handler": SHIRT_AND_SHOES, "early_entry": []},
        "uses": [use],
    } | said


def product(id: str, *, rate: str = "1 fl_oz/gal", **said: Any) -> dict[str, Any]:
    """Return a product of a tank; what is said goes to its label."""
    return {"id": id, "rate": amount(rate), "label": label(said.pop("name", id), **said)}


def tank(*products: dict[str, Any], **said: Any) -> MixRequest:
    """Return a request for peach trees in California with a backpack sprayer; `said` changes it."""
    return read_request(
        {
            "crop": "peach",
            "region": "US-CA",
            "sprayer": {"kind": "backpack", "tank": amount("4 gal")},
            "products": list(products),
        }
        | said
    )


def read_label(**said: Any) -> Label:
    """Return a label as it is read."""
    return tank({"id": "a", "rate": amount("1 fl_oz/gal"), "label": said}).products[0].label
