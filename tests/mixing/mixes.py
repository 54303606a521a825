"""Invented requests for tests: small ones read at a glance, and the six examples of the contract."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

EXAMPLES = Path(__file__).parent / "examples"
Json = dict[str, Any]


def example(name: str) -> tuple[Json, Json]:
    """Return the request of an example and what it expects."""
    raw = json.loads((EXAMPLES / f"{name}.json").read_text(encoding="utf-8"))
    return raw["request"], raw["expects"]


def q(value: str, unit: str) -> Json:
    """Return a quantity as JSON."""
    return {"value": value, "unit": unit}


def use(**changes: Any) -> Json:
    """Return one row of a label, for peach against leaf curl, that limits nothing."""
    return {"crops": ["peach"], "targets": ["leaf curl"], **changes}


def label(name: str = "Pyrafenol 20 SC", **changes: Any) -> Json:
    """Return a liquid's label with one row and nothing against it."""
    made = {
        "name": name,
        "registration": f"demo-{name.casefold().replace(' ', '-')}",
        "active_ingredients": [{"name": name.split()[0].casefold(), "content": q("20", "percent_ww")}],
        "function": ["fungicide"],
        "formulation": "SC",
        "density": q("1.1", "kg/L"),
        "signal_word": "caution",
        "protection": {"handler": ["long_sleeves"], "early_entry": []},
        "uses": [use(re_entry=q("24", "h"), pre_harvest=q("0", "d"))],
    }
    return {**made, **changes}


def product(id: str = "a", rate: Json | None = None, **changes: Any) -> Json:
    """Return one product of a tank, 1 fl_oz/gal of a liquid."""
    return {"id": id, "rate": rate or q("1", "fl_oz/gal"), "label": label(**changes)}


def powder(id: str = "p", rate: Json | None = None, **changes: Any) -> Json:
    """Return a dry product, 1 oz_wt/gal."""
    dry = {"name": "Dustol 50 WP", "formulation": "WP", "density": None, "bulk_density": q("0.5", "kg/L")}
    return product(id, rate or q("1", "oz_wt/gal"), **{**dry, **changes})


def mix(*products: Json, **changes: Any) -> Json:
    """Return a request in which nothing is missing or wrong: 10 gal from a tank of 4."""
    made: Json = {
        "crop": "peach",
        "stage": {"bbch": 1, "observed_on": "2027-01-20"},
        "region": "US-CA",
        "targets": ["leaf curl"],
        "season": "dormant",
        "at": "2027-01-21T08:00:00-08:00",
        "sprayer": {"kind": "backpack", "tank": q("4", "gal"), "residue": [], "materials": ["polyethylene"]},
        "water": {"ph": "7.0", "hardness": q("120", "ppm"), "temperature": q("10", "degC")},
        "spray": {"total": q("10", "gal"), "area": q("0.25", "acre")},
        "weather": {
            "wind": q("5", "mph"),
            "temperature": q("10", "degC"),
            "minimum_next_24h": q("5", "degC"),
            "humidity_percent": "60",
            "rain_within_h": "72",
            "inversion": False,
        },
        "products": list(products) or [product()],
        "history": [],
        "measures": ["tbsp", "tsp", "cup", "fl_oz", "oz_wt", "lb"],
    }
    return copy.deepcopy({**made, **changes})


def ids(report: Json) -> set[str]:
    """Return the ids of the findings of a report."""
    return {finding["id"] for finding in report["findings"]}


def gaps(report: Json) -> list[str]:
    """Return what a report says was not checked."""
    return [line["what"] for line in report["not_checked"]]
