"""The published mistakes with stock, and the guard against each, shown over HTTP."""

import datetime as dt
from decimal import Decimal

import pytest
from django.utils import timezone

from orchard.inventory.models import Lot, Movement
from tests.callers import Caller, codes
from tests.inventory.store import new_id
from tests.inventory.test_imports import Keeper
from tests.stories.farm import CALM, COPPER_LABEL, Hollow, q

pytestmark = pytest.mark.django_db
OUNCE_A_GALLON = q("1.0", "oz_wt/gal")


@pytest.fixture
def hollow():
    return Hollow()


def sprayed(hollow, copper, where, gallons="96", **load):
    """Return the path of an order that was issued and sprayed in one load."""
    order = hollow.draft(where, copper, OUNCE_A_GALLON, gallons)
    hollow.do(order, "issue")
    hollow.spray(order, [{"product": copper, **load}], gallons)
    return order


def copper_with(content, name):
    """Return the label of a copper of another strength."""
    [ingredient] = COPPER_LABEL["active_ingredients"]
    metal = {"of": "copper", "content": q(content, "percent_ww")}
    return {**COPPER_LABEL, "name": name, "active_ingredients": [{**ingredient, "metal": metal}]}


# I9, I10


def test_i9_the_emergency_list_says_what_stands_where_and_whom_to_call(hollow):
    copper, oil = hollow.copper(), hollow.oil()
    hollow.lot(copper, "C-2201", q("9.5", "lb"), location="north shed")
    hollow.lot(
        copper, "C-2202", q("1", "lb"), location="north shed", quarantined=True, quarantine_reason="caked"
    )
    hollow.lot(oil, "O-1", q("2.5", "gal"))
    hollow.lot(oil, "empty", location="north shed")
    hollow.pim.patch("", {"emergency": "Poison centre 1-800-222-1222, gate code at the house"})
    wren = Caller(hollow.farm, "crew_member")

    shown = wren.get("emergency-list").json()

    assert shown["emergency"].startswith("Poison centre")
    assert dt.datetime.fromisoformat(shown["as_of"]).tzinfo is not None
    shed, unknown = shown["places"]
    assert (shed["place"], unknown["place"]) == ("north shed", None)
    assert [(one["number"], one["quantity"]) for one in shed["lots"]] == [
        ("C-2201", q("9.5", "lb")),
        ("C-2202", q("1", "lb")),
    ]
    assert shed["lots"][0]["active_ingredients"] == ["copper hydroxide"]
    assert shed["lots"][0]["signal_word"] is None


def test_i9_it_prints_as_one_page_that_needs_no_net_and_says_its_moment(hollow):
    hollow.lot(hollow.copper(), "<b>C-1", q("9.5", "lb"), location="north & south shed")
    hollow.pim.patch("", {"emergency": "1-800-222-1222"})

    page = hollow.teo.get("emergency-list.html")
    text = page.content.decode()

    assert page.headers["Content-Type"] == "text/html; charset=utf-8"
    for said in ("As of", str(hollow.today.year), "1-800-222-1222", "copper hydroxide", "9.5 lb"):
        assert said in text
    assert "not known: treat it as dangerous" in text
    assert "north &amp; south shed" in text and "&lt;b&gt;C-1" in text
    assert "src=" not in text and "href=" not in text  # nothing is fetched from elsewhere
    assert (
        "Lista de emergencia" in hollow.teo.get("emergency-list.html", accept_language="es").content.decode()
    )
    stranger = Hollow().teo
    assert stranger.get(hollow.teo.at("emergency-list.html")).status_code == 404


def test_i10_containers_reconcile_per_product_and_are_empty_only_once_rinsed(hollow):
    oil = hollow.oil()
    body = {"product": oil, "count": 2}
    assert hollow.odalys.post("container-records", {**body, "kind": "issued"}).status_code == 201

    early = hollow.odalys.post("container-records", {**body, "kind": "disposed", "disposal": "recycled"})
    [before] = hollow.odalys.get("containers").json()["items"]
    rinsed = hollow.teo.post("container-records", {**body, "kind": "rinsed", "rinse": "triple"})
    [after] = hollow.odalys.get("containers").json()["items"]

    assert (early.status_code, codes(early)) == (409, ["not_rinsed"])
    assert (before["out"], before["empty"], before["agrees"]) == (2, 0, False)
    assert rinsed.status_code == 201
    assert (after["out"], after["empty"], after["agrees"]) == (0, 2, True)


# E11 to E15


def test_e11_loads_add_up_to_the_order_and_the_ledger_to_the_loads(hollow):
    copper, where = hollow.copper(), hollow.ready_to_spray()
    lot = hollow.lot(copper, "C-1", q("20", "lb"))
    sprayer = hollow.pim.post("sprayers", {"name": "S-30", "kind": "handgun", "tank": q("30", "gal")}).json()[
        "id"
    ]
    checked = {"on": hollow.day(-10), "due_on": hollow.day(300)}
    hollow.pim.post(f"sprayers/{sprayer}/calibrations", checked)
    order = hollow.draft({**where, "sprayer": sprayer}, copper, q("1.3", "oz_wt/gal"), "100")
    shown = hollow.do(order, "issue")

    planned = [load["products"][0]["exact"] for load in shown["loads_planned"]]
    assert [load["spray"]["value"] for load in shown["loads_planned"]] == ["30", "30", "30", "10"]
    assert sum(Decimal(one["value"]) for one in planned) == Decimal(shown["totals"][0]["exact"]["value"])
    assert {one["unit"] for one in planned} == {"oz_wt"}

    hollow.do(order, "accept")
    hollow.do(order, "start", {"observed": CALM})
    for number, load in enumerate(shown["loads_planned"], 1):
        told = {"number": number, "spray": load["spray"], "products": [{"product": copper}]}
        hollow.do(order, "record_load", told)
    hollow.drain()

    used = hollow.odalys.get(f"stock-movements?lot={lot}&kind=use").json()["items"]
    assert sum(Decimal(one["change"]["value"]) for one in used) == Decimal("-130")
    assert hollow.on_hand(lot) == q("11.875", "lb")  # 20 lb less 130 oz
    promised = hollow.odalys.get("reservations").json()["items"]
    assert [one["status"] for one in promised] == ["used"]


def test_e12_the_same_spray_posted_twice_is_deducted_once_and_the_second_is_kept_as_a_question(hollow):
    copper, where = hollow.copper(), hollow.ready_to_spray()
    lot = hollow.lot(copper, "C-1", q("20", "lb"))
    order = sprayed(hollow, copper, where)
    again = {"number": 1, "spray": q("96", "gal"), "products": [{"product": copper}]}

    second = hollow.teo.act(order, "record_load", again)
    done = hollow.teo.act(order, "finish", {"id": str(new_id()), "nothing_unusual": True})
    other = hollow.teo.act(order, "finish", {"id": str(new_id()), "nothing_unusual": True})
    hollow.drain()

    assert (second.status_code, codes(second)) == (409, ["load_exists"])
    assert done.status_code == 200
    assert (other.status_code, codes(other)) == (409, ["possible_duplicate"])
    assert hollow.on_hand(lot) == q("14", "lb")
    assert len(hollow.odalys.get("stock-movements?kind=use").json()["items"]) == 1
    assert len(hollow.pim.get("application-records").json()["items"]) == 1
    assert len(hollow.pim.get(order).json()["possible_duplicates"]) == 1


def test_e13_stock_is_deducted_by_the_load_and_neither_at_issue_nor_at_the_end(hollow):
    copper, where = hollow.copper(), hollow.ready_to_spray()
    lot = hollow.lot(copper, "C-1", q("20", "lb"))
    order = hollow.draft(where, copper, OUNCE_A_GALLON, "96")
    hollow.do(order, "issue")
    at_issue = hollow.on_hand(lot)

    hollow.spray(order, [{"product": copper}], "96")
    after_the_load = hollow.on_hand(lot)
    hollow.do(order, "finish", {"nothing_unusual": True})
    hollow.drain()

    assert (at_issue, after_the_load, hollow.on_hand(lot)) == (q("20", "lb"), q("14", "lb"), q("14", "lb"))
    row = hollow.in_stock(copper)
    assert (row["reserved"], row["available"]) == (q("0", "lb"), q("14", "lb"))


@pytest.mark.parametrize("condition", ["frozen", "caked"])
def test_e14_what_froze_or_caked_sets_itself_aside_and_is_not_promised(hollow, condition):
    copper, where = hollow.copper(), hollow.ready_to_spray()
    lot = hollow.lot(copper, "C-1", q("20", "lb"), expires_on=hollow.day(60))
    assert hollow.odalys.patch(f"lots/{lot}", {"condition": condition}).json()["usable"] is False

    refused = hollow.pim.act(hollow.draft(where, copper, OUNCE_A_GALLON, "96"), "issue")

    assert (refused.status_code, codes(refused)) == (409, ["stock_short"])
    assert hollow.odalys.get(f"lots/{lot}").json()["quarantine_reason"] == condition


def test_e14_what_expires_first_goes_first_and_what_has_expired_never(hollow):
    copper, where = hollow.copper(), hollow.ready_to_spray()
    old = hollow.lot(copper, "C-0", q("20", "lb"), expires_on=hollow.day(1))
    later, sooner = (
        hollow.lot(copper, number, q("4", "lb"), expires_on=hollow.day(days))
        for number, days in (("C-2", 300), ("C-1", 90))
    )
    hollow.odalys.patch(f"lots/{old}", {"expires_on": hollow.day(-1)})
    order = hollow.draft(where, copper, OUNCE_A_GALLON, "96")

    promised = hollow.do(order, "issue")["reservations"]

    assert [(one["lot"], one["quantity"]) for one in promised] == [
        (sooner, q("4", "lb")),
        (later, q("2", "lb")),
    ]


def test_e14_the_manager_hears_that_a_promised_lot_was_put_aside_or_poured_away(hollow):
    copper, where = hollow.copper(), hollow.ready_to_spray()
    lot = hollow.lot(copper, "C-1", q("8", "lb"))
    order = hollow.draft(where, copper, OUNCE_A_GALLON, "96")
    hollow.do(order, "issue")

    def told():
        rows = hollow.pim.get("attention").json()["items"]
        return [one for one in rows if one["code"] == "promise_broken"]

    assert told() == []
    hollow.odalys.patch(f"lots/{lot}", {"quarantined": True, "quarantine_reason": "caked"})
    [put_aside] = told()
    hollow.odalys.patch(f"lots/{lot}", {"quarantined": False})
    away = {"kind": "dispose", "lot": lot, "quantity": q("3", "lb"), "reason": "wet"}
    assert hollow.odalys.post("stock-movements", away).status_code == 201
    [too_little] = told()
    hollow.do(order, "cancel", {"reason": "no copper"})

    assert put_aside["refers_to"] == {"kind": "work_order", "id": order.split("/")[1]}
    assert put_aside["because_of"] == {"kind": "lot", "id": lot}
    assert "may not be used on" in put_aside["says"]
    assert "which holds 5 lb, and 6 lb are promised" in too_little["says"]
    assert told() == []


def test_e14_the_crew_hears_before_and_at_the_start_that_its_copper_was_poured_away(hollow):
    copper, where = hollow.copper(), hollow.ready_to_spray()
    lot = hollow.lot(copper, "C-1", q("8", "lb"))
    order = hollow.draft(where, copper, OUNCE_A_GALLON, "96")
    hollow.do(order, "issue")
    hollow.do(order, "accept")

    def told(shown):
        return [one for one in shown["cautions"] if one["code"] == "stock_short"]

    before = hollow.teo.get(order)
    assert told(before.json()) == []
    away = {"kind": "dispose", "lot": lot, "quantity": q("3", "lb"), "reason": "wet"}
    hollow.odalys.post("stock-movements", away)
    assert hollow.teo.get(order, if_none_match=before.headers["ETag"]).status_code == 200
    [in_the_bundle] = told(hollow.teo.get("day-bundle").json()["work_orders"][0])
    [at_the_start] = told(hollow.do(order, "start", {"observed": CALM}))

    assert in_the_bundle == at_the_start
    assert at_the_start["refers_to"] == {"kind": "lot", "id": lot}
    assert at_the_start["short"] == q("1", "lb")
    assert "holds 5 lb, and 6 lb are promised, 6 lb of it to this work" in at_the_start["detail"]
    hollow.receive(lot, q("1", "lb"))
    assert told(hollow.teo.get(order).json()) == []


def test_e15_a_recalled_lot_is_traced_to_its_blocks_in_one_call_and_set_aside(hollow):
    copper, where = hollow.copper(), hollow.ready_to_spray()
    bad = hollow.lot(copper, "C-1", q("4", "lb"), expires_on=hollow.day(60))
    good = hollow.lot(copper, "C-2", q("20", "lb"), expires_on=hollow.day(300))
    order = sprayed(hollow, copper, where)
    hollow.do(order, "finish", {"nothing_unusual": True})

    [record] = hollow.odalys.get(f"application-records?lot={bad}").json()["items"]

    assert record["block"] == where["block"]
    assert [(one["lot"], one["number"]) for one in record["products"][0]["lots"]] == [
        (bad, "C-1"),
        (good, "C-2"),
    ]
    loads = hollow.odalys.get(f"{order}/loads").json()["items"]
    assert [one["lot"] for one in loads[0]["products"][0]["lots"]] == [bad, good]
    recalled = hollow.odalys.patch(f"lots/{bad}", {"condition": "recalled"}).json()
    assert (recalled["usable"], recalled["quarantine_reason"]) == (False, "recalled")


def test_e15_a_recalled_lot_is_traced_although_it_was_sprayed_from_another_place(hollow):
    copper, where = hollow.copper(), hollow.ready_to_spray()
    shed = hollow.lot(copper, "C-1", q("20", "lb"), location="shed", expires_on=hollow.day(60))
    other = hollow.lot(copper, "C-2", q("20", "lb"), location="shed", expires_on=hollow.day(300))
    all_of_it = {
        "kind": "transfer",
        "lot": shed,
        "quantity": q("20", "lb"),
        "location": "van",
        "reason": "Monday",
    }
    assert hollow.odalys.post("stock-movements", all_of_it).status_code == 201
    order = sprayed(hollow, copper, where)
    hollow.do(order, "finish", {"nothing_unusual": True})

    traced = hollow.odalys.get(f"application-records?lot={shed}").json()["items"]

    assert [record["block"] for record in traced] == [where["block"]]
    assert hollow.odalys.get(f"application-records?lot={other}").json()["items"] == []


def test_e15_a_recalled_number_is_set_aside_wherever_it_stands_and_when_more_of_it_comes(hollow):
    copper = hollow.copper()
    shed, van, other = (
        hollow.lot(copper, number, q("20", "lb"), location=place)
        for number, place in (("C-1", "shed"), ("C-1", "van"), ("C-2", "van"))
    )

    why = {"condition": "recalled", "quarantine_reason": "maker's letter of 2 March"}
    assert hollow.odalys.patch(f"lots/{shed}", why).status_code == 200
    more = hollow.odalys.post("lots", {"product": copper, "number": "C-1", "location": "barn"}).json()

    for lot in (shed, van, more["id"]):
        told = hollow.odalys.get(f"lots/{lot}").json()
        assert (told["usable"], told["condition"]) == (False, "recalled")
        assert told["quarantine_reason"] == "maker's letter of 2 March"
    assert hollow.odalys.get(f"lots/{other}").json()["usable"] is True
    misread = hollow.odalys.patch(f"lots/{other}", {"number": "C-1", "location": "cellar"}).json()
    assert (misread["usable"], misread["condition"]) == (False, "recalled")
    let_go = hollow.odalys.patch(f"lots/{van}", {"condition": "good", "quarantined": False}).json()
    assert let_go["usable"] is True
    assert hollow.odalys.get(f"lots/{shed}").json()["usable"] is False


# E34


def test_e34_an_emptied_container_is_rinsed_into_its_load_and_one_that_is_not_is_missed(hollow):
    copper, where = hollow.copper(), hollow.ready_to_spray()
    hollow.lot(copper, "C-1", q("20", "lb"))
    order = sprayed(hollow, copper, where)
    [load] = hollow.teo.get(f"{order}/loads").json()["items"]
    yesterday = (timezone.now() - dt.timedelta(hours=30)).isoformat()
    issued = {"product": copper, "kind": "issued", "count": 2, "at": yesterday}
    assert hollow.odalys.post("container-records", issued).status_code == 201
    rinse = {"product": copper, "kind": "rinsed", "count": 1, "rinse": "triple", "load": load["id"]}

    in_time = hollow.teo.post("container-records", {**rinse, "water": q("3", "gal")}).json()
    too_much = hollow.teo.post("container-records", {**rinse, "water": q("94", "gal")})

    assert (in_time["load"], in_time["late"]) == (load["id"], False)
    assert (too_much.status_code, codes(too_much)) == (422, ["out_of_range"])  # 97 gal in a load of 96
    attention = hollow.pim.get("attention").json()["items"]
    assert [one["code"] for one in attention if one["code"] == "containers_out"] == ["containers_out"]
    emptied = (timezone.now() - dt.timedelta(hours=20)).isoformat()
    late = hollow.teo.post("container-records", {**rinse, "emptied_at": emptied}).json()
    assert late["late"] is True
    attention = hollow.pim.get("attention").json()["items"]
    assert [one for one in attention if one["code"] == "containers_out"] == []


# E43


def test_e43_a_correction_of_stock_is_a_new_line_and_the_old_one_stays(hollow):
    lot = hollow.lot(hollow.copper(), "C-1")
    wrong = hollow.receive(lot, q("95", "lb")).json()
    path = f"stock-movements/{wrong['id']}"

    assert hollow.odalys.patch(path, {"quantity": q("9.5", "lb")}).status_code == 405
    assert hollow.odalys.delete(path).status_code == 405
    undo = {"kind": "reverse", "reverses": wrong["id"], "reason": "9.5 was meant"}
    undone = hollow.odalys.post("stock-movements", undo)
    twice = hollow.odalys.post("stock-movements", {**undo, "reverses": undone.json()["id"]})

    assert undone.status_code == 201
    assert (twice.status_code, codes(twice)) == (409, ["state_conflict"])
    assert {**hollow.odalys.get(path).json(), "reversed_by": None} == wrong
    assert Movement.objects.filter(lot__id=lot).count() == 2
    entries = hollow.pim.get(f"audit?resource=stock_movement&resource_id={wrong['id']}").json()["items"]
    assert [one["action"] for one in entries if one["outcome"] == "done"][:1] == ["create"]


def test_e43_a_corrected_record_reverses_and_posts_anew_and_both_stay(hollow):
    copper, where = hollow.copper(), hollow.ready_to_spray()
    lot = hollow.lot(copper, "C-1", q("20", "lb"))
    order = sprayed(hollow, copper, where)
    hollow.do(order, "finish", {"nothing_unusual": True})
    [record] = hollow.pim.get("application-records").json()["items"]
    used = hollow.odalys.get("stock-movements?kind=use").json()["items"]
    changes = {
        "products": [
            {"product": copper, "amount": q("5", "lb"), "lots": [{"lot": lot, "amount": q("5", "lb")}]}
        ]
    }

    made = hollow.pim.act(
        f"application-records/{record['id']}",
        "correct",
        {"reason": "scale was read wrong", "changes": changes},
    )
    hollow.drain()

    assert made.status_code == 201, made.json()
    old = hollow.pim.get(f"application-records/{record['id']}").json()
    assert (old["status"], old["corrected_by"], old["products"]) == (
        "corrected",
        made.json()["id"],
        record["products"],
    )
    now = hollow.odalys.get("stock-movements").json()["items"]
    kept = [{**row, "reversed_by": None} for row in now if row["id"] in {one["id"] for one in used}]
    assert kept == [{**row, "reversed_by": None} for row in used]
    total = sum(Decimal(row["change_base"]["value"]) for row in now if row["lot"] == lot)
    assert total == Decimal(hollow.in_stock(copper)["base"]["on_hand"]["value"])


# E46


def test_e46_a_decimal_comma_is_never_taken_for_ten_times_as_much(hollow):
    copper = hollow.copper()
    lot = hollow.lot(copper, "C-1")

    comma = hollow.receive(lot, q("1,5", "lb"))
    absurd = hollow.receive(lot, q("15000000000000", "lb"))

    assert (comma.status_code, codes(comma)) == (422, ["not_a_decimal"])
    assert (absurd.status_code, codes(absurd)) == (422, ["out_of_range"])
    assert hollow.on_hand(lot) == q("0", "lb")


def test_e46_a_file_says_how_it_writes_decimals(hollow):
    copper = hollow.copper()
    lot = hollow.lot(copper, "C-1")
    keeper = Keeper(hollow.farm, "storekeeper")
    text = f"product;number;quantity;quantity_unit\n{copper};C-1;1,5;lb\n"

    refused = keeper.send("opening-balances", text)
    said = keeper.send("opening-balances", text, query="?decimal=comma")

    assert (refused.status_code, codes(refused)) == (422, ["not_a_decimal"])
    assert refused.json()["errors"][0]["pointer"] == "/rows/2/quantity"
    assert said.status_code == 201
    assert hollow.on_hand(lot) == q("1.5", "lb")


# E47


def test_e47_another_strength_is_another_product_and_is_checked_anew(hollow):
    weak, where = hollow.copper(), hollow.ready_to_spray()
    half = [{**COPPER_LABEL["uses"][0], "rate": {"maximum": q("0.8", "oz_wt/gal")}}]
    strong = hollow.product({**copper_with("60", "Copper hydroxide 60 WG"), "uses": half}, "lb")
    hollow.lot(weak, "C-1", q("20", "lb")), hollow.lot(strong, "D-1", q("20", "lb"))
    order = hollow.draft(where, weak, OUNCE_A_GALLON, "96")
    before = hollow.pim.get(order).json()["totals"][0]["metal"]

    swapped = hollow.pim.patch(order, {"products": [{"product": strong, "rate": OUNCE_A_GALLON}]})

    assert swapped.status_code == 200, swapped.json()
    after = swapped.json()["totals"][0]
    assert after["id"] == strong
    ratio = Decimal(after["metal"][0]["amount"]["value"]) / Decimal(before[0]["amount"]["value"])
    assert abs(ratio - 2) < Decimal("0.001")
    refused = hollow.pim.act(order, "issue")
    assert refused.status_code == 409 and "mix_stop" in codes(refused)
    assert [row["status"] for row in hollow.odalys.get("reservations").json()["items"]] == []


def test_e47_a_lot_of_another_strength_is_not_taken_for_the_one_that_was_planned(hollow):
    weak, where = hollow.copper(), hollow.ready_to_spray()
    strong = hollow.product(copper_with("60", "Copper hydroxide 60 WG"), "lb")
    hollow.lot(weak, "C-1", q("20", "lb"))
    other = hollow.lot(strong, "D-1", q("20", "lb"))
    order = hollow.draft(where, weak, OUNCE_A_GALLON, "96")
    hollow.do(order, "issue")
    hollow.do(order, "accept")
    hollow.do(order, "start", {"observed": CALM})
    told = {"product": weak, "lots": [{"lot": other, "amount": q("6", "lb")}]}

    refused = hollow.teo.act(order, "record_load", {"number": 1, "spray": q("96", "gal"), "products": [told]})

    assert (refused.status_code, codes(refused)) == (422, ["invalid"])
    assert refused.json()["errors"][0]["pointer"] == "/products/0/lots/0/lot"
    assert hollow.on_hand(other) == q("20", "lb")


# what else somebody may send


@pytest.mark.parametrize(
    ("body", "status", "code"),
    [
        ({"quantity": q("1", "acre")}, 422, "unit_kind"),
        ({"quantity": q("1", "gal")}, 422, "unit_needs_density"),
        ({"quantity": q("-1", "lb")}, 422, "out_of_range"),
        ({"quantity": q("0", "lb")}, 422, "out_of_range"),
        ({"quantity": q("9" * 18, "lb")}, 422, "out_of_range"),
        ({"quantity": q("1", "stone")}, 422, "unit_unknown"),
        ({"quantity": {"value": 1.5, "unit": "lb"}}, 422, "not_a_decimal"),
        ({"lot": str(new_id())}, 422, "not_found"),
        ({"lot": "C-1"}, 422, "invalid"),
    ],
)
def test_an_entry_that_cannot_be_taken_at_its_word_leaves_no_trace_in_the_book(hollow, body, status, code):
    lot = hollow.lot(hollow.copper(), "C-1")

    refused = hollow.odalys.post(
        "stock-movements", {"kind": "receive", "lot": lot, "quantity": q("1", "lb"), **body}
    )

    assert (refused.status_code, codes(refused)[0]) == (status, code)
    assert (Movement.objects.count(), hollow.on_hand(lot)) == (0, q("0", "lb"))


def test_another_farms_lot_is_not_there_to_receive_into_and_nothing_is_written(hollow):
    theirs = Hollow()
    lot = theirs.lot(theirs.copper(), "C-1")

    refused = hollow.receive(lot, q("1", "lb"))

    assert (refused.status_code, codes(refused)) == (422, ["not_found"])
    assert (Movement.objects.count(), Lot.objects.count()) == (0, 1)
