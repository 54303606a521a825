"""A winter on 1.74 acres of peach and nectarine: twelve answers, each to the last digit, over HTTP."""

from decimal import ROUND_HALF_EVEN, Decimal

import pytest

from scheduling import outbox
from tests.callers import codes
from tests.clock import Clock
from tests.invented.farm import CALM, Invented, findings, q, total

pytestmark = pytest.mark.django_db
VOLUMES = {"A1": ("S-50", "1.25"), "A2": ("S-50", "1.40"), "A3": ("BP-4", "0.40")}
CUT = (("P1", "1.0", "oz_wt/gal"), ("P2", "1", "percent_vv"))
FIRST_TRY = (("P1", "1.2", "oz_wt/gal"), ("P2", "1", "percent_vv"))


@pytest.fixture
def clock(monkeypatch):
    return Clock(monkeypatch, "2026-12-03 09:00")


@pytest.fixture
def farm(clock):
    return Invented("lowbell_hollow", clock)


def leaves_are_down(farm):
    for block, percent in (("A1", "92"), ("A2", "96"), ("A3", "98")):
        farm.look(block, 97, percent)


def tree_spray(block):
    return {"volume_per_tree": q(VOLUMES[block][1], "gal")}


def a_spray(farm, block):
    return {"products": farm.mix(*CUT), "spray": tree_spray(block), "targets": ["leaf curl"]}


def checked(farm, block, recipe):
    return farm.report(block, VOLUMES[block][0], farm.mix(*recipe), tree_spray(block), targets=["leaf curl"])


def pounds_an_acre(report, product):
    rate = total(report, product)["per_area"]
    assert rate["unit"] == "oz_wt/acre"
    return str((Decimal(rate["value"]) / 16).quantize(Decimal("0.01"), rounding=ROUND_HALF_EVEN))


def copper_an_acre(report, product):
    return str((Decimal(pounds_of(report, product)) * Decimal("0.30")).quantize(Decimal("0.01")))


def pounds_of(report, product):
    return Decimal(total(report, product)["per_area"]["value"]) / 16


def test_5a_the_ground_of_each_block_follows_from_its_trees(farm):
    found = {key: farm.block(key)["area"] for key in farm.blocks}

    assert found == {"A1": q("0.6347", "acre"), "A2": q("1.0413", "acre"), "A3": q("0.062", "acre")}


def test_5a_each_block_takes_its_spray_in_whole_tanks_and_a_rest(farm):
    leaves_are_down(farm)

    loads = {
        block: [one["spray"]["value"] for one in checked(farm, block, CUT)["loads"]] for block in farm.blocks
    }

    assert loads == {"A1": ["50", "50", "20"], "A2": ["50", "50", "50", "46"], "A3": ["4", "0.8"]}


def test_5a_1_blocks_whose_leaves_hang_on_are_held_by_the_plan_and_the_other_may_go(farm):
    seen = {block: farm.look(block, 95, drop) for block, drop in (("A1", "55"), ("A2", "80"), ("A3", "95"))}
    line = {
        "title": "Leaf-fall copper",
        "kind": "spray",
        "crops": ["peach", "nectarine"],
        "leaf_drop_minimum_percent": "90",
        "products": farm.mix(*CUT),
    }
    season = {"name": "Winter", "from": "2026-11-01", "until": "2027-05-31", "lines": [line]}
    plan = farm.made(farm.pim, "programmes", season)
    answers = {}
    for block, (sprayer, _) in VOLUMES.items():
        more = {"programme": plan["id"], "line": plan["lines"][0]["id"], "products": farm.mix(*CUT)}
        path = farm.order("spray", block, sprayer, spray=tree_spray(block), targets=["leaf curl"], **more)
        answers[block] = farm.pim.act(path, "issue")

    assert {block: answer.status_code for block, answer in answers.items()} == {
        "A1": 409,
        "A2": 409,
        "A3": 200,
    }
    for block in ("A1", "A2"):
        [fault] = answers[block].json()["errors"]
        assert fault["code"] == "stage_condition_unmet"
        assert fault["refers_to"] == {"kind": "stage_observation", "id": seen[block]}


def test_5a_2_the_first_recipe_passes_by_the_gallon_and_fails_by_the_acre(farm, clock):
    clock.set("2026-12-12 10:00")
    leaves_are_down(farm)
    copper = farm.product("P1")

    reports = {block: checked(farm, block, FIRST_TRY) for block in farm.blocks}

    assert {block: total(report, copper)["exact"] for block, report in reports.items()} == {
        "A1": q("144", "oz_wt"),  # 9.0 lb
        "A2": q("235.2", "oz_wt"),  # 14.7 lb
        "A3": q("5.76", "oz_wt"),
    }
    assert {block: pounds_an_acre(report, copper) for block, report in reports.items()} == {
        "A1": "14.18",
        "A2": "14.12",
        "A3": "5.81",
    }
    for block in ("A1", "A2"):
        assert findings(reports[block], "stop") == ["label.rate-above-maximum"]
        [stop] = [one for one in reports[block]["findings"] if one["severity"] == "stop"]
        assert "12 lb" in stop["says"]
    assert findings(reports["A3"], "stop") == []


def test_5a_3_the_recipe_that_was_cut_passes_everywhere(farm, clock):
    clock.set("2026-12-12 10:00")
    leaves_are_down(farm)
    copper = farm.product("P1")

    reports = {block: checked(farm, block, CUT) for block in farm.blocks}

    assert [findings(report, "stop") for report in reports.values()] == [[], [], []]
    assert {block: total(report, copper)["exact"]["value"] for block, report in reports.items()} == {
        "A1": "120",  # 7.5 lb
        "A2": "196",  # 12.25 lb
        "A3": "4.8",
    }
    assert {block: pounds_an_acre(report, copper) for block, report in reports.items()} == {
        "A1": "11.82",
        "A2": "11.76",
        "A3": "4.84",
    }
    metal = {block: (pounds_of(report, copper) * 3 / 10) for block, report in reports.items()}
    assert {block: str(value.quantize(Decimal("0.01"))) for block, value in metal.items()} == {
        "A1": "3.54",
        "A2": "3.53",
        "A3": "1.45",
    }


def planned_everywhere(farm):
    leaves_are_down(farm)
    for block, (sprayer, _) in VOLUMES.items():
        farm.order(
            "spray", block, sprayer, products=farm.mix(*CUT), spray=tree_spray(block), targets=["leaf curl"]
        )


def test_5a_4_what_is_needed_what_is_there_and_what_is_to_be_bought(farm, clock):
    clock.set("2026-12-12 10:00")
    planned_everywhere(farm)

    rows = {one["product"]: one for one in farm.odalys.get("purchase-needs?all=true").json()["items"]}

    copper, oil = rows[farm.product("P1")], rows[farm.product("P2")]
    assert (copper["needed"], copper["short"]) == (q("20.05", "lb"), q("0", "lb"))
    assert (oil["needed"], oil["on_hand"], oil["short"]) == (
        q("3.208", "gal"),
        q("2.5", "gal"),
        q("0.708", "gal"),
    )


def test_5a_4_the_lot_that_expires_first_is_taken_first(farm, clock):
    clock.set("2026-12-12 10:00")
    leaves_are_down(farm)
    path = farm.order(
        "spray",
        "A2",
        "S-50",
        products=farm.mix(("P1", "1.0", "oz_wt/gal")),
        spray={"total": q("320.8", "gal"), "area": q("1.74", "acre")},
        targets=["leaf curl"],
    )

    issued = farm.do(farm.pim, path, "issue")

    assert {row["lot"]: row["quantity"] for row in issued["reservations"]} == {
        farm.lots["C-2201"]: q("9.5", "lb"),
        farm.lots["C-2305"]: q("10.55", "lb"),
    }


def test_5a_5_the_last_load_gets_its_own_amounts_and_oil_goes_in_last(farm, clock):
    clock.set("2026-12-12 10:00")
    leaves_are_down(farm)
    copper, oil = farm.product("P1"), farm.product("P2")

    report = checked(farm, "A2", CUT)

    amounts = [{one["id"]: one["exact"] for one in load["products"]} for load in report["loads"]]
    full = {copper: q("50", "oz_wt"), oil: q("64", "fl_oz")}
    assert amounts == [full, full, full, {copper: q("46", "oz_wt"), oil: q("58.88", "fl_oz")}]
    measured = [
        next(one["measure"] for one in load["products"] if one["id"] == copper) for load in report["loads"]
    ]
    assert measured[0] == [q("3", "lb"), q("2", "oz_wt")]
    assert measured[3] == [q("2", "lb"), q("14", "oz_wt")]
    over = (Decimal(50) / Decimal(46) - 1) * 100
    assert str(over.quantize(Decimal("0.1"))) == "8.7"  # what copying the full recipe would have been off by
    added = [step["product"] for step in report["order"] if step["action"] == "add"]
    assert added == [copper, oil]
    steps = [step["action"] for step in report["order"]]
    assert steps[0] == "fill" and steps.index("agitate") < len(steps) - 1 - steps[::-1].index("add")


DAYS = {
    "frost": ("2026-12-13 10:00", {"minimum_next_24h": q("31", "degF")}),
    "rain": ("2026-12-15 10:00", {"wind": q("4", "mph"), "rain_within_h": "20"}),
    "fine": (
        "2026-12-18 10:00",
        {"wind": q("5", "mph"), "minimum_next_24h": q("41", "degF"), "rain_within_h": "60"},
    ),
}


@pytest.mark.parametrize(("day", "goes"), [("frost", False), ("rain", False), ("fine", True)])
def test_5a_6_frost_to_come_and_rain_to_come_close_the_day_and_a_fine_one_opens_it(farm, clock, day, goes):
    clock.set(DAYS[day][0])
    leaves_are_down(farm)
    farm.receive("P2", "O-2", q("2.5", "gal"))
    path = farm.order(
        "spray", "A2", "S-50", products=farm.mix(*CUT), spray=tree_spray("A2"), targets=["leaf curl"]
    )
    farm.do(farm.pim, path, "issue")
    farm.do(farm.teo, path, "accept")

    answer = farm.teo.act(path, "start", {"observed": {**CALM, **DAYS[day][1]}})

    if goes:
        assert (answer.status_code, answer.json()["status"]) == (200, "under_way")
    else:
        assert answer.status_code == 409 and set(codes(answer)) == {"mix_stop"}
        found = [one["finding"]["id"] for one in answer.json()["errors"]]
        assert any(day in one or "freez" in one for one in found), found
        assert farm.pim.get(path).json()["status"] == "accepted"


def sprayed_a1_and_a3(farm):
    """Spray the two other blocks as planned, so that the leftover of A2 meets what they had."""
    farm.receive("P2", "O-2", q("2.5", "gal"))
    for block in ("A1", "A3"):
        sprayer = VOLUMES[block][0]
        farm.spray(farm.teo, block, sprayer, farm.mix(*CUT), tree_spray(block))
        farm.wash(farm.teo, sprayer)


def a2_with_eight_gallons_left(farm):
    path = farm.order(
        "spray", "A2", "S-50", products=farm.mix(*CUT), spray=tree_spray("A2"), targets=["leaf curl"]
    )
    farm.begun(farm.teo, path)
    farm.mix_all(farm.teo, path)
    return path


def ended(path, farm, block, **more):
    leftover = {"volume": q("8", "gal"), "fate": "sprayed_out", "block": farm.blocks[block]}
    body = {"nothing_unusual": True, "sprayed": q("188", "gal"), "leftover": leftover, **more}
    return farm.teo.act(path, "finish", body)


def test_5a_7_eight_gallons_left_go_back_on_a2_and_nowhere_else(farm, clock):
    clock.set("2026-12-18 08:00")
    leaves_are_down(farm)
    sprayed_a1_and_a3(farm)
    path = a2_with_eight_gallons_left(farm)

    refused = {block: ended(path, farm, block) for block in ("A1", "A3")}
    said = {block: stop_of_leftover(farm, path, block) for block in ("A1", "A3")}
    allowed = ended(path, farm, "A2")

    assert {block: (one.status_code, set(codes(one))) for block, one in refused.items()} == {
        "A1": (409, {"mix_stop"}),
        "A3": (409, {"mix_stop"}),
    }
    assert "(12.604 lb/acre)" in said["A1"]  # 7.5 and 0.5 lb on 0.6347 acre: 12.60
    assert (
        "(12.907 lb/acre)" in said["A3"]
    )  # 12.8 oz on 0.0620 acre: 12.90, and 12.91 on the unrounded ground
    assert allowed.status_code == 200
    record = farm.pim.get(f"application-records/{allowed.json()['application_record']}").json()
    copper = next(one for one in record["products"] if one["product"] == farm.product("P1"))
    assert copper["amount"] == q("196", "oz_wt")
    assert (Decimal(copper["per_area"]["value"]) / 16).quantize(Decimal("0.01")) == Decimal("11.76")


def stop_of_leftover(farm, path, block):
    body = {
        "leftover_of": path.split("/")[1],
        "block": farm.blocks[block],
        "sprayer": farm.sprayers["S-50"],
        "spray": {"total": q("8", "gal")},
        "at": farm.clock.moment(),
    }
    report = farm.made(farm.pim, "mix-checks", body)["report"]
    [stop] = [one for one in report["findings"] if one["severity"] == "stop"]
    return stop["says"]


def test_5a_8_two_people_tell_of_one_end_and_it_counts_once(farm, clock):
    clock.set("2026-12-18 08:00")
    leaves_are_down(farm)
    farm.receive("P2", "O-2", q("2.5", "gal"))
    path = a2_with_eight_gallons_left(farm)
    first = "019d0000-0000-7000-8000-000000000001"
    other = "019d0000-0000-7000-8000-000000000002"

    told = farm.wren.act(path, "finish", {"id": first, "nothing_unusual": True})
    again = farm.wren.act(path, "finish", {"id": first, "nothing_unusual": True})
    clock.wait(minutes=4)
    later = farm.teo.act(path, "finish", {"id": other, "nothing_unusual": True})
    outbox.drain(now=clock.now)

    assert (told.status_code, again.status_code, later.status_code) == (200, 200, 409)
    assert codes(later) == ["possible_duplicate"]
    order = farm.pim.get(path).json()
    assert [one["id"] for one in order["possible_duplicates"]] == [other]
    assert len(farm.pim.get("application-records").json()["items"]) == 1
    used = farm.odalys.get(f"stock-movements?kind=use&product={farm.product('P1')}").json()["items"]
    assert sum(Decimal(one["change_base"]["value"]) for one in used) == -Decimal("12.25") * Decimal(
        "453.59237"
    )


def test_5a_9_the_tank_is_washed_before_it_is_given_out_again(farm, clock):
    clock.set("2026-12-18 08:00")
    leaves_are_down(farm)
    farm.receive("P2", "O-2", q("2.5", "gal"))
    farm.do(farm.teo, a2_with_eight_gallons_left(farm), "finish", {"nothing_unusual": True})
    clock.set("2026-12-19 08:00")
    path = farm.order(
        "spray", "A1", "S-50", products=farm.mix(*CUT), spray=tree_spray("A1"), targets=["leaf curl"]
    )

    refused = farm.pim.act(path, "issue")
    farm.wash(farm.teo, "S-50")

    assert refused.status_code == 409 and "sprayer_not_clean" in codes(refused)
    assert farm.pim.get(f"sprayers/{farm.sprayers['S-50']}").json()["residue"] == []
    assert farm.pim.act(path, "issue").status_code == 200


def test_5a_10_nobody_prunes_before_the_two_days_are_over(farm, clock):
    clock.set("2026-12-18 10:00")
    leaves_are_down(farm)
    farm.receive("P2", "O-2", q("2.5", "gal"))
    path = a2_with_eight_gallons_left(farm)
    clock.set("2026-12-18 14:20")
    done = farm.do(farm.teo, path, "finish", {"nothing_unusual": True})
    early = farm.order("leaf_removal", "A2", starts_at=clock.moment("2026-12-19 09:00"))

    refused = farm.pim.act(early, "issue")

    assert done["re_entry_until"] == "2026-12-20T14:20:00-08:00"
    assert codes(refused) == ["block_in_re_entry"]
    assert refused.json()["errors"][0]["earliest"] == "2026-12-20T14:20:00-08:00"
    in_time = farm.order("leaf_removal", "A2", starts_at=clock.moment("2026-12-20 14:20"))
    assert farm.pim.act(in_time, "issue").status_code == 200


def test_5a_11_copper_at_bud_colour_is_refused_for_every_role(farm, clock):
    clock.set("2027-02-06 10:00")
    for block in ("A1", "A2"):
        farm.look(block, 51)
    assert findings(checked(farm, "A1", CUT), "stop") == []

    clock.set("2027-02-13 10:00")
    farm.look("A1", 57)
    farm.receive("P2", "O-2", q("2.5", "gal"))
    answer = farm.check("A1", "S-50", farm.mix(*CUT), tree_spray("A1"))
    stop = next(one for one in answer.json()["report"]["findings"] if one["id"] == "label.stage")
    path = farm.order(
        "spray", "A1", "S-50", products=farm.mix(*CUT), spray=tree_spray("A1"), targets=["leaf curl"]
    )
    take_it = {
        "mix_check": answer.json()["id"],
        "finding": stop["id"],
        "products": stop["products"],
        "reason": "the buds are hardly pink",
        "reference": "adviser",
    }

    assert stop["may_be_overridden"] is False
    assert codes(farm.head.post("overrides", take_it)) == ["not_overridable"]
    assert codes(farm.pim.post("overrides", take_it)) == ["not_overridable"]
    assert farm.teo.post("overrides", take_it).status_code == 403
    for who in (farm.head, farm.pim):
        assert "mix_stop" in codes(who.act(path, "issue"))
    assert farm.teo.act(path, "issue").status_code == 403
    assert findings(checked(farm, "A2", CUT), "stop") == []


def test_5a_12_a_count_below_the_book_asks_whether_a_spray_is_missing(farm, clock):
    clock.set("2026-12-18 08:00")
    leaves_are_down(farm)
    path = farm.order(
        "spray",
        "A2",
        "S-50",
        products=farm.mix(("P1", "1.0", "oz_wt/gal")),
        spray={"total": q("320.8", "gal"), "area": q("1.74", "acre")},
        targets=["leaf curl"],
    )
    farm.begun(farm.teo, path)
    farm.mix_all(farm.teo, path)
    assert farm.lot("C-2305") == q("9.45", "lb")

    counts = [{"lot": farm.lots["C-2305"], "counted": q("8.6", "lb")}]
    [line] = farm.made(farm.odalys, "stocktakes", {"counts": counts})["counts"]

    assert (line["book"], line["difference"]) == (q("9.45", "lb"), q("-0.85", "lb"))
    assert line["question"] == "spray_missing"
