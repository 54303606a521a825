"""Public label texts, typed in by hand as a stranger would, and what the report makes of them.

Sources stand in each file of tests/published/labels. The rates are ours: the pages that were read print none.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from mixing import check_mix

LABELS = Path(__file__).parent / "labels"
Json = dict[str, Any]


def q(text: str) -> Json:
    value, unit = text.split()
    return {"value": value, "unit": unit}


def label(name: str) -> Json:
    return json.loads((LABELS / f"{name}.json").read_text(encoding="utf-8"))["label"]


COPPER = {"id": "cu", "rate": q("0.75 oz_wt/gal"), "label": label("copper-hydroxide-77-wp")}
OIL = {"id": "oil", "rate": q("1 percent_vv"), "label": label("mineral-oil-99-ec")}
CAPTAN = {"id": "cap", "rate": q("2 lb/100gal"), "label": label("captan-50-wp")}


def mix(*products: Json, **said: Any) -> Json:
    return {
        "crop": "peach",
        "region": "US-WA",
        "targets": ["leaf curl"],
        "stage": {"bbch": 1, "observed_on": "2027-01-20"},
        "at": "2027-01-21T08:00:00-08:00",
        "sprayer": {"kind": "backpack", "tank": q("4 gal"), "materials": ["brass"]},
        "water": {"ph": "6.8", "hardness": q("120 ppm"), "temperature": q("10 degC")},
        "spray": {"total": q("10 gal"), "area": q("0.1 acre")},
        "weather": {
            "wind": q("5 mph"),
            "temperature": q("52 degF"),
            "minimum_next_24h": q("36 degF"),
            "humidity_percent": "60",
            "rain_within_h": "72",
            "inversion": False,
        },
        "products": list(products),
        "history": [],
        "measures": ["tbsp", "tsp", "cup", "fl_oz", "oz_wt"],
    } | said


def ids(report: Json) -> set[str]:
    return {finding["id"] for finding in report["findings"]}


@pytest.mark.parametrize("path", sorted(LABELS.glob("*.json")), ids=lambda path: path.stem)
def test_each_label_says_where_it_was_read_and_what_the_page_did_not_say(path):
    source = json.loads(path.read_text(encoding="utf-8"))["source"]

    assert source["title"]
    assert source["publisher"]
    assert source["where"]
    assert source["not_on_the_page"]


def test_dormant_copper_and_oil_go_in_in_that_order_with_the_amounts_of_the_first_tank():
    report = check_mix(mix(OIL, COPPER))

    assert report["verdict"] in ("ok", "caution")
    added = [(step["product"], step["amount"]) for step in report["order"] if step["action"] == "add"]
    assert added == [("cu", q("3 oz_wt")), ("oil", q("5.12 fl_oz"))]
    assert [step["amount"] for step in report["order"] if step["action"] == "fill"] == [
        q("2 gal"),
        q("2 gal"),
    ]


def test_the_strongest_of_both_labels_is_worn_and_the_longest_interval_counts():
    report = check_mix(mix(OIL, COPPER))

    assert report["protection"] == {
        "handler": [
            "goggles",
            "long_sleeves",
            "long_trousers",
            "chemical_resistant_gloves",
            "socks",
            "shoes",
        ],
        "early_entry": ["eye_protection", "coveralls", "chemical_resistant_gloves", "socks", "shoes"],
        "signal_word": "danger",
    }
    assert report["re_entry"] == {"interval": q("48 h"), "until": "2027-01-23T08:00:00-08:00"}


def test_what_the_page_does_not_say_is_not_taken_for_granted():
    report = check_mix(mix(OIL, COPPER))

    missing = {row["what"] for row in report["not_checked"]}
    assert {"label.rate:oil", "label.rate:cu", "label.pre_harvest:oil", "label.pre_harvest:cu"} <= missing
    assert report["harvest"] == {"interval": None, "not_before": None}


def test_half_of_the_bag_is_copper_as_the_label_says():
    """10 gal at 0.75 oz_wt/gal is 7.5 oz_wt, 212.6 g; metallic copper equivalent 50 %."""
    (copper,) = (total for total in check_mix(mix(COPPER))["totals"] if total["id"] == "cu")

    assert copper["metal"][0]["amount"] == q("106.3 g")


def test_copper_and_brass_are_told_for_the_washing():
    told = [row["says"] for row in check_mix(mix(COPPER))["cleaning"]]

    assert any("parts of brass" in line for line in told)


def test_captan_and_oil_stop_and_no_step_is_read_without_knowing_it():
    report = check_mix(
        mix(OIL, CAPTAN, targets=["brown rot"], stage={"bbch": 73, "observed_on": "2027-01-20"})
    )

    assert report["verdict"] == "stop"
    assert "label.do-not-mix" in ids(report)
    assert report["order"][0]["note"].startswith("STOP:")


def test_captan_adds_the_apron_and_the_respirator_of_its_own_label():
    handler = check_mix(mix(CAPTAN, COPPER))["protection"]["handler"]

    assert handler[:3] == ["goggles", "particulate_respirator", "chemical_resistant_apron"]


def test_wind_above_the_labels_fifteen_miles_stops():
    weather = mix()["weather"] | {"wind": q("16 mph")}

    report = check_mix(mix(COPPER, weather=weather))

    assert "label.wind-above" in ids(report)
    assert report["verdict"] == "stop"


def test_the_same_report_in_spanish_has_the_same_figures():
    english, spanish = check_mix(mix(OIL, COPPER)), check_mix(mix(OIL, COPPER), language="es")

    for same in ("verdict", "loads", "totals", "protection", "re_entry", "harvest", "rules"):
        assert english[same] == spanish[same]
    assert [step.get("amount") for step in english["order"]] == [
        step.get("amount") for step in spanish["order"]
    ]
    assert english["cautions"] != spanish["cautions"]
    assert spanish["cautions"][0].startswith("La etiqueta es la ley.")
