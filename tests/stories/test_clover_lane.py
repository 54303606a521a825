"""Twenty-two trees of a school, a hose and volunteers: answers to the last digit, over HTTP."""

from decimal import Decimal

import pytest
from django.test import Client
from django.utils.html import strip_tags

from tests.callers import codes
from tests.clock import Clock
from tests.invented.farm import CALM, Invented, findings, q, total
from tests.web.people import at_the_pages, member

pytestmark = pytest.mark.django_db
HALF_A_GALLON = {"volume_per_tree": q("0.5", "gal")}
SOAP = ("P5", "2", "fl_oz/gal")


@pytest.fixture
def clock(monkeypatch):
    return Clock(monkeypatch, "2026-12-01 09:00")


@pytest.fixture
def farm(clock):
    made = Invented("clover_lane", clock)
    for block in made.blocks:
        made.look(block, 97, "98")
    return made


def spray_of(farm, block="stone", **more):
    order = {"products": farm.mix(SOAP), "spray": HALF_A_GALLON, "targets": ["leaf curl"], **more}
    return farm.order("spray", block, "hose", handlers=[farm.workers["nia"]], **order)


def sprayed(farm, clock, used="15.5", ended="2026-12-05 10:40"):
    """Spray the row on the Saturday, with so many fluid ounces gone from the jar."""
    clock.set("2026-12-05 09:00")
    path = spray_of(farm)
    farm.begun(farm.nia, path, wind=q("4", "mph"))
    lots = [{"lot": farm.lots["OCT-77"], "amount": q(used, "fl_oz")}]
    load = {"number": 1, "spray": q("6", "gal"), "products": [{"product": farm.product("P5"), "lots": lots}]}
    farm.do(farm.nia, path, "record_load", load)
    clock.set(ended)
    return farm.do(farm.nia, path, "finish", {"nothing_unusual": True})


def test_5c_1_a_plan_on_all_the_trees_is_refused_for_the_crops_that_the_label_does_not_name(farm):
    stops = {
        block: findings(farm.report(block, "hose", farm.mix(SOAP), HALF_A_GALLON), "stop")
        for block in farm.blocks
    }

    assert stops == {"stone": [], "apples": ["label.crop"], "plums": ["label.crop"]}
    assert codes(farm.dottie.act(spray_of(farm, "apples"), "issue")) == ["mix_stop"]


def test_5c_2_two_quarts_a_tree_on_twelve_trees_are_six_gallons(farm):
    body = {"trees": 12, "volume_per_tree": q("2", "qt"), "rate": q("2", "fl_oz/gal"), "in": {"spray": "gal"}}

    answer = farm.nia.post("/api/v1/calculations/dose_by_trees", body)

    assert answer.json()["spray"] == q("6", "gal")


def test_5c_3_twelve_ounces_are_24_tablespoons_and_the_dial_stands_at_two(farm):
    report = farm.report("stone", "hose", farm.mix(SOAP), HALF_A_GALLON, measures=["tbsp"])

    soap = total(report, farm.product("P5"))
    assert (soap["exact"], soap["base"]) == (q("12", "fl_oz"), q("354.9", "mL"))  # 355 mL
    [load] = report["loads"]
    assert load["products"][0]["measure"] == [q("24", "tbsp")]
    assert report["dial"]["setting"] == q("2", "fl_oz/gal")
    assert any("1 fl_oz is 2 tbsp" in line for line in report["cautions"])


def test_5c_3_two_tablespoons_a_gallon_would_be_half_the_dose(farm):
    half = farm.report("stone", "hose", farm.mix(("P5", "2", "tbsp/gal")), HALF_A_GALLON)

    amount = total(half, farm.product("P5"))["exact"]
    assert amount == q("12", "tbsp")  # 6 fl oz of the 12


def test_5c_4_what_was_really_used_is_on_record_flagged_and_asks_for_the_dial_to_be_tried(farm, clock):
    done = sprayed(farm, clock)

    record = farm.dottie.get(f"application-records/{done['application_record']}").json()
    [product] = record["products"]
    assert product["amount"] == q("15.5", "fl_oz")
    rate = Decimal(product["rate_applied"]["value"])
    assert (str(rate.quantize(Decimal("0.01"))), product["rate_applied"]["unit"]) == ("2.58", "fl_oz/gal")
    assert "rate_exceeded" in [flag["code"] for flag in record["flags"]]
    [asked] = [one for one in farm.dottie.get("attention").json()["items"] if one["code"] == "recalibrate"]
    assert "129 % of what was planned" in asked["says"]
    assert asked["refers_to"] == {"kind": "sprayer", "id": farm.sprayers["hose"]}


RULE = {
    "name": "Parents who asked to be told",
    "to": "school",
    "told_before": q("72", "h"),
    "sign_before": q("24", "h"),
    "sign_after": q("72", "h"),
    "source": "California Education Code 17612",
}


def test_5c_5_without_notice_in_time_nothing_is_issued_and_with_it_it_is(farm, clock):
    rule = farm.made(farm.dottie, "notice-rules", RULE)
    clock.set("2026-12-02 08:30")
    starts = {"starts_at": clock.moment("2026-12-05 09:00")}
    told, untold = spray_of(farm, **starts), spray_of(farm, **starts)
    notice = {"work_order": told.split("/")[1], "rule": rule["id"], "who": "12 families", "how": "email"}
    farm.made(farm.nia, "notices", notice)

    clock.set("2026-12-03 09:00")
    refused, issued = farm.dottie.act(untold, "issue"), farm.dottie.act(told, "issue")

    assert codes(refused) == ["notice_missing"]
    assert issued.status_code == 200, issued.json()


def test_5c_5_the_sign_stands_from_the_day_before_until_three_days_after(farm, clock):
    rule = farm.made(farm.dottie, "notice-rules", RULE)
    clock.set("2026-12-02 08:30")
    path = spray_of(farm, starts_at=clock.moment("2026-12-05 09:00"))
    shared = {"work_order": path.split("/")[1], "rule": rule["id"]}
    farm.made(farm.nia, "notices", {**shared, "who": "12 families", "how": "email"})
    farm.do(farm.dottie, path, "issue")
    farm.do(farm.nia, path, "accept")
    clock.set("2026-12-04 09:00")
    farm.made(farm.nia, "notices", {**shared, "step": "sign_up", "who": "school gate", "how": "sign"})
    clock.set("2026-12-05 09:00")
    farm.do(farm.nia, path, "start", {"observed": {**CALM, "wind": q("4", "mph")}})
    load = {"number": 1, "spray": q("6", "gal"), "products": [{"product": farm.product("P5")}]}
    farm.do(farm.nia, path, "record_load", load)
    clock.set("2026-12-05 10:40")
    farm.do(farm.nia, path, "finish", {"nothing_unusual": True})

    said = str(farm.dottie.get(f"{path}/notice-duties").json()["items"])

    assert "2026-12-02T09:00:00-08:00" in said  # told by then
    assert "2026-12-04T09:00:00-08:00" in said  # the sign up by then
    assert "2026-12-08T10:40:00-08:00" in said  # and down no sooner


def test_5c_6_the_clinic_waits_four_hours_and_the_schools_own_rule_makes_it_three_days(farm, clock):
    sprayed(farm, clock, used="12")
    clinic = farm.order("scouting", "stone", starts_at=clock.moment("2026-12-05 11:00"))

    refused = farm.dottie.act(clinic, "issue")

    assert codes(refused) == ["block_in_re_entry"]
    assert refused.json()["errors"][0]["earliest"] == "2026-12-05T14:40:00-08:00"


def test_5c_6_a_longer_wait_of_the_farm_holds_beside_the_label(farm, clock):
    farm.head.patch("", {"limits": {"re_entry_minimum": q("72", "h")}})

    done = sprayed(farm, clock, used="12")

    assert done["re_entry_until"] == "2026-12-08T10:40:00-08:00"


def test_5c_7_what_is_left_expires_before_the_february_spray(farm, clock):
    sprayed(farm, clock)
    assert farm.lot("OCT-77") == q("16.5", "fl_oz")

    clock.set("2027-01-01 09:00")
    february = spray_of(farm, starts_at=clock.moment("2027-02-06 09:00"))
    rows = {one["code"]: one for one in farm.gus.get("attention?days=30").json()["items"]}

    assert rows["lot_expiring"]["due_on"] == "2027-01-31"
    assert rows["lot_expiring"]["refers_to"] == {"kind": "lot", "id": farm.lots["OCT-77"]}
    [need] = farm.gus.get("purchase-needs").json()["items"]
    assert (need["needed"], need["short"]) == (q("12", "fl_oz"), q("12", "fl_oz"))
    assert need["work_orders"] == [february.split("/")[1]]


@pytest.mark.parametrize("who", ["otto", "fern"])
def test_5c_8_who_has_no_training_or_is_under_18_neither_mixes_nor_sprays(farm, who):
    path = spray_of(farm)
    farm.dottie.patch(path, {"handlers": [farm.workers[who]]})

    refused = farm.dottie.act(path, "issue")

    assert codes(refused) == ["worker_not_qualified"]
    detail = refused.json()["errors"][0]["detail"].lower()
    assert "adult" not in detail and "18" not in detail and "training" not in detail


def test_5c_9_still_air_under_a_clear_sky_warns_of_an_inversion_and_four_miles_go(farm, clock):
    clock.set("2026-12-05 07:00")
    still = {"wind": q("1", "mph"), "inversion": True, "temperature": q("45", "degF")}
    light = {"wind": q("4", "mph"), "temperature": q("50", "degF")}

    early, later = (
        farm.report("stone", "hose", farm.mix(SOAP), HALF_A_GALLON, weather=weather)
        for weather in (still, light)
    )

    assert any("inversion" in one or "calm" in one or "below" in one for one in findings(early))
    assert not any("inversion" in one for one in findings(later, "stop"))


def test_5c_9_a_jogger_pauses_the_work_and_both_times_are_kept(farm, clock):
    clock.set("2026-12-05 09:00")
    path = spray_of(farm)
    farm.begun(farm.nia, path, wind=q("4", "mph"))
    clock.set("2026-12-05 09:40")
    held = farm.do(farm.nia, path, "hold", {"reason": "people", "note": "jogger on the path at 6 m"})
    clock.set("2026-12-05 09:46")
    farm.do(farm.nia, path, "resume")
    load = {"number": 1, "spray": q("6", "gal"), "products": [{"product": farm.product("P5")}]}
    farm.do(farm.nia, path, "record_load", load)
    done = farm.do(farm.nia, path, "finish", {"nothing_unusual": True})

    [pause] = farm.dottie.get(f"application-records/{done['application_record']}").json()["pauses"]
    sheet = farm.nia.get(f"{path}/tank-sheet").json()

    assert held["held_reason"] == "people"
    assert (pause["at"][11:16], pause["until"][11:16]) in (("09:40", "09:46"), ("17:40", "17:46"))
    zone = next(line for line in sheet["cautions"] if "25 ft" in line)
    assert "100 ft if the drops are finer" in zone


def test_5c_10_the_sheet_asks_for_the_backflow_preventer(farm):
    path = spray_of(farm)
    farm.do(farm.dottie, path, "issue")

    sheet = farm.nia.get(f"{path}/tank-sheet").json()

    assert any("backflow preventer" in line for line in sheet["cautions"])


def test_5c_11_the_card_tells_whom_to_call_and_where_and_the_gate_code_stays_with_the_farms_people(farm):
    text, code = "Poison centre 1-800-222-1222. Clover Lane 3.", "4711 star"
    assert farm.head.patch("", {"emergency": text, "gate_code": code}).status_code == 200
    path = spray_of(farm)
    farm.do(farm.dottie, path, "issue")
    nia = at_the_pages(member(farm.farm, "crew_lead"))
    card = f"/farms/{farm.farm.id}/emergency"

    sheet = farm.nia.get(f"{path}/tank-sheet").json()
    public = [
        nia.get(card).content,
        *(
            farm.nia.get(one).content
            for one in (
                f"{path}/tank-sheet",
                "posting-notice",
                "emergency-list",
                "emergency-list.html",
                "day-bundle",
            )
        ),
    ]

    assert sheet["emergency"] == text and text in strip_tags(nia.get(card).content.decode())
    assert [code.encode() in one for one in public] == [False] * len(public)
    assert farm.nia.get("").json()["gate_code"] == code
    assert code in nia.get(f"/farms/{farm.farm.id}/today").content.decode()
    nobody = Client()
    assert nobody.get(farm.nia.at("")).status_code == 401
    assert nobody.get(f"/farms/{farm.farm.id}/today").url.startswith("/sign-in")


def test_5c_12_a_paper_card_entered_four_days_later_keeps_its_own_day_and_is_in_time(farm, clock):
    clock.set("2026-12-09 18:00")
    body = {
        "block": farm.blocks["stone"],
        "sprayer": farm.sprayers["hose"],
        "started_at": clock.moment("2026-12-05 09:00"),
        "finished_at": clock.moment("2026-12-05 10:40"),
        "spray": {"total": q("6", "gal"), "trees": 12},
        "products": [
            {"product": farm.product("P5"), "amount": q("12", "fl_oz"), "rate": q("2", "fl_oz/gal")}
        ],
        "stage": {"bbch": 97},
        "nothing_unusual": True,
    }

    record = farm.made(farm.dottie, "application-records", body)

    assert record["finished_at"] == "2026-12-05T10:40:00-08:00"
    assert record["received_at"] == "2026-12-09T18:00:00-08:00"
    assert "late_entry" not in [flag["code"] for flag in record["flags"]]
