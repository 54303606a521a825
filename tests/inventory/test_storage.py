"""Where products stand: what fires each rule of storage, and the near miss in which it does not."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from orchard.inventory import storage
from orchard.inventory.storage import Kept, Place
from tests.callers import Caller, codes, pointers
from tests.factories import FarmFactory, LabelVersionFactory, ProductFactory, amount
from tests.inventory.store import copper, lot, oil

POWDER = Kept("1", "p1", "Copper 46 WG", "shelf", frozenset(("dry", "other")))
JUG = Kept(
    "2",
    "p2",
    "Mineral oil 98 EC",
    "shelf",
    frozenset(("liquid", "burnable", "other")),
    volume_ml=amount("10", "L").in_base(),
    container_ml=amount("5", "L").in_base(),
)
PEROXIDE = Kept("3", "p3", "Peroxyacetic acid SL", "shelf", frozenset(("liquid", "oxidiser", "other")))
WEEDS = Kept("4", "p4", "Glyphosate 41 SL", "shelf", frozenset(("liquid", "weed_killer")))
SOUND = {
    "locked": True,
    "ventilated": True,
    "signed": True,
    "bund": amount("11", "L"),
    "temperature_minimum": amount("5", "degC"),
    "temperature_maximum": amount("30", "degC"),
}


def shelf(**more):
    return Place("shelf", **{**SOUND, **more})


def at(kept, **more):
    names = kept.__slots__
    return Kept(**{**{name: getattr(kept, name) for name in names}, **more})


def fired(kept, *places):
    return {finding.rule.id for finding in storage.findings(kept, places)}


def test_a_shelf_where_all_is_well_has_nothing_to_say():
    assert fired([POWDER, JUG], shelf()) == set()


CASES = {
    "storage.oxidiser_beside_burnable": (
        ([PEROXIDE, JUG], [shelf()]),
        ([at(PEROXIDE, place="locker"), JUG], [shelf(), Place("locker", **SOUND)]),
    ),
    "storage.weed_killer_beside_others": (([WEEDS, POWDER], [shelf()]), ([WEEDS], [shelf()])),
    "storage.not_locked": (([POWDER], [shelf(locked=False)]), ([POWDER], [shelf()])),
    "storage.lock_unknown": (([POWDER], [shelf(locked=None)]), ([POWDER], [shelf(locked=False)])),
    "storage.beside_food_feed_or_seed": (
        ([POWDER], [shelf(kept_beside=("feed",))]),
        ([POWDER], [shelf(kept_beside=("fuel",))]),
    ),
    "storage.beside_protective_equipment": (
        ([POWDER], [shelf(kept_beside=("protective_equipment",))]),
        ([], [shelf(kept_beside=("protective_equipment",))]),
    ),
    "storage.fuel_beside_products": (
        ([POWDER], [shelf(kept_beside=("fuel",))]),
        ([POWDER], [shelf(kept_beside=("seed",))]),
    ),
    "storage.bund_below_all": (
        ([JUG], [shelf(bund=amount("10.9", "L"))]),
        ([JUG], [shelf(bund=amount("11", "L"))]),
    ),
    "storage.bund_below_largest": (
        ([JUG], [shelf(bund=amount("5.4", "L"))]),
        ([JUG], [shelf(bund=amount("5.5", "L"))]),
    ),
    "storage.bund_unknown": (([JUG], [shelf(bund=None)]), ([POWDER], [shelf(bund=None)])),
    "storage.colder_than_label": (
        ([at(JUG, store_minimum=amount("42", "degF"))], [shelf()]),
        ([at(JUG, store_minimum=amount("41", "degF"))], [shelf()]),
    ),
    "storage.hotter_than_label": (
        ([at(JUG, store_maximum=amount("29", "degC"))], [shelf()]),
        ([at(JUG, store_maximum=amount("30", "degC"))], [shelf()]),
    ),
    "storage.liquid_may_freeze": (
        ([JUG], [shelf(temperature_minimum=amount("32", "degF"))]),
        (
            [POWDER, at(JUG, store_minimum=amount("-5", "degC"))],
            [shelf(temperature_minimum=amount("32", "degF"))],
        ),
    ),
    "storage.not_ventilated": (
        ([POWDER], [shelf(ventilated=False)]),
        ([POWDER], [shelf(ventilated=None)]),
    ),
    "storage.no_sign": (([POWDER], [shelf(signed=False)]), ([POWDER], [shelf(signed=None)])),
    "storage.place_not_described": (([POWDER], []), ([POWDER], [shelf()])),
    "storage.no_place": (([at(POWDER, place="")], [shelf()]), ([POWDER], [shelf()])),
    "storage.label_not_known": (([at(POWDER, known=False)], [shelf()]), ([POWDER], [shelf()])),
    "storage.dry_below_liquid": (
        ([POWDER, at(JUG, place="top")], [shelf(cabinet="A", level=1), Place("top", "A", 2, **SOUND)]),
        ([at(POWDER, place="top"), JUG], [shelf(cabinet="A", level=1), Place("top", "A", 2, **SOUND)]),
    ),
}


@pytest.mark.parametrize("rule", CASES)
def test_a_rule_fires_and_its_near_miss_does_not(rule):
    fires, near_miss = CASES[rule]

    assert rule in fired(fires[0], *fires[1])
    assert rule not in fired(near_miss[0], *near_miss[1])


def test_every_rule_has_a_case_both_languages_and_a_source_and_no_stop_rests_on_practice():
    rules = storage.table()

    assert {rule.id for rule in rules} == set(CASES)
    for rule in rules:
        assert set(rule.sentences) == {"en", "es"} and rule.sources
        assert not (rule.severity == "stop" and rule.basis == "practice")


def test_cabinets_are_not_mixed_up():
    places = [shelf(cabinet="A", level=1), Place("top", "B", 2, **SOUND)]

    assert "storage.dry_below_liquid" not in fired([POWDER, at(JUG, place="top")], *places)


@pytest.mark.parametrize("language", ["en", "es"])
def test_every_sentence_can_be_said(language):
    for fires, _ in CASES.values():
        for finding in storage.findings(*fires):
            says, do = finding.says(language)
            assert says and do and "{" not in says + do


# over HTTP


@pytest.fixture
def farm(db):
    return FarmFactory()


@pytest.fixture
def keeper(farm):
    return Caller(farm, "storekeeper")


def q(value, unit):
    return {"value": value, "unit": unit}


def found(keeper, **headers):
    answer = keeper.get("storage-findings", **headers)
    assert answer.status_code == 200, answer.json()
    return {one["id"]: one for one in answer.json()["items"]}


def test_a_place_is_described_and_the_stock_on_it_judged(farm, keeper):
    jug = lot(oil(farm), "5", location="shed")
    body = {"name": "shed", "locked": False, "bund": q("4", "gal"), "kept_beside": ["seed"]}
    assert keeper.post("store-places", body).status_code == 201

    findings = found(keeper)

    assert findings["storage.not_locked"]["severity"] == "stop"
    bund = findings["storage.bund_below_all"]
    assert (bund["place"], bund["lots"], bund["products"]) == ("shed", [str(jug.id)], [str(jug.product.id)])
    assert "5.5 gal" in bund["says"] and bund["sources"][0]["publisher"] == "Health and Safety Executive"
    assert "seed" in findings["storage.beside_food_feed_or_seed"]["says"]
    assert "bajo llave" in found(keeper, accept_language="es")["storage.not_locked"]["says"]
    severities = [one["severity"] for one in findings.values()]
    assert severities == sorted(severities, key=("stop", "caution", "note").index)


def test_what_the_label_says_tells_oxidiser_from_oil_and_weed_killer(farm, keeper):
    peroxide = ProductFactory(farm=farm, name="Peroxyacetic acid SL", stock_unit="gal", base_unit="mL")
    label = {
        "name": peroxide.name,
        "formulation": "SL",
        "active_ingredients": [{"name": "peroxyacetic acid"}],
        "hazards": ["GHS03", "GHS05"],
    }
    LabelVersionFactory(farm=farm, product=peroxide, label=label)
    liquid = oil(farm)
    dormant = {"name": liquid.name, "formulation": "EC", "active_ingredients": [{"name": "mineral oil"}]}
    LabelVersionFactory(farm=farm, product=liquid, label=dormant)
    one, other = lot(peroxide, "1", location="shed"), lot(liquid, "1", location="shed")

    finding = found(keeper)["storage.oxidiser_beside_burnable"]

    assert (finding["lots"], finding["basis"]) == ([str(one.id), str(other.id)], "regulation")
    assert keeper.patch(f"lots/{other.id}", {"location": "oil rack"}).status_code == 200
    assert "storage.oxidiser_beside_burnable" not in found(keeper)


def test_an_empty_lot_is_not_judged_and_an_unknown_place_is_said(farm, keeper):
    lot(copper(farm), location="shed")
    assert found(keeper) == {}
    lot(copper(farm), "1", location="barn")

    assert set(found(keeper)) == {"storage.place_not_described"}


def test_a_place_has_its_own_name_and_stays_while_something_stands_there(farm, keeper):
    held = lot(copper(farm), "1", location="shed")
    made = keeper.post("store-places", {"name": "shed"}).json()
    path = f"store-places/{made['id']}"

    assert codes(keeper.post("store-places", {"name": "shed"})) == ["place_exists"]
    assert codes(keeper.delete(path)) == ["in_use"]
    assert codes(keeper.patch(path, {"name": "barn"})) == ["in_use"]
    keeper.patch(f"lots/{held.id}", {"location": "barn"})
    assert keeper.delete(path).status_code == 204


def test_what_is_wrong_with_a_place_is_named(keeper):
    body = {
        "name": "shed",
        "level": 2,
        "temperature_minimum": q("60", "degF"),
        "temperature_maximum": q("10", "degC"),
    }

    refused = keeper.post("store-places", body)

    assert pointers(refused) == ["/cabinet", "/temperature_minimum"]
    assert pointers(keeper.post("store-places", {"name": "x", "kept_beside": ["gold"]})) == ["/kept_beside/0"]


def test_another_farm_sees_no_places_and_no_findings(farm, keeper):
    lot(copper(farm), "1", location="shed")
    keeper.post("store-places", {"name": "shed", "locked": False})
    stranger = Caller(FarmFactory(), "storekeeper")

    assert stranger.get("store-places").json()["items"] == []
    assert stranger.get("storage-findings").json()["items"] == []


def test_a_full_store_is_judged_in_as_many_queries_as_one_lot(farm, keeper):
    product = copper(farm)
    lot(product, "1", location="shed")

    def asked():
        with CaptureQueriesContext(connection) as ran:
            found(keeper)
        return len(ran)

    asked()
    few = asked()
    for number in range(30):
        what = copper(farm) if number % 2 else product
        lot(what, "1", number=f"N-{number}", location=f"shelf {number % 7}")
    assert asked() == few
