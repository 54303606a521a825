"""What the crew lead needs, need by need, shown over HTTP by several people."""

import datetime as dt
from decimal import Decimal
from itertools import permutations

import pytest
from uuid6 import uuid7

from tests.callers import codes
from tests.stories.field import CALM, SULFUR, Field, found, label, made, q, stops

pytestmark = pytest.mark.django_db


@pytest.fixture
def field():
    return Field()


def test_l1_196_gallons_in_a_tank_of_50_are_three_full_loads_and_46(field):
    order = field.pim.get(field.order(field.copper(), field.oil())).json()

    loads = order["loads_planned"]
    assert [load["spray"] for load in loads] == [q("50", "gal")] * 3 + [q("46", "gal")]
    for place, total in enumerate(order["totals"]):
        parts = sum(Decimal(load["products"][place]["exact"]["value"]) for load in loads)
        assert str(parts.normalize()) == str(Decimal(total["exact"]["value"]).normalize())
    measured = [[one["value"] for one in load["products"][0]["measure"]] for load in loads]
    assert measured[3] == ["2", "14"]  # 46 oz are 2 lb 14 oz: no full-tank recipe in the last load


def test_l1_what_fills_its_tanks_leaves_no_empty_load(field):
    order = field.pim.get(field.order(spray={"total": q("150", "gal")})).json()

    assert [load["spray"]["value"] for load in order["loads_planned"]] == ["50", "50", "50"]


def test_l1_no_load_holds_more_than_the_tank(field):
    path = field.started()

    refused = field.teo.act(path, "record_load", field.load(1, "51"), if_match="*")

    assert (refused.status_code, codes(refused)) == (422, ["over_tank"])


def test_l2_the_order_of_mixing_is_the_same_however_the_products_are_listed(field):
    spreader = label("Spreader SL", "SL", rate={"maximum": q("0.5", "percent_vv")})
    spreader |= {"active_ingredients": [], "adjuvant": "surfactant"}
    wetter = {"product": field.product(spreader, "gal"), "rate": q("0.125", "percent_vv")}
    mix = [field.copper(), field.oil(), wetter]

    orders = [field.report(*one)["order"] for one in permutations(mix)]

    assert all(one == orders[0] for one in orders)
    assert (orders[0][0]["action"], orders[0][0]["what"]) == ("fill", "water")
    added = [step for step in orders[0] if step["action"] == "add" and step.get("product")]
    assert added[0]["product"] == str(field.at.copper.id) and added[-1]["product"] != added[0]["product"]
    assert all(step["note"] for step in added)
    assert any(step.get("for") for step in orders[0] if step["action"] in ("agitate", "wait"))


def test_l3_a_calibration_that_is_due_missing_or_of_another_nozzle_blocks_the_issue(field):
    later = (field.at.now + dt.timedelta(days=400)).isoformat()
    due = field.pim.act(field.order(starts_at=later), "issue")
    field.at.tank.refresh_from_db()
    new = made(field.pim.post("sprayers", {"name": "S-51", "kind": "handgun", "tank": q("50", "gal")}))
    missing = field.pim.act(field.order(sprayer=new["id"]), "issue")
    measured = {
        "on": field.day(-3),
        "due_on": field.day(300),
        "nozzle": "D3",
        "operator": str(field.at.lead.id),
    }
    made(field.teo.post(f"sprayers/{new['id']}/calibrations", measured))
    fits = field.pim.act(field.order(sprayer=new["id"]), "issue")
    field.pim.patch(f"sprayers/{new['id']}", {"nozzle": "D5"})
    other = field.pim.act(field.order(block=str(field.at.a1.id), sprayer=new["id"]), "issue")

    def says(answer):
        return next(f["detail"] for f in answer.json()["errors"] if f["code"] == "sprayer_not_calibrated")

    assert "due since" in says(due)
    assert "no calibration" in says(missing)
    assert fits.status_code == 200, fits.json()
    assert "D3" in says(other) and "D5" in says(other)


def test_l3_what_a_hand_sprayer_gives_is_calibrated_with_the_one_who_walks(field):
    new = made(field.pim.post("sprayers", {"name": "BP-5", "kind": "backpack", "tank": q("4", "gal")}))
    measured = {"on": field.day(-3), "due_on": field.day(300), "operator": str(field.at.lead.id)}
    made(field.teo.post(f"sprayers/{new['id']}/calibrations", measured))
    by_wren = field.order(sprayer=new["id"], handlers=[str(field.at.wren.id)])

    refused = field.pim.act(by_wren, "issue")
    field.pim.patch(by_wren, {"handlers": [str(field.at.lead.id)]})

    assert codes(refused) == ["sprayer_not_calibrated"] and "Teo" in refused.json()["errors"][0]["detail"]
    assert field.pim.act(by_wren, "issue").status_code == 200


@pytest.mark.parametrize("who", ["untrained", "expired", "under eighteen"])
def test_l4_who_may_not_handle_is_not_sent_to_mix_and_nobody_reads_why(field, who):
    body = {"name": "Otto Brindlecap", "adult": who != "under eighteen"}
    otto = made(field.pim.post("workers", body))["id"]
    if who != "untrained":
        until = field.day(-1) if who == "expired" else field.day(200)
        training = {"kind": "handler_training", "obtained_on": field.day(-300), "expires_on": until}
        made(field.pim.post(f"workers/{otto}/qualifications", training))
    crew = made(field.pim.post("crews", {"name": "Second crew", "members": [otto, str(field.at.lead.id)]}))

    refused = field.pim.act(field.order(crew=crew["id"], handlers=[otto]), "issue")

    assert (refused.status_code, codes(refused)) == (409, ["worker_not_qualified"])
    [fault] = refused.json()["errors"]
    assert fault["refers_to"] == {"kind": "worker", "id": otto}
    assert not {"train", "age", "adult", "fit", "expire"} & set(fault["detail"].lower().split())


def test_l4_a_respirator_wants_a_fit_test_and_a_restricted_use_a_licence(field):
    hard = label("Demo fumes 50 EC", "EC", {"name": "malathion", "content": q("50", "percent_ww")})
    hard |= {
        "restricted_use": True,
        "protection": {"handler": ["organic_vapor_respirator"], "early_entry": []},
    }
    hard["uses"][0]["rate"] = {"maximum": q("1", "percent_vv")}
    mix = {"product": field.product(hard, "gal", holds="5"), "rate": q("0.5", "percent_vv")}
    path = field.order(mix)
    refused = field.pim.act(path, "issue")

    fit = {"kind": "respirator_fit_test", "obtained_on": field.day(-10), "expires_on": field.day(300)}
    made(field.pim.post(f"workers/{field.at.wren.id}/qualifications", fit))
    field.pim.patch(path, {"handlers": [str(field.at.wren.id)]})
    unlicensed = field.pim.act(path, "issue")
    made(field.pim.post(f"workers/{field.at.lead.id}/qualifications", fit))
    field.pim.patch(path, {"handlers": [str(field.at.lead.id), str(field.at.wren.id)]})

    assert codes(refused) == ["crew_not_qualified"]
    assert codes(unlicensed) == ["crew_not_qualified"]
    assert "licence" in unlicensed.json()["errors"][0]["detail"]
    assert field.pim.act(path, "issue").status_code == 200  # Teo holds one


def test_l5_the_start_keeps_what_was_seen_and_the_wind_decides(field):
    plain = {
        "name": "Copper without a wind limit",
        "active_ingredients": [{"name": "copper hydroxide", "content": q("46", "percent_ww")}],
        "formulation": "WG",
        "uses": [{"crops": ["peach"], "rate": {"maximum": q("1.6", "oz_wt/gal")}, "re_entry": q("48", "h")}],
    }
    mix = {"product": field.product(plain, "lb", holds="30"), "rate": q("1", "oz_wt/gal")}
    path = field.accepted(mix)

    def start(mph):
        seen = {**CALM, "wind": q(mph, "mph"), "wind_direction": 270, "source": "hand-held meter"}
        return field.teo.act(path, "start", {"observed": seen})

    incomplete = field.teo.act(path, "start", {"observed": {"wind": q("5", "mph")}})
    too_much = start("12")
    calm = field.report(mix, weather={"wind": q("1", "mph"), "temperature": q("52", "degF")})
    good = start("5")

    assert codes(incomplete) == ["required", "required"]
    assert codes(too_much) == ["mix_stop"] and stops(too_much) == {"weather.wind-above-10-mph"}
    assert "weather.calm-below-2-km-h" in found(calm, "caution")
    assert good.status_code == 200, good.json()
    record = good.json()
    assert field.pim.get(f"mix-checks/{record['mix_check']}").json()["request"]["weather"]["wind"] == q(
        "5", "mph"
    )


def test_l5_the_limits_of_wind_are_the_products_and_the_farms(field):
    field.pim.patch("", {"limits": {"wind_maximum": q("4", "mph")}})
    path = field.accepted()

    refused = field.teo.act(path, "start", {"observed": CALM})
    label_says = field.teo.act(path, "start", {"observed": {**CALM, "wind": q("11", "mph")}})

    assert stops(refused) == {"farm.wind-above"}
    assert {one for one in stops(label_says) if one.startswith("label.")}


def test_l6_a_pause_keeps_both_its_times_and_how_much_was_treated(field):
    path = field.started()
    field.teo.act(path, "record_load", field.load(1, "50", trees_done=35, at=field.ago(110)), if_match="*")
    begun, over = field.ago(100), field.ago(80)
    held = field.wren.act(path, "hold", {"reason": "people", "note": "a jogger", "at": begun}, if_match="*")
    still = field.teo.act(path, "resume", {"people_out": False})
    field.do(path, "resume", {"at": over, "note": "clear", "people_out": True})
    for number, gallons in ((2, "50"), (3, "50"), (4, "46")):
        body = field.load(number, gallons, trees_done=35, at=field.ago(70 - number))
        field.teo.act(path, "record_load", body, if_match="*")

    record = field.finished(path, finished_at=field.ago(10))

    assert held.json()["status"] == "held" and codes(still) == ["people_in_block"]
    [pause] = record["pauses"] if "pauses" in record else field.pim.get(path).json()["pauses"]
    assert (pause["reason"], pause["note"]) == ("people", "a jogger")
    assert [dt.datetime.fromisoformat(pause[name]) for name in ("at", "until")] == [
        dt.datetime.fromisoformat(begun), dt.datetime.fromisoformat(over)
    ]  # fmt: skip
    assert (pause["treated"]["trees"], pause["treated"]["percent"]) == (35, "25")
    assert dt.datetime.fromisoformat(record["started_at"]) == dt.datetime.fromisoformat(field.ago(120))
    assert dt.datetime.fromisoformat(record["finished_at"]) == dt.datetime.fromisoformat(field.ago(10))


def test_l7_a_change_after_issue_is_a_new_version_and_voids_what_was_accepted(field):
    path = field.accepted()

    changed = field.pim.patch(path, {"instructions": "Begin at the gate"}).json()
    [on_wrens_phone] = field.wren.get("work-orders?mine=true").json()["items"]
    with_the_old = field.teo.act(path, "accept", {"revision": 1})
    not_accepted = field.teo.act(path, "start", {"observed": CALM})
    field.do(path, "accept", {"revision": 2})
    by_the_old = field.teo.act(path, "start", {"observed": CALM, "revision": 1, "at": field.ago(60)})

    assert (changed["revision"], changed["status"]) == (2, "issued")
    assert (on_wrens_phone["revision"], on_wrens_phone["status"]) == (2, "issued")
    assert codes(with_the_old) == ["revision_is_old"]
    assert codes(not_accepted) == ["state_conflict"]
    assert codes(by_the_old) == ["revision_is_old"]
    [claim] = field.pim.get(path).json()["conflicts"]  # a start by the old card is refused, and shown
    assert claim["codes"] == ["revision_is_old"]


def test_l8_a_sprayer_that_held_a_weed_killer_is_not_sent_until_a_wash_is_on_file(field):
    field.at.tank.residue, field.at.tank.last_load_at = ["glyphosate"], field.at.now - dt.timedelta(hours=3)
    field.at.tank.save()

    refused = field.pim.act(field.order(), "issue")
    field.washed()

    assert codes(refused) == ["sprayer_not_clean"]
    sprayer = field.pim.get(f"sprayers/{field.at.tank.id}").json()
    assert sprayer["residue"] == [] and sprayer["cleaned_at"]
    assert field.pim.act(field.order(), "issue").status_code == 200


def test_l8_what_does_not_go_with_the_last_load_is_not_filled_in(field):
    sulfur = {"product": field.product(SULFUR, "lb", holds="30"), "rate": q("3", "lb/acre")}
    path = field.started(field.oil("1"))
    body = field.load(1, "50", products=[{"product": str(field.at.oil.id)}])
    field.teo.act(path, "record_load", body, if_match="*")

    refused = field.pim.act(field.order(sulfur, block=str(field.at.a1.id), targets=[]), "issue")

    assert "sprayer_not_clean" in codes(refused)


def test_l9_what_is_left_needs_a_fate_and_may_go_only_where_the_whole_check_passes(field):
    small = field.started(block=str(field.at.a1.id), spray={"total": q("120", "gal")})
    field.mixed(small, "50", "50", "20")
    field.finished(small)
    path = field.started()
    field.mixed(path, "50", "50", "50", "46")

    unsaid = field.teo.act(
        path, "finish", {"nothing_unusual": True, "sprayed": q("188", "gal")}, if_match="*"
    )
    rest = {"volume": q("8", "gal"), "fate": "sprayed_out", "block": str(field.at.a1.id)}
    told = {"nothing_unusual": True, "sprayed": q("188", "gal")}
    on_a1 = field.teo.act(path, "finish", {**told, "leftover": rest}, if_match="*")
    record = field.finished(path, sprayed=q("188", "gal"), leftover={**rest, "block": str(field.at.a2.id)})

    assert (unsaid.status_code, codes(unsaid)) == (422, ["leftover_fate_required"])
    assert (on_a1.status_code, stops(on_a1)) == (409, {"label.rate-above-maximum"})
    assert "12.6" in on_a1.json()["errors"][0]["detail"]  # lb/acre: 8.0 lb on 0.6347 acre
    assert record["products"][0]["amount"] == q("196", "oz_wt")


def test_l10_a_briefing_names_who_was_there_and_a_hot_day_brings_its_points(field):
    days = {"items": [{"on": field.day(1), "kind": "forecast", "maximum": q("36", "degC")}]}
    assert field.pim.post("weather/days", days).status_code == 200
    start = (field.at.now + dt.timedelta(days=1)).isoformat()
    end = (field.at.now + dt.timedelta(days=1, hours=6)).isoformat()
    order = field.order(starts_at=start, ends_at=end)
    people = [str(field.at.lead.id), str(field.at.wren.id)]
    for name in ("Ixchel Dovecote", "Milo Gravelbeard"):
        people.append(made(field.pim.post("workers", {"name": name, "adult": True}))["id"])

    held = field.teo.post(
        "briefings",
        {
            "work_order": order.split("/")[1],
            "topics": ["copper and eyes", "where the water stands"],
            "language": "es",
            "present": people,
            "acknowledged": people[:2],
        },
    )

    briefing = made(held)
    assert (briefing["language"], len(briefing["present"]), briefing["acknowledged"]) == ("es", 4, people[:2])
    assert briefing["heat"]["water"] == q("24", "qt")  # 4 people, 6 hours, a quart each hour
    assert {"water", "shade", "cool_down", "watch"} <= {one["code"] for one in briefing["heat"]["points"]}
    assert all(one["source"]["title"] for one in briefing["heat"]["points"])
    cool = field.teo.post("briefings", {"topics": ["drift"], "present": people[:1]}).json()
    assert cool["heat"] is None  # nothing is stored of today: nothing is known, and nothing said to be fine


def test_l11_the_day_is_one_bundle_and_what_was_entered_without_signal_syncs_once(field):
    path = field.accepted(ends_at=(field.at.now + dt.timedelta(hours=3)).isoformat())
    bundle = field.teo.get("day-bundle?mine=true", accept_language="es").json()
    [order], [sheet] = bundle["work_orders"], bundle["tank_sheets"]

    start = {"observed": CALM, "at": field.ago(120), "revision": order["revision"]}
    sent = [("start", start, order["etag"])]
    sent += [
        ("record_load", field.load(n, g, at=field.ago(100 - n)), "*")
        for n, g in ((1, "50"), (2, "50"), (3, "50"), (4, "46"))
    ]
    end = {"id": str(uuid7()), "nothing_unusual": True, "finished_at": field.ago(20)}
    sent += [("finish", end, "*")]
    for _ in range(2):  # the phone does not know whether the first time got through
        answers = [
            field.teo.act(path, action, body, if_match=tag, idempotency_key=f"phone-{place}")
            for place, (action, body, tag) in enumerate(sent)
        ]
    other = field.wren.act(path, "finish", {**end, "id": str(uuid7()), "note": "190 gal"}, if_match="*")

    assert sheet["language"] == "es" and len(sheet["loads"]) == 4 and "items" in bundle["posting_notice"]
    assert [one.status_code for one in answers] == [200] * 6
    assert len(field.pim.get("application-records").json()["items"]) == 1
    assert codes(other) == ["possible_duplicate"]
    [kept] = field.pim.get(path).json()["possible_duplicates"]
    assert kept["body"]["note"] == "190 gal"
