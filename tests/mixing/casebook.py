"""Turns the short cases of `cases/*.toml` into requests, and says which rows speak of one.

A case says what matters; the rest is a calm day on dormant peach: 1 acre, 100 gal, water of pH 7, nothing
sprayed before. A product is an ingredient (`captan`), with its formulation after a stroke (`captan/WP`, else
a suspension), an adjuvant (`adj:surfactant`) or a table. `pyrafenol` and `zolanide` are invented.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

from mixing import compatibility, limits
from mixing.findings import Finding
from mixing.request import MixRequest
from mixing.request_reading import read_request
from mixing.rulebook import Rulebook

FOLDER = Path(__file__).parent / "cases"
TODAY = date(2027, 3, 1)
LOW_COPPER = "0.03125"  # 0.5 oz of metal an acre
DRY = ("WP", "WG", "SP", "SG")


@dataclass(frozen=True)
class Case:
    """A row, a mix in which it speaks and one close to it in which it does not."""

    rule: str
    fires: dict[str, Any]
    misses: dict[str, Any]


def cases() -> list[Case]:
    """Return every case of every file."""
    found = []
    for path in sorted(FOLDER.glob("*.toml")):
        for row in tomllib.loads(path.read_text(encoding="utf-8"))["case"]:
            found.append(Case(row["rule"], row["fires"], row["misses"]))
    return found


def request_of(short: dict[str, Any]) -> MixRequest:
    """Return the request that a short case stands for."""
    return read_request(json_of(short))


def json_of(short: dict[str, Any]) -> dict[str, Any]:
    """Return the JSON that a short case stands for."""
    copper = LOW_COPPER if short.get("low") else short.get("copper_lb_acre")
    return {
        "crop": short.get("crop", "peach"),
        "stage": {"bbch": short.get("bbch", 0), "observed_on": str(TODAY - timedelta(days=1))},
        "region": short.get("region"),
        "targets": short.get("targets", []),
        "at": f"{TODAY}T08:00:00-08:00",
        "sprayer": {
            "kind": "backpack",
            "tank": _quantity("4 gal"),
            "residue": short.get("residue", []),
            "materials": short.get("materials", []),
        },
        "water": _water(short.get("water", {})),
        "spray": {"total": _quantity("100 gal"), "area": _quantity("1 acre")},
        "weather": _weather(short.get("weather", {})),
        "products": [
            {"id": f"p{place}", **_product(product, copper)}
            for place, product in enumerate(short["products"], 1)
        ],
        "history": [_earlier(one) for one in short.get("history", [])],
    }


def _quantity(text: str) -> dict[str, str]:
    value, unit = text.split(" ")
    return {"value": value, "unit": unit}


def _water(given: dict[str, str]) -> dict[str, Any]:
    said = {"ph": "7", "hardness": "100 ppm", "temperature": "12 degC", **given}
    return {
        "ph": said["ph"],
        "hardness": _quantity(said["hardness"]),
        "temperature": _quantity(said["temperature"]),
    }


def _weather(given: dict[str, Any]) -> dict[str, Any]:
    said = {
        "wind": "5 mph",
        "temperature": "15 degC",
        "minimum": "8 degC",
        "humidity": "60",
        "rain_within": "72",
        "inversion": False,
        **given,
    }
    return {
        "wind": _quantity(said["wind"]),
        "temperature": _quantity(said["temperature"]),
        "minimum_next_24h": _quantity(said["minimum"]),
        "humidity_percent": said["humidity"],
        "rain_within_h": said["rain_within"],
        "inversion": said["inversion"],
    }


def _product(product: str | dict[str, Any], copper: str | None) -> dict[str, Any]:
    said = product if isinstance(product, dict) else _named(product)
    return {"rate": _quantity(_rate(said, copper)), "label": _label(said)}


def _named(text: str) -> dict[str, Any]:
    if text.startswith("adj:"):
        return {"adjuvant": text.removeprefix("adj:")}
    name, _, formulation = text.partition("/")
    return {"ai": name, "form": formulation or "SC"}


def _rate(said: dict[str, Any], copper: str | None) -> str:
    if copper is not None and _is_copper(said):
        return f"{2 * Decimal(copper)} lb/acre"  # the product is half copper
    if "rate" in said:
        return str(said["rate"])
    return "2 lb/100gal" if _is_copper(said) else "1 pt/100gal"


def _is_copper(said: dict[str, Any]) -> bool:
    return any(word in said.get("ai", "") for word in ("copper", "cuprous", "bordeaux"))


def _label(said: dict[str, Any]) -> dict[str, Any]:
    if "adjuvant" in said:
        return {"name": said["adjuvant"], "adjuvant": said["adjuvant"]}
    ingredient: dict[str, Any] = {"name": said["ai"], "content": _quantity("60 percent_ww")}
    if _is_copper(said):
        ingredient["metal"] = {"of": "copper", "content": _quantity("50 percent_ww")}
    form = said.get("form", "SC")
    return {
        "name": said["ai"],
        "active_ingredients": [ingredient],
        "function": said.get("function", []),
        "formulation": form,
        "packet": said.get("packet", False),
        "packet_content": _quantity("1 lb") if said.get("packet") else None,
        "bulk_density" if form in DRY else "density": _quantity("0.9 kg/L"),
    }


def _earlier(one: dict[str, Any]) -> dict[str, Any]:
    kilograms = one.get("copper_kg_ha")
    rate = f"{2 * Decimal(kilograms)} kg/ha" if kilograms else "1 lb/acre"
    return {
        "on": str(TODAY - timedelta(days=one["days_ago"])),
        "bbch": 0,
        "label": _label({"ai": one["ai"]}),
        "rate": _quantity(rate),
        "spray_volume": _quantity("100 gal"),
        "area": _quantity("1 acre"),
    }


def findings(short: dict[str, Any], rules: Rulebook) -> list[Finding]:
    """Return all findings of pairs and limits for a short case."""
    request = request_of(short)
    found, _ = limits.check(request, rules)
    return [*compatibility.check(request, rules), *found]


def speaks(rule_id: str, found: list[Finding], rules: Rulebook) -> bool:
    """Say whether a row speaks: by its own finding, or named by the stricter rival that speaks for it."""
    rule = rules.rule(rule_id)
    for one in found:
        if one.id == rule_id:
            return True
        rival = rules.has(one.id) and rules.rule(one.id).about == rule.about
        if rival and rule.locator and f"({rule.locator})" in one.parameters.get("others", ""):
            return True
    return False
