"""Published mistakes of the spray trade, and the guard that stands before each, shown over HTTP."""

import base64
import datetime as dt
import re
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mixing.calculations import calculate
from tests.callers import codes
from tests.clock import Clock
from tests.invented.farm import CALM, Invented, findings, q, total
from tests.web.people import at_the_pages, member

pytestmark = pytest.mark.django_db
TREES = {"volume_per_tree": q("1.4", "gal")}
COPPER, OIL = ("P1", "1.0", "oz_wt/gal"), ("P2", "1", "percent_vv")


@pytest.fixture
def clock(monkeypatch):
    return Clock(monkeypatch, "2026-12-18 08:00")


@pytest.fixture
def farm(clock):
    made = Invented("lowbell_hollow", clock)
    for block in made.blocks:
        made.look(block, 97, "96")
    return made


def spray_of(farm, *parts, block="A2", sprayer="S-50", spray=TREES, **more):
    order = {"products": farm.mix(*parts), "spray": spray, "targets": ["leaf curl"], **more}
    return farm.order("spray", block, sprayer, **order)


def rated(farm, key, value, unit):
    return [{"product": farm.product(key), "rate": q(value, unit)}]


# measuring


def test_e1_an_ounce_is_of_weight_or_of_volume_and_has_to_say_which(farm):
    plain = farm.check("A2", "S-50", rated(farm, "P1", "1", "oz/gal"), TREES)
    poured = farm.check("A2", "S-50", rated(farm, "P1", "1", "fl_oz/gal"), TREES)

    assert codes(plain) == ["unit_ambiguous"]
    detail = plain.json()["errors"][0]["detail"]
    assert "oz_wt" in detail and "fl_oz" in detail
    report = poured.json()["report"]
    assert "label.density-unknown" in findings(report)  # a powder by the cup: nobody knows what it weighs
    assert total(report, farm.product("P1"))["metal"][0]["amount"] is None


def test_e2_the_card_tells_ounces_and_tablespoons_apart(farm):
    farm.receive("P5", "OCT-1", q("64", "fl_oz"))
    report = farm.report("A2", "S-50", farm.mix(("P5", "2", "fl_oz/gal")), TREES, measures=["tbsp"])

    [first, *_] = report["loads"]
    assert first["products"][0]["exact"] == q("100", "fl_oz")
    assert first["products"][0]["measure"] == [q("200", "tbsp")]
    assert any("1 fl_oz is 2 tbsp" in line for line in report["cautions"])


def test_e3_an_imperial_gallon_is_another_unit_by_name(farm):
    us = farm.report("A2", "S-50", farm.mix(COPPER), {"total": q("100", "gal")})
    imperial = farm.check("A2", "S-50", farm.mix(COPPER), {"total": q("100", "gal_imp")})

    amount = Decimal(total(us, farm.product("P1"))["exact"]["value"])
    assert amount == 100
    if imperial.status_code == 201:
        more = Decimal(total(imperial.json()["report"], farm.product("P1"))["exact"]["value"])
        assert round(more / amount, 3) == Decimal("1.201")
    else:
        assert codes(imperial) == ["unit_unknown"]


def test_e4_what_is_too_little_for_the_measure_is_told(farm):
    little = {"volume_per_tree": q("0.4", "gal")}
    report = farm.report("A3", "BP-4", farm.mix(COPPER), little, measures=["lb"])

    assert "dose.below-smallest-mark" in findings(report)


def test_e5_the_order_does_not_depend_on_how_the_products_were_named(farm):
    one = farm.report("A2", "S-50", farm.mix(COPPER, OIL), TREES)["order"]
    other = farm.report("A2", "S-50", farm.mix(OIL, COPPER), TREES)["order"]

    assert one == other
    added = [step["product"] for step in one if step["action"] == "add"]
    assert added == [farm.product("P1"), farm.product("P2")]
    assert any(step["action"] in ("agitate", "wait") for step in one)


def test_e6_water_comes_first(farm):
    steps = farm.report("A2", "S-50", farm.mix(COPPER, OIL), TREES)["order"]

    assert steps[0]["action"] == "fill" and steps[0]["amount"]


def test_e7_more_than_three_partners_are_warned_of(farm):
    parts = (COPPER, OIL, ("P5", "0.5", "fl_oz/gal"), ("P7", "0.05", "fl_oz/gal"))

    report = farm.report("A2", "S-50", farm.mix(*parts), TREES)

    assert "tank.more-than-three" in findings(report)
    assert report["jar_test"]["needed"] is True


def test_e8_a_rate_says_per_what_and_both_limits_are_shown(farm):
    bare = farm.check("A2", "S-50", rated(farm, "P1", "12", "lb"), TREES)
    by_ground = farm.report("A2", "S-50", farm.mix(("P1", "12", "lb/acre")), TREES)
    by_water = farm.report("A2", "S-50", farm.mix(("P1", "12", "lb/100gal")), TREES)

    assert codes(bare) == ["unit_kind"]
    assert findings(by_ground, "stop") == []
    # 12 lb in 100 gal is 1.92 oz a gallon, above 1.6; and 22.6 lb an acre, above 12
    [stop] = [one for one in by_water["findings"] if one["severity"] == "stop"]
    assert "1.92 oz_wt/gal" in stop["says"] and "1.6 oz_wt/gal" in stop["says"]
    assert round(Decimal(total(by_water, farm.product("P1"))["per_area"]["value"]), 1) == Decimal("22.6")


def test_e9_a_dilute_rate_in_a_concentrate_sprayer_wants_the_dilute_volume(farm):
    airblast = {"name": "AB-100", "kind": "airblast", "tank": q("100", "gal")}
    farm.sprayers["AB"] = farm.made(farm.head, "sprayers", airblast)["id"]
    low = {"volume_per_area": q("50", "gal/acre")}

    dilute = {**low, "dilute_volume_per_area": q("200", "gal/acre")}
    without = farm.report("A2", "AB", farm.mix(COPPER), low)
    concentrate = farm.report("A2", "AB", farm.mix(COPPER), dilute)

    few, right = (Decimal(total(one, farm.product("P1"))["exact"]["value"]) for one in (without, concentrate))
    assert right == few * 4


def test_e10_the_last_load_has_its_own_amount(farm):
    loads = farm.report("A2", "S-50", farm.mix(COPPER), TREES)["loads"]

    amounts = [load["products"][0]["exact"]["value"] for load in loads]
    assert amounts == ["50", "50", "50", "46"]


# after the spray


def finished(farm, path, clock, at="2026-12-18 14:20", **more):
    farm.begun(farm.teo, path)
    farm.mix_all(farm.teo, path)
    clock.set(at)
    return farm.do(farm.teo, path, "finish", {"nothing_unusual": True, **more})


def test_e35_what_is_kept_from_a_tank_counts_where_it_is_sprayed_later(farm, clock):
    path = spray_of(farm, COPPER)
    farm.begun(farm.teo, path)
    farm.mix_all(farm.teo, path)
    leftover = {"volume": q("8", "gal"), "fate": "kept_labelled"}
    told = {"nothing_unusual": True, "sprayed": q("188", "gal"), "leftover": leftover}
    farm.do(farm.teo, path, "finish", told)

    def stops(block, gallons):
        body = {
            "leftover_of": path.split("/")[1],
            "block": farm.blocks[block],
            "sprayer": farm.sprayers["S-50"],
            "spray": {"total": q(gallons, "gal")},
        }
        return findings(farm.made(farm.pim, "mix-checks", body)["report"], "stop")

    record = farm.pim.get("application-records").json()["items"][0]
    assert record["leftover"]["fate"] == "kept_labelled"
    assert stops("A2", "4") == []  # 11.28 and 0.24 lb an acre
    assert "label.rate-above-maximum" in stops("A2", "16")  # 11.28 and 0.96


def test_e36_entry_counts_from_the_real_end_across_the_clock_change(farm, clock):
    clock.set("2027-03-12 14:00")
    farm.look("A2", 51)
    path = spray_of(farm, COPPER, starts_at=clock.moment("2027-03-12 14:30"))
    farm.begun(farm.teo, path)
    farm.mix_all(farm.teo, path)
    clock.set("2027-03-12 18:30")

    done = farm.do(farm.teo, path, "finish", {"nothing_unusual": True})

    assert done["re_entry_until"] == "2027-03-14T19:30:00-07:00"  # 48 hours, and not 18:30


@given(st.dates(dt.date(2020, 1, 1), dt.date(2040, 1, 1)), st.integers(0, 90))
def test_e37_the_day_of_the_spray_is_day_nothing(on, days):
    found = calculate("harvest", {"applied_on": on.isoformat(), "intervals": [q(str(days), "d")]})

    assert found["not_before"] == (on + dt.timedelta(days=days)).isoformat()


def test_e38_small_sprays_count_towards_the_year(farm, clock):
    for number, day in enumerate(("2026-12-18", "2026-12-27", "2027-01-05", "2027-01-14")):
        clock.set(f"{day} 10:00")
        farm.look("A2", 97 if number < 1 else 0)
        on_paper(farm, clock, day, "196")

    clock.set("2027-01-25 10:00")
    fifth = farm.report("A2", "S-50", farm.mix(COPPER), TREES)
    on_paper(farm, clock, "2027-01-25", "196")
    clock.set("2027-02-04 10:00")
    sixth = farm.report("A2", "S-50", farm.mix(COPPER), TREES)

    [year] = fifth["year"]
    assert round(Decimal(year["used"]["value"]), 1) == Decimal("14.1")
    assert [one for one in findings(fifth, "stop") if "year" in one] == []
    assert [one for one in findings(sixth, "stop") if "year" in one]


def on_paper(farm, clock, day, ounces):
    body = {
        "block": farm.blocks["A2"],
        "sprayer": farm.sprayers["S-50"],
        "started_at": clock.moment(f"{day} 08:00"),
        "finished_at": clock.moment(f"{day} 09:00"),
        "spray": {"total": q("196", "gal")},
        "products": [{"product": farm.product("P1"), "amount": q(ounces, "oz_wt")}],
        "nothing_unusual": True,
    }
    return farm.made(farm.pim, "application-records", body)


def test_e39_young_trees_get_their_own_ground_and_their_own_water(farm):
    young = farm.report("A3", "BP-4", farm.mix(COPPER), {"volume_per_tree": q("0.4", "gal")})
    as_if_grown = farm.report("A3", "BP-4", farm.mix(COPPER), TREES)

    assert farm.block("A3")["area"] == q("0.062", "acre")
    assert total(young, farm.product("P1"))["exact"] == q("4.8", "oz_wt")
    assert findings(young, "stop") == []
    assert "label.rate-above-maximum" in findings(as_if_grown, "stop")  # 16.9 lb an acre


def test_e40_the_crew_says_which_block_the_sign_names_and_another_is_refused(farm, clock):
    ring = [[-120.0, 38.0], [-119.999, 38.0], [-119.999, 38.001], [-120.0, 38.001], [-120.0, 38.0]]
    shape = {"type": "Polygon", "coordinates": [ring]}
    assert farm.pim.patch(f"blocks/{farm.blocks['A2']}", {"outline": shape}).status_code == 200
    path = spray_of(farm, COPPER)
    farm.do(farm.pim, path, "issue")

    sheet = farm.teo.get(f"{path}/tank-sheet").json()
    farm.do(farm.teo, path, "accept")
    elsewhere = farm.teo.act(path, "start", {"observed": CALM, "block": farm.blocks["A1"]})
    status = farm.teo.get(path).json()["status"]
    farm.do(farm.teo, path, "start", {"observed": CALM, "block": farm.blocks["A2"]})
    farm.mix_all(farm.teo, path)
    done = farm.do(farm.teo, path, "finish", {"nothing_unusual": True})
    record = farm.pim.get(f"application-records/{done['application_record']}").json()

    assert (elsewhere.status_code, codes(elsewhere), status) == (422, ["wrong_block"], "accepted")
    assert "A2 Lower Peach" in elsewhere.json()["detail"]
    assert sheet["block"]["name"] == "A2 Lower Peach"
    assert farm.blocks["A2"] in str(farm.teo.get("blocks.geojson").json())
    assert record["place"]["name"] == "A2 Lower Peach"
    assert record["place"]["outline"]["type"] == "Polygon"


@pytest.mark.parametrize(("days", "told"), [(6, None), (7, "is due"), (12, "two days"), (15, "was due")])
def test_e41_a_record_that_is_missing_is_asked_for_after_a_week(farm, clock, days, told):
    path = spray_of(farm, COPPER)
    farm.begun(farm.teo, path)
    farm.mix_all(farm.teo, path)
    clock.wait(days=days)

    rows = [one for one in farm.pim.get("attention").json()["items"] if one["code"] == "record_due"]

    assert bool(rows) is (told is not None)
    if told:
        assert told in rows[0]["says"] and rows[0]["due_on"] == "2027-01-01"
        assert rows[0]["refers_to"]["id"] == path.split("/")[1]


def test_e41_what_is_entered_late_says_so(farm, clock):
    clock.set("2027-01-05 09:00")

    record = on_paper(farm, clock, "2026-12-18", "196")

    assert "late_entry" in [flag["code"] for flag in record["flags"]]


def test_e42_registration_and_ingredients_are_kept_with_every_record(farm, clock):
    done = finished(farm, spray_of(farm, COPPER), clock)

    record = farm.pim.get(f"application-records/{done['application_record']}").json()

    [product] = record["products"]
    assert product["registration"] == "demo-0001"
    assert product["active_ingredients"] == ["copper hydroxide"]
    assert product["label"]["name"] == "Copper hydroxide 30 WG"


def test_e42_the_order_leads_to_the_label_with_its_registration_number(farm):
    content = base64.b64encode(b"%PDF-1.4 the label").decode()
    paper = {"kind": "label", "name": "copper.pdf", "media_type": "application/pdf", "content": content}
    farm.made(farm.head, f"products/{farm.product('P1')}/documents", paper)
    path = spray_of(farm, COPPER, OIL)
    teo = at_the_pages(member(farm.farm, "crew_lead"))

    page = teo.get(f"/farms/{farm.farm.id}/work/{path.split('/')[1]}").content.decode()
    shown = page[page.index('id="labels"') :]
    [link] = re.findall(r'href="([^"]+/content)"', shown)

    assert "demo-0001" in shown and "copper hydroxide" in shown and "copper.pdf" in shown
    assert "read the label on the container" in shown  # of the oil no label is kept
    assert teo.get(link).content == b"%PDF-1.4 the label"


def test_e44_safety_sentences_come_from_the_reviewed_spanish_and_free_text_stays_as_written(farm):
    path = spray_of(farm, COPPER, OIL, instructions="Start at the gate")
    farm.receive("P2", "O-2", q("2.5", "gal"))
    farm.do(farm.pim, path, "issue")

    english = farm.teo.get(f"{path}/tank-sheet?language=en").json()
    spanish = farm.teo.get(f"{path}/tank-sheet?language=es").json()

    assert spanish["instructions"] == english["instructions"] == "Start at the gate"
    assert spanish["language"] == "es"
    assert len(spanish["cautions"]) == len(english["cautions"])
    assert not set(spanish["cautions"]) & set(english["cautions"])
    names = [step["name"] for step in english["loads"][0]["steps"] if step["product"]]
    assert names == [step["name"] for step in spanish["loads"][0]["steps"] if step["product"]]


def test_e45_a_spray_near_a_school_waits_for_its_notice(farm, clock):
    rule = {"name": "Hill School", "to": "school", "told_before": q("72", "h"), "blocks": [farm.blocks["A2"]]}
    rule = farm.made(farm.pim, "notice-rules", rule)
    path = spray_of(farm, COPPER, starts_at=clock.moment("2026-12-22 09:00"))

    refused = farm.pim.act(path, "issue")
    told = {"work_order": path.split("/")[1], "rule": rule["id"], "who": "the office", "how": "phone"}
    farm.made(farm.pim, "notices", told)
    issued = farm.pim.act(path, "issue")
    other = farm.pim.act(
        spray_of(farm, COPPER, block="A1", spray={"volume_per_tree": q("1.25", "gal")}), "issue"
    )

    assert codes(refused) == ["notice_missing"]
    assert (issued.status_code, other.status_code) == (200, 200)


def test_e48_a_verdict_does_not_outlive_the_recipe_it_was_given_for(farm):
    path = spray_of(farm, COPPER)
    checked = farm.check("A2", "S-50", farm.mix(COPPER), TREES).json()
    assert checked["verdict"] != "stop"
    farm.pim.patch(path, {"products": farm.mix(("P1", "1.2", "oz_wt/gal"))})

    refused = farm.pim.act(path, "issue")

    assert codes(refused) == ["mix_stop"]
    assert farm.pim.get(f"mix-checks/{checked['id']}").json()["report"] == checked["report"]
    farm.pim.patch(path, {"products": farm.mix(COPPER)})
    assert farm.pim.act(path, "issue").json()["mix_check"] != checked["id"]


def test_e48_a_word_taken_for_one_recipe_does_not_hold_for_another(farm):
    frost = {
        "minimum_next_24h": q("31", "degF"),
        "temperature": q("52", "degF"),
        "wind": q("5", "mph"),
        "rain_within_h": "60",
        "humidity_percent": "60",
    }

    def check(*parts):
        return farm.check("A2", "S-50", farm.mix(*parts), TREES, weather=frost).json()

    first = check(COPPER, OIL)
    for stop in [one for one in first["report"]["findings"] if one["may_be_overridden"]]:
        body = {
            "mix_check": first["id"],
            "finding": stop["id"],
            "products": stop["products"],
            "reason": "the slope stays above freezing",
            "reference": "adviser",
        }
        farm.made(farm.pim, "overrides", body)

    assert farm.pim.get(f"mix-checks/{first['id']}").json()["overrides"]
    other = check(("P1", "0.9", "oz_wt/gal"), OIL)
    assert farm.pim.get(f"mix-checks/{other['id']}").json()["overrides"] == []
