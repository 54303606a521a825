"""What the manager needs, need by need, shown over HTTP."""

import csv
import io
from decimal import Decimal

import pytest

from orchard.farms.models import AuditEntry
from tests.api.routes import routes
from tests.callers import Caller, codes
from tests.clock import Clock
from tests.factories import FarmFactory
from tests.invented.farm import Invented, findings, q, table, total

pytestmark = pytest.mark.django_db
TREES = {"volume_per_tree": q("1.4", "gal")}
COPPER, OIL = ("P1", "1.0", "oz_wt/gal"), ("P2", "1", "percent_vv")
TOO_MUCH = ("P1", "1.2", "oz_wt/gal")


@pytest.fixture
def clock(monkeypatch):
    return Clock(monkeypatch, "2026-12-18 08:00")


@pytest.fixture
def farm(clock):
    made = Invented("lowbell_hollow", clock)
    for block in made.blocks:
        made.look(block, 97, "96")
    return made


def spray_of(farm, *parts, block="A2", **more):
    order = {"products": farm.mix(*parts), "spray": TREES, "targets": ["leaf curl"], **more}
    return farm.order("spray", block, "S-50", **order)


def copper_on_a2(farm):
    path = spray_of(farm, COPPER)
    farm.begun(farm.teo, path)
    farm.mix_all(farm.teo, path)
    return farm.do(farm.teo, path, "finish", {"nothing_unusual": True})


def test_m1_a_plan_by_leaf_drop_holds_the_order_and_names_what_was_seen(farm):
    line = {"title": "Leaf fall", "kind": "spray", "crops": ["peach"], "leaf_drop_minimum_percent": "97"}
    season = {"name": "Winter", "from": "2026-11-01", "until": "2027-05-31", "lines": [line]}
    plan = farm.made(farm.pim, "programmes", season)
    seen = farm.look("A2", 95, "55")

    refused = farm.pim.act(spray_of(farm, COPPER, programme=plan["id"], line=plan["lines"][0]["id"]), "issue")

    assert codes(refused) == ["stage_condition_unmet"]
    assert refused.json()["errors"][0]["refers_to"] == {"kind": "stage_observation", "id": seen}


def test_m2_one_verdict_with_every_rule_and_its_source_and_the_same_again(farm):
    first = farm.report("A2", "S-50", farm.mix(TOO_MUCH, OIL), TREES)
    again = farm.report("A2", "S-50", farm.mix(TOO_MUCH, OIL), TREES)

    assert first == again
    assert first["verdict"] == "stop"
    for one in first["findings"]:
        assert one["basis"] in ("label", "regulation", "published", "practice")
        assert isinstance(one["may_be_overridden"], bool)
        if one["basis"] == "published":
            assert one["source"]["title"] and one["source"]["publisher"]


def unknown_to_all(farm):
    label = {
        "name": "Seaweed extract SL",
        "formulation": "SL",
        "active_ingredients": [{"name": "seaweed extract", "content": q("10", "percent_ww")}],
        "uses": [{"crops": ["peach"], "rate": {"maximum": q("1", "percent_vv")}}],
    }
    made = farm.made(farm.odalys, "products", {"name": label["name"], "stock_unit": "fl_oz"})["id"]
    farm.made(farm.odalys, f"products/{made}/labels", {"label": label, "effective_from": "2026-01-01"})
    return {"product": made, "rate": q("0.5", "percent_vv")}


def test_m3_a_pair_that_nobody_has_tried_is_never_called_fine(farm):
    report = farm.report("A2", "S-50", [*farm.mix(COPPER), unknown_to_all(farm)], TREES)

    unknown = [one for one in report["findings"] if "unknown" in one["id"] or "untested" in one["id"]]
    assert report["verdict"] != "ok"
    assert unknown and report["jar_test"]["needed"] is True


def test_m4_hard_stops_stay_hard_and_each_try_is_on_record(farm, clock):
    clock.set("2027-02-13 10:00")
    farm.look("A2", 57)
    path = spray_of(farm, COPPER)
    check = farm.check("A2", "S-50", farm.mix(COPPER), TREES).json()
    stop = next(one for one in check["report"]["findings"] if one["severity"] == "stop")
    body = {
        "mix_check": check["id"],
        "finding": stop["id"],
        "products": stop["products"],
        "reason": "we always did it",
        "reference": "nobody",
    }

    for who in (farm.pim, farm.head):
        assert codes(who.post("overrides", body)) == ["not_overridable"]
        assert "mix_stop" in codes(who.act(path, "issue"))

    tries = farm.pim.get("audit?outcome=refused").json()["items"]
    assert {(one["resource"], one["codes"][0]) for one in tries} == {
        ("override", "not_overridable"),
        ("work_order", "mix_stop"),
    }
    assert {one["by"]["role"] for one in tries} == {"manager", "owner"}


@pytest.mark.parametrize("what", ["expired", "wrong crop"])
def test_m4_nobody_issues_expired_stock_or_a_crop_that_is_not_on_the_label(farm, what):
    if what == "expired":
        for number in ("C-2201", "C-2305"):
            farm.odalys.patch(f"lots/{farm.lots[number]}", {"expires_on": "2026-12-17"})
        path, code = spray_of(farm, COPPER), "stock_short"
    else:
        farm.receive("P6", "BT-1", q("2", "lb"))
        path, code = spray_of(farm, ("P6", "0.5", "oz_wt/gal"), block="A1"), "mix_stop"

    answers = [who.act(path, "issue") for who in (farm.pim, farm.head)]

    assert all(answer.status_code == 409 and code in codes(answer) for answer in answers)


FROST = {"minimum_next_24h": q("31", "degF"), "temperature": q("52", "degF"), "wind": q("5", "mph")}


def test_m5_a_published_stop_is_taken_on_with_a_name_a_reason_and_a_reference(farm):
    weather = {**FROST, "rain_within_h": "60", "humidity_percent": "60"}
    check = farm.check("A2", "S-50", farm.mix(COPPER, OIL), TREES, weather=weather).json()
    stop = next(one for one in check["report"]["findings"] if one["may_be_overridden"])
    body = {
        "mix_check": check["id"],
        "finding": stop["id"],
        "products": stop["products"],
        "reference": "adviser Fennimoor, by phone",
    }

    short = [farm.pim.post("overrides", {**body, "reason": reason}) for reason in ("", " ", "x")]
    taken = farm.made(farm.pim, "overrides", {**body, "reason": "the frost will not reach the slope"})

    assert all(answer.status_code == 422 for answer in short)
    assert taken["created_by"]["name"] == "manager token" and taken["created_at"]
    assert farm.pim.get(f"mix-checks/{check['id']}").json()["overrides"] == [taken["id"]]
    kept = AuditEntry.objects.get(farm=farm.farm, resource="override", outcome="done")
    assert kept.after["reason"] == "the frost will not reach the slope"


def test_m6_the_dose_is_judged_by_the_gallon_and_by_the_acre_with_both_numbers(farm):
    report = farm.report("A2", "S-50", farm.mix(TOO_MUCH), TREES)

    [stop] = [one for one in report["findings"] if one["severity"] == "stop"]
    assert stop["id"] == "label.rate-above-maximum"
    assert "14.117 lb/acre" in stop["says"] and "12 lb/acre" in stop["says"]
    assert "1.2 oz_wt/gal" in stop["says"]  # and no stop by the gallon: 1.6 are allowed
    assert total(report, farm.product("P1"))["per_area"]["unit"] == "oz_wt/acre"


def test_m6_the_season_of_the_metal_counts_too(farm, clock):
    copper_on_a2(farm)
    clock.set("2027-01-05 10:00")
    farm.look("A2", 0)

    [year] = farm.report("A2", "S-50", farm.mix(COPPER), TREES)["year"]

    assert year["of"] == "copper" and year["maximum"] == q("18", "lb/acre")
    used, after = (Decimal(year[name]["value"]) for name in ("used", "after"))
    assert (round(used, 2), round(after, 2)) == (Decimal("3.53"), Decimal("7.06"))


def test_m7_what_is_late_or_runs_out_is_one_list_and_each_row_leads_to_its_thing(farm, clock):
    line = {"title": "Leaf-fall copper", "kind": "spray", "crops": ["peach"], "stage": {"from": 93, "to": 0}}
    season = {"name": "Winter", "from": "2026-11-01", "until": "2027-05-31", "lines": [line]}
    plan = farm.made(farm.pim, "programmes", season)
    late = spray_of(farm, COPPER)
    clock.set("2027-02-20 09:00")
    seen = farm.look("A2", 57)
    test = {"kind": "respirator_fit_test", "obtained_on": "2026-03-01", "expires_on": "2027-02-28"}
    fitted = farm.made(farm.head, f"workers/{farm.workers['teo']}/qualifications", test)
    measured = {"on": "2026-03-01", "due_on": "2027-03-01"}
    sprayer = farm.made(farm.head, "sprayers", {"name": "BP-8", "kind": "backpack", "tank": q("4", "gal")})
    farm.made(farm.head, f"sprayers/{sprayer['id']}/calibrations", measured)

    rows = farm.pim.get("attention?days=14").json()["items"]

    found = {(one["code"], one["refers_to"]["id"]): one for one in rows}
    missed = [one for one in rows if one["code"] == "line_missed" and one["refers_to"]["id"] == plan["id"]]
    assert seen in [one["because_of"]["id"] for one in missed]
    assert ("order_overdue", late.split("/")[1]) in found
    assert ("lot_expiring", farm.lots["C-2201"]) in found
    assert ("calibration_due", sprayer["id"]) in found
    assert ("qualification_expiring", fitted["id"]) in found
    for one in rows:
        assert farm.pim.get(one["url"]).status_code == 200, one
    in_spanish = farm.pim.get("attention?days=14", accept_language="es").json()["items"]
    assert [one["code"] for one in in_spanish] == [one["code"] for one in rows]
    assert not {one["says"] for one in in_spanish} & {one["says"] for one in rows}
    for_the_crew = farm.wren.get("attention?days=14").json()["items"]
    assert "qualification_expiring" not in {one["code"] for one in for_the_crew}


def test_m7_what_ended_is_told_as_past_and_what_ends_as_to_come(farm, clock):
    test = {"kind": "respirator_fit_test", "obtained_on": "2026-03-01", "expires_on": "2027-02-28"}
    farm.made(farm.head, f"workers/{farm.workers['teo']}/qualifications", test)
    sprayer = farm.made(farm.head, "sprayers", {"name": "BP-8", "kind": "backpack", "tank": q("4", "gal")})
    measured = {"on": "2026-03-01", "due_on": "2027-02-28"}
    farm.made(farm.head, f"sprayers/{sprayer['id']}/calibrations", measured)

    clock.set("2027-02-28 09:00")
    on_the_day = {one["code"]: one["says"] for one in farm.pim.get("attention").json()["items"]}
    clock.set("2027-03-01 09:00")
    after = {one["code"]: one["says"] for one in farm.pim.get("attention").json()["items"]}

    assert "ends on 2027-02-28" in on_the_day["qualification_expiring"]
    assert on_the_day["calibration_due"] == "BP-8 is to be calibrated by 2027-02-28"
    assert "ended on 2027-02-28" in after["qualification_expiring"]
    assert after["calibration_due"] == "BP-8 was to be calibrated by 2027-02-28"


def test_m7_the_lists_filter_by_what_is_due(farm, clock):
    late = spray_of(farm, COPPER)
    clock.set("2027-02-20 09:00")

    overdue = farm.pim.get("work-orders?overdue=true").json()["items"]
    lots = farm.pim.get("lots?expires_before=2027-03-15").json()["items"]

    assert [one["id"] for one in overdue] == [late.split("/")[1]]
    assert [one["number"] for one in lots] == ["C-2201"]
    assert len(farm.pim.get("sprayers?calibration_due_before=2028-02-01").json()["items"]) == 2
    assert len(farm.pim.get("workers?qualification_expires_before=2028-02-01").json()["items"]) == 3


def test_m8_other_work_in_re_entry_and_a_picking_too_soon_are_refused_with_the_first_moment(farm, clock):
    label = table("products")["P1"]["label"]
    label["uses"] = [{**use, "pre_harvest": q("21", "d")} for use in label["uses"]]
    newer = {"label": label, "effective_from": "2026-12-01"}
    farm.made(farm.odalys, f"products/{farm.product('P1')}/labels", newer)
    done = copper_on_a2(farm)
    prune = farm.order("leaf_removal", "A2", starts_at=clock.moment("2026-12-19 09:00"))

    entry = farm.pim.act(prune, "issue")
    block = f"blocks/{farm.blocks['A2']}"
    picking = farm.pim.patch(block, {"harvest_from": "2027-01-07"})

    assert codes(entry) == ["block_in_re_entry"]
    assert entry.json()["errors"][0]["earliest"] == done["re_entry_until"]
    assert codes(picking) == ["pre_harvest"]
    assert picking.json()["errors"][0]["earliest"] == "2027-01-08"
    assert farm.pim.patch(block, {"harvest_from": "2027-01-08"}).status_code == 200


def test_m9_the_month_is_the_sum_of_the_records_that_stand_and_a_correction_is_a_new_version(farm, clock):
    done = copper_on_a2(farm)
    first = farm.pim.get("use-reports?month=2026-12").json()
    as_of = clock.moment()
    clock.set("2026-12-28 09:00")
    record = done["application_record"]
    less = {"products": [{"product": farm.product("P1"), "amount": q("190", "oz_wt")}]}
    farm.pim.act(f"application-records/{record}", "correct", {"reason": "weighed back", "changes": less})

    second = farm.pim.get("use-reports?month=2026-12").json()

    [row] = first["items"]
    assert (first["version"], first["due_on"], row["amount"]) == (1, "2027-01-10", q("196", "oz_wt"))
    assert (row["block"], row["product"]) == (farm.blocks["A2"], farm.product("P1"))
    assert (second["version"], second["items"][0]["amount"]) == (2, q("190", "oz_wt"))
    [amended] = second["amendments"]
    assert (amended["kind"], amended["corrects"], amended["reason"]) == ("correction", record, "weighed back")
    then = farm.pim.call("GET", f"use-reports?month=2026-12&as_of={as_of.replace('+', '%2B')}").json()
    assert (then["version"], then["items"]) == (1, first["items"])
    [line] = csv.DictReader(io.StringIO(farm.pim.get("use-reports.csv?month=2026-12").content.decode()))
    assert (line["amount_value"], line["amount_unit"], line["version"]) == ("190", "oz_wt", "2")
    assert codes(farm.pim.get("use-reports?month=2026-13")) == ["invalid"]


def test_m9_a_voided_spray_is_in_no_sum(farm):
    done = copper_on_a2(farm)

    farm.pim.act(f"application-records/{done['application_record']}", "void", {"reason": "another block"})

    report = farm.pim.get("use-reports?month=2026-12").json()
    assert (report["items"], report["version"]) == ([], 2)


def test_m10_another_farms_things_are_not_there_on_any_address(farm):
    stranger = Caller(FarmFactory(), "owner")

    for route in routes():
        if "<uuid:farm>" in route.pattern:
            path = route.path(farm.farm.id)
            assert stranger.call(route.method, path, None if route.method == "GET" else {}).status_code == 404
    mine = f"/api/v1/farms/{stranger.farm.id}"
    assert stranger.get(f"{mine}/blocks/{farm.blocks['A2']}").status_code == 404
    assert stranger.get(f"{mine}/work-orders?block={farm.blocks['A2']}").json()["items"] == []


def test_m11_a_void_gives_the_lots_back_keeps_both_rows_and_happens_once(farm):
    before = farm.lot("C-2201"), farm.lot("C-2305")
    done = copper_on_a2(farm)
    path = f"application-records/{done['application_record']}"

    voided = farm.pim.act(path, "void", {"reason": "it was another block"})
    again = farm.pim.act(path, "void", {"reason": "again"})

    assert voided.status_code == 201
    assert (farm.lot("C-2201"), farm.lot("C-2305")) == before
    assert (again.status_code, codes(again)) == (409, ["already_void"])
    rows = farm.pim.get("application-records").json()["items"]
    assert [(one["kind"], one["status"]) for one in rows] == [("application", "void"), ("void", "void")]
    assert farm.block("A2")["re_entry_until"] is None
    assert findings(farm.report("A2", "S-50", farm.mix(COPPER), TREES), "stop") == []


def test_m12_a_season_closes_only_when_nothing_of_it_is_open_and_says_what_is(farm):
    line = {"title": "Leaf-fall copper", "kind": "spray", "crops": ["peach"], "stage": {"from": 93, "to": 0}}
    season = {"name": "Winter", "from": "2026-11-01", "until": "2027-05-31", "lines": [line]}
    plan = farm.made(farm.pim, "programmes", season)
    path = spray_of(farm, COPPER, programme=plan["id"], line=plan["lines"][0]["id"])
    farm.do(farm.pim, path, "issue")
    counts = [{"lot": farm.lots["O-1"], "counted": q("2.5", "gal")}]
    count = farm.made(farm.odalys, "stocktakes", {"counts": counts})

    refused = farm.pim.act(f"programmes/{plan['id']}", "close")

    assert set(codes(refused)) == {"season_open"}
    named = {(one["refers_to"]["kind"], one["refers_to"]["id"]) for one in refused.json()["errors"]}
    assert {("work_order", path.split("/")[1]), ("stocktake", count["id"])} <= named
    assert "reservation" in {kind for kind, _ in named}
    farm.do(farm.pim, path, "cancel", {"reason": "the season is over"})
    farm.do(farm.odalys, f"stocktakes/{count['id']}", "post")
    assert farm.pim.act(f"programmes/{plan['id']}", "close").json()["status"] == "closed"
