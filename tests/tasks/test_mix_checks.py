"""Checks of a mix for a block: what the farm fills in, and what a manager may take upon themselves."""

import datetime as dt

import pytest
from django.utils import timezone

from orchard.blocks import services as blocks
from orchard.farms.actors import SYSTEM
from orchard.tasks.models import MixCheck
from tests.callers import Caller, codes, pointers
from tests.factories import (
    BlockFactory,
    FarmFactory,
    LabelVersionFactory,
    ProductFactory,
    SprayerFactory,
    amount,
)

pytestmark = pytest.mark.django_db
AT = "2026-12-18T10:00:00-08:00"
GOOD_WEATHER = {
    "wind": {"value": "5", "unit": "mph"},
    "temperature": {"value": "52", "unit": "degF"},
    "minimum_next_24h": {"value": "41", "unit": "degF"},
    "humidity_percent": "60",
    "rain_within_h": "60",
    "inversion": False,
}
COPPER_LABEL = {
    "name": "Copper hydroxide 30 WG",
    "registration": "demo-0001",
    "active_ingredients": [
        {
            "name": "copper hydroxide",
            "content": {"value": "46", "unit": "percent_ww"},
            "metal": {"of": "copper", "content": {"value": "30", "unit": "percent_ww"}},
        }
    ],
    "formulation": "WG",
    "uses": [
        {
            "crops": ["peach", "nectarine"],
            "rate": {"maximum": {"value": "1.6", "unit": "oz_wt/gal"}},
            "stages": [{"from": 93, "to": 53}],
            "re_entry": {"value": "48", "unit": "h"},
        },
        {"crops": ["peach", "nectarine"], "rate": {"maximum": {"value": "12", "unit": "lb/acre"}}},
    ],
}
SULFUR_LABEL = {
    "name": "Sulfur 80 WG",
    "active_ingredients": [{"name": "sulfur", "content": {"value": "80", "unit": "percent_ww"}}],
    "formulation": "WG",
    "uses": [{"crops": ["peach"], "rate": {"maximum": {"value": "4", "unit": "kg/ha"}}}],
}
OIL_LABEL = {
    "name": "Horticultural oil 98 EC",
    "active_ingredients": [{"name": "mineral oil", "content": {"value": "98", "unit": "percent_vv"}}],
    "formulation": "EC",
    "uses": [{"crops": ["peach"], "rate": {"maximum": {"value": "2", "unit": "percent_vv"}}}],
}


@pytest.fixture
def farm():
    return FarmFactory()


@pytest.fixture
def manager(farm):
    return Caller(farm, "manager")


@pytest.fixture
def block(farm):
    made = BlockFactory(farm=farm, name="Lower Peach", area=amount("1.0413", "acre"), trees=140)
    blocks.add_stage(block=made, bbch=97, observed_on=dt.date(2026, 1, 10), by=SYSTEM, now=timezone.now())
    return made


@pytest.fixture
def sprayer(farm):
    return SprayerFactory(farm=farm)


def product_with(farm, label):
    return LabelVersionFactory(
        farm=farm, product=ProductFactory(farm=farm, name=label["name"]), label=label
    ).product


@pytest.fixture
def copper(farm):
    return product_with(farm, COPPER_LABEL)


def mix(block, sprayer, *products, **said):
    return {
        "block": str(block.id),
        "sprayer": str(sprayer.id),
        "at": AT,
        "stage": {"bbch": 97, "observed_on": "2026-12-15"},
        "spray": {"volume_per_tree": {"value": "1.4", "unit": "gal"}},
        "weather": GOOD_WEATHER,
        "products": [
            {"product": str(product.id), "rate": {"value": value, "unit": unit}}
            for product, value, unit in products
        ],
        **said,
    }


def ids(response, severity=None):
    return [f["id"] for f in response.json()["report"]["findings"] if severity in (None, f["severity"])]


def test_trees_and_ground_come_from_the_block(manager, block, sprayer, copper):
    made = manager.post("mix-checks", mix(block, sprayer, (copper, "1.0", "oz_wt/gal")))

    assert made.status_code == 201, made.json()
    report = made.json()["report"]
    assert report["totals"][0]["exact"] == {"value": "196", "unit": "oz_wt"}
    assert [load["spray"]["value"] for load in report["loads"]] == ["50", "50", "50", "46"]
    assert report["totals"][0]["id"] == str(copper.id)


def test_a_rate_that_passes_by_the_gallon_fails_by_the_acre(manager, block, sprayer, copper):
    refused = manager.post("mix-checks", mix(block, sprayer, (copper, "1.2", "oz_wt/gal")))
    allowed = manager.post("mix-checks", mix(block, sprayer, (copper, "1.0", "oz_wt/gal")))

    assert "label.rate-above-maximum" in ids(refused, "stop")
    assert ids(allowed, "stop") == []


def test_the_stage_that_was_seen_last_counts(manager, block, sprayer, copper):
    body = mix(block, sprayer, (copper, "1.0", "oz_wt/gal"), at="2026-01-12T10:00:00-08:00")
    body.pop("stage")

    seen = manager.post("mix-checks", body).json()["request"]["stage"]

    assert seen == {"bbch": 97, "observed_on": "2026-01-10"}


def test_a_dry_run_says_the_same_and_writes_nothing(manager, block, sprayer, copper):
    body = mix(block, sprayer, (copper, "1.2", "oz_wt/gal"))

    dry = manager.post("mix-checks", {**body, "dry_run": True})
    stored = manager.post("mix-checks", body)

    assert (dry.status_code, dry.json()["id"], MixCheck.objects.count()) == (200, None, 1)
    assert dry.json()["report"] == stored.json()["report"]


def test_weather_comes_from_the_stored_hours_as_far_as_they_reach(farm, manager, block, sprayer, copper):
    start = dt.datetime.fromisoformat(AT)
    hours = [
        {
            "at": (start + dt.timedelta(hours=hour)).isoformat(),
            "kind": "forecast",
            "wind": {"value": "6", "unit": "mph"},
            "temperature": {"value": str(50 - hour), "unit": "degF"},
            "rain": {"value": "1" if hour == 26 else "0", "unit": "mm"},
        }
        for hour in range(30)
    ]
    manager.post("weather/hours", {"items": hours})
    body = mix(block, sprayer, (copper, "1.0", "oz_wt/gal"))
    body.pop("weather")

    weather = manager.post("mix-checks", body).json()["request"]["weather"]

    assert weather["wind"] == {"value": "6", "unit": "mph"}
    assert weather["rain_within_h"] == "26"
    assert weather["minimum_next_24h"] == {"value": "27", "unit": "degF"}


def test_without_stored_hours_the_weather_is_not_checked_and_never_fine(manager, block, sprayer, copper):
    body = mix(block, sprayer, (copper, "1.0", "oz_wt/gal"))
    body.pop("weather")

    report = manager.post("mix-checks", body).json()["report"]

    assert any(line["what"].startswith("weather") for line in report["not_checked"])


def test_a_product_without_a_label_in_force_cannot_be_checked(farm, manager, block, sprayer):
    bare = ProductFactory(farm=farm)

    response = manager.post("mix-checks", mix(block, sprayer, (bare, "1.0", "oz_wt/gal")))

    assert (response.status_code, codes(response), pointers(response)) == (
        422,
        ["label_missing"],
        ["/products/0/product"],
    )


def test_every_fault_of_a_check_is_named_at_once(manager, block, sprayer, copper):
    body = mix(block, sprayer, (copper, "1.0", "oz/gal"), colour="red", at="tomorrow")
    body["block"] = str(sprayer.id)

    response = manager.post("mix-checks", body)

    assert response.status_code == 422
    assert set(zip(pointers(response), codes(response), strict=True)) >= {
        ("/colour", "unknown_field"),
        ("/at", "invalid"),
        ("/block", "not_found"),
        ("/products/0/rate/unit", "unit_ambiguous"),
    }


def test_the_engines_faults_come_back_at_their_place(manager, block, sprayer, copper):
    body = mix(block, sprayer, (copper, "1.0", "oz_wt/gal"), water={"ph": "seven"}, stage={"bbch": 120})

    response = manager.post("mix-checks", body)

    assert response.status_code == 422
    assert {"/water/ph", "/stage/bbch"} <= set(pointers(response))


@pytest.fixture
def sulfur_and_oil(farm, manager, block, sprayer):
    products = (
        (product_with(farm, SULFUR_LABEL), "1", "kg/ha"),
        (product_with(farm, OIL_LABEL), "1", "percent_vv"),
    )
    return manager.post("mix-checks", mix(block, sprayer, *products)).json()


def test_a_published_stop_may_be_taken_upon_oneself_with_a_reason(manager, sulfur_and_oil):
    stop = next(f for f in sulfur_and_oil["report"]["findings"] if f["may_be_overridden"])
    body = {
        "mix_check": sulfur_and_oil["id"],
        "finding": stop["id"],
        "products": stop["products"],
        "reason": "the adviser has tried it on these trees",
        "reference": "adviser's letter of 3 December",
    }

    short = manager.post("overrides", {**body, "reason": "because"})
    other = manager.post("overrides", {**body, "finding": "no.such-finding"})
    made = manager.post("overrides", body)

    assert codes(short) == ["reason_too_short"]
    assert codes(other) == ["finding_not_found"]
    assert made.status_code == 201
    assert manager.get(sulfur_and_oil["url"]).json()["overrides"] == [made.json()["id"]]


@pytest.mark.parametrize("role", ["owner", "manager"])
def test_a_label_holds_for_everyone(farm, manager, block, sprayer, copper, role):
    check = manager.post("mix-checks", mix(block, sprayer, (copper, "1.2", "oz_wt/gal"))).json()

    response = Caller(farm, role).post(
        "overrides",
        {
            "mix_check": check["id"],
            "finding": "label.rate-above-maximum",
            "products": [str(copper.id)],
            "reason": "we have always done it",
            "reference": "none",
        },
    )

    assert (response.status_code, codes(response)) == (409, ["not_overridable"])
    audit = manager.get("audit?outcome=refused").json()["items"]
    assert audit[-1]["codes"] == ["not_overridable"]


def test_the_engine_answers_without_a_farm_and_in_spanish(manager):
    request = {
        "crop": "peach",
        "sprayer": {"kind": "backpack"},
        "products": [{"id": "cu", "rate": {"value": "1", "unit": "oz_wt/gal"}, "label": COPPER_LABEL}],
    }

    english = manager.post("/api/v1/mix-checks", request)
    spanish = manager.post("/api/v1/mix-checks", request, accept_language="es")
    wrong = manager.post("/api/v1/mix-checks", {**request, "crop": 7})

    assert english.status_code == spanish.status_code == 200
    assert english.json()["cautions"] != spanish.json()["cautions"]
    assert (wrong.status_code, pointers(wrong)) == (422, ["/crop"])


def test_a_calculation_is_worked_out_by_name(manager):
    asked = {"area": {"value": "3", "unit": "acre"}, "rate": {"value": "2.5", "unit": "lb/acre"}}

    answer = manager.post("/api/v1/calculations/dose_by_area", asked)
    unknown = manager.post("/api/v1/calculations/dose_by_moon", asked)
    wrong, in_spanish = (
        manager.post(
            "/api/v1/calculations/dose_by_area",
            {"area": {"value": "3", "unit": "acres"}},
            accept_language=language,
        )
        for language in ("en", "es")
    )

    assert answer.json()["amount"] == {"value": "7.5", "unit": "lb"}
    assert unknown.status_code == 404
    assert (wrong.status_code, set(pointers(wrong))) == (422, {"/area/unit", "/rate"})
    assert codes(in_spanish) == codes(wrong)
    assert in_spanish.json()["errors"] != wrong.json()["errors"]
    assert len(manager.get("/api/v1/calculations").json()["items"]) >= 34
