"""What the storekeeper needs, need by need, shown over HTTP."""

from decimal import Decimal

import pytest

from tests.callers import codes
from tests.inventory.store import at_once
from tests.stories.farm import COPPER_GTIN, COPPER_LABEL, OIL_GTIN, OIL_LABEL, Hollow, q

pytestmark = pytest.mark.django_db
OUNCE_A_GALLON = q("1.0", "oz_wt/gal")


@pytest.fixture
def hollow():
    return Hollow()


def test_i1_a_receipt_by_lot_raises_what_is_on_hand_by_exactly_that_much_and_once(hollow):
    lot = hollow.lot(hollow.copper(), "C-2201", expires_on=hollow.day(60), location="shed")

    first = hollow.receive(lot, q("9.5", "lb"), idempotency_key="delivery-4471")
    again = hollow.receive(lot, q("9.5", "lb"), idempotency_key="delivery-4471")
    other = hollow.receive(lot, q("95", "lb"), idempotency_key="delivery-4471")

    assert first.status_code == 201
    assert first.json()["change_base"] == q("4309.127515", "g")
    assert again.json() == first.json()
    assert (other.status_code, codes(other)) == (422, ["idempotency_key_reused"])
    assert hollow.on_hand(lot) == q("9.5", "lb")


def test_i2_a_powder_in_fluid_ounces_wants_a_bulk_density(hollow):
    lot = hollow.lot(hollow.copper(), "C-2201")

    refused = hollow.receive(lot, q("12", "fl_oz"))

    assert (refused.status_code, codes(refused)) == (422, ["unit_needs_density"])
    with_density = hollow.product({**COPPER_LABEL, "bulk_density": q("0.5", "kg/L")}, "lb")
    taken = hollow.receive(hollow.lot(with_density, "C-9"), q("2", "L"))
    assert taken.json()["change_base"] == q("1000", "g")


def test_i2_oz_alone_is_refused_with_the_two_it_may_mean(hollow):
    refused = hollow.receive(hollow.lot(hollow.copper(), "C-2201"), q("12", "oz"))

    assert (refused.status_code, codes(refused)) == (422, ["unit_ambiguous"])
    detail = refused.json()["errors"][0]["detail"]
    assert "fl_oz" in detail and "oz_wt" in detail


def test_i3_first_expiry_first_out(hollow):
    copper, where = hollow.copper(), hollow.ready_to_spray()
    later = hollow.lot(copper, "C-2305", q("20", "lb"), expires_on=hollow.day(500))
    first = hollow.lot(copper, "C-2201", q("9.5", "lb"), expires_on=hollow.day(60))
    order = hollow.draft(where, copper, OUNCE_A_GALLON, "320.8")

    promised = hollow.do(order, "issue")["reservations"]
    hollow.spray(order, [{"product": copper}], "320.8")

    assert [(row["lot"], row["quantity"]) for row in promised] == [
        (first, q("9.5", "lb")),
        (later, q("10.55", "lb")),
    ]
    used = hollow.odalys.get(f"stock-movements?kind=use&product={copper}").json()["items"]
    assert sorted((row["lot"], row["change"]) for row in used) == sorted(
        [(first, q("-152", "oz_wt")), (later, q("-168.8", "oz_wt"))]
    )
    assert (hollow.on_hand(first), hollow.on_hand(later)) == (q("0", "lb"), q("9.45", "lb"))


@pytest.mark.django_db(transaction=True)
def test_i4_of_two_who_take_more_than_there_is_at_once_exactly_one_succeeds():
    hollow = Hollow()
    lot = hollow.lot(hollow.copper(), "C-2201", q("9.5", "lb"))
    body = {"kind": "dispose", "lot": lot, "quantity": q("6", "lb"), "reason": "bag burst"}

    answers = at_once(*[lambda: hollow.odalys.post("stock-movements", body)] * 2)

    assert sorted(answer.status_code for answer in answers) == [201, 409]
    refused = next(answer for answer in answers if answer.status_code == 409)
    assert codes(refused) == ["stock_short"]
    assert refused.json()["errors"][0]["short"] == q("2.5", "lb")
    assert hollow.on_hand(lot) == q("3.5", "lb")


@pytest.mark.parametrize("why", ["expired", "quarantined"])
def test_i5_expired_and_quarantined_stock_is_neither_promised_nor_available(hollow, why):
    copper, where = hollow.copper(), hollow.ready_to_spray()
    lot = hollow.lot(copper, "C-2201", q("9.5", "lb"), expires_on=hollow.day(60))
    change = {
        "expired": {"expires_on": hollow.day(-1)},
        "quarantined": {"quarantined": True, "quarantine_reason": "caked"},
    }[why]
    assert hollow.odalys.patch(f"lots/{lot}", change).status_code == 200

    refused = hollow.pim.act(hollow.draft(where, copper, OUNCE_A_GALLON, "96"), "issue")

    assert (refused.status_code, codes(refused)) == (409, ["stock_short"])
    assert refused.json()["errors"][0]["short"] == q("6", "lb")
    stock = hollow.in_stock(copper)
    assert (stock["on_hand"], stock["available"]) == (q("9.5", "lb"), q("0", "lb"))
    assert hollow.odalys.get("lots?usable=true").json()["items"] == []


def test_i5_an_expired_lot_is_not_deducted_from_where_another_can_give(hollow):
    copper, where = hollow.copper(), hollow.ready_to_spray()
    expired = hollow.lot(copper, "C-2201", q("9.5", "lb"), expires_on=hollow.day(60))
    good = hollow.lot(copper, "C-2305", q("20", "lb"), expires_on=hollow.day(500))
    hollow.odalys.patch(f"lots/{expired}", {"expires_on": hollow.day(-1)})
    order = hollow.draft(where, copper, OUNCE_A_GALLON, "96")

    hollow.do(order, "issue")
    hollow.spray(order, [{"product": copper}], "96")

    assert (hollow.on_hand(expired), hollow.on_hand(good)) == (q("9.5", "lb"), q("14", "lb"))


def test_i5_a_lot_is_good_through_the_whole_of_its_last_day_and_the_rule_is_written_down(hollow):
    copper = hollow.copper()
    lot = hollow.lot(copper, "C-2201", q("9.5", "lb"), expires_on=hollow.day(0))

    document = hollow.odalys.get("/api/v1/openapi.json").json()

    assert hollow.odalys.get(f"lots/{lot}").json()["usable"] is True
    assert hollow.in_stock(copper)["available"] == q("9.5", "lb")
    shown = document["components"]["schemas"]["LotShown"]["properties"]["expires_on"]
    assert "through the whole of this day" in shown["description"]


def test_i6_issue_reserves_and_the_load_deducts_what_was_used(hollow):
    copper, where = hollow.copper(), hollow.ready_to_spray()
    lot = hollow.lot(copper, "C-2305", q("20", "lb"), expires_on=hollow.day(500))
    order = hollow.draft(where, copper, OUNCE_A_GALLON, "196")

    def sums():
        row = hollow.in_stock(copper)
        return tuple(row[name]["value"] for name in ("on_hand", "reserved", "available"))

    assert sums() == ("20", "0", "20")
    hollow.do(order, "issue")
    assert sums() == ("20", "12.25", "7.75")
    actual = [{"product": copper, "lots": [{"lot": lot, "amount": q("12", "lb")}]}]
    hollow.spray(order, actual, "192")
    assert sums() == ("8", "0.25", "7.75")
    hollow.do(order, "finish", {"nothing_unusual": True})
    assert sums() == ("8", "0", "8")

    moved = hollow.odalys.get(f"stock-movements?lot={lot}").json()["items"]
    total = sum(Decimal(row["change_base"]["value"]) for row in moved)
    assert total == Decimal(hollow.in_stock(copper)["base"]["on_hand"]["value"])


def test_i6_cancelling_gives_the_promise_back(hollow):
    copper, where = hollow.copper(), hollow.ready_to_spray()
    hollow.lot(copper, "C-2305", q("20", "lb"))
    order = hollow.draft(where, copper, OUNCE_A_GALLON, "196")
    hollow.do(order, "issue")

    hollow.do(order, "cancel", {"reason": "rain all week"})

    row = hollow.in_stock(copper)
    assert (row["reserved"], row["available"]) == (q("0", "lb"), q("20", "lb"))
    assert [row["status"] for row in hollow.odalys.get("reservations").json()["items"]] == ["released"]


def test_i7_a_count_below_the_book_asks_whether_a_spray_is_missing_and_wants_a_reason(hollow):
    copper, where = hollow.copper(), hollow.ready_to_spray()
    first = hollow.lot(copper, "C-2201", q("9.5", "lb"), expires_on=hollow.day(60))
    shelf = hollow.lot(copper, "C-2305", q("20", "lb"), expires_on=hollow.day(500))
    order = hollow.draft(where, copper, OUNCE_A_GALLON, "320.8")
    hollow.do(order, "issue")
    hollow.spray(order, [{"product": copper}], "320.8")
    entered = hollow.odalys.get("stock-movements").json()["items"]

    counts = [{"lot": first, "counted": q("0", "lb")}, {"lot": shelf, "counted": q("8.6", "lb")}]
    stocktake = hollow.odalys.post("stocktakes", {"counts": counts}).json()
    path = f"stocktakes/{stocktake['id']}"

    line = stocktake["counts"][1]
    assert (line["book"], line["difference"]) == (q("9.45", "lb"), q("-0.85", "lb"))
    assert (line["question"], line["uses_since_last_count"]) == ("spray_missing", 1)
    assert stocktake["counts"][0]["question"] is None
    refused = hollow.odalys.act(path, "post")
    assert (refused.status_code, codes(refused)) == (422, ["reason_required"])
    assert refused.json()["errors"][0]["refers_to"] == {"kind": "lot", "id": shelf}

    posted = hollow.odalys.act(path, "post", {"reasons": {shelf: "House Row was sprayed on paper only"}})

    assert (posted.status_code, posted.json()["status"]) == (200, "posted")
    assert hollow.on_hand(shelf) == q("8.6", "lb")
    now = hollow.odalys.get("stock-movements").json()["items"]
    assert [row for row in now if row["kind"] != "adjust"] == entered
    [adjusted] = [row for row in now if row["kind"] == "adjust"]
    assert (adjusted["change"], adjusted["reason"]) == (
        q("-0.85", "lb"),
        "House Row was sprayed on paper only",
    )


def test_i7_a_gap_names_the_orders_that_may_have_been_sprayed_without_a_word(hollow):
    copper, where = hollow.copper(), hollow.ready_to_spray()
    shelf = hollow.lot(copper, "C-2305", q("20", "lb"), expires_on=hollow.day(500))
    silent = hollow.draft(where, copper, OUNCE_A_GALLON, "13.6", in_minutes=-120)
    hollow.do(silent, "issue")
    called_off = hollow.draft(where, copper, OUNCE_A_GALLON, "96", in_minutes=-90)
    hollow.do(called_off, "issue")
    hollow.do(called_off, "cancel", {"reason": "rain all week"})
    counts = [{"lot": shelf, "counted": q("19.15", "lb")}]
    stocktake = hollow.odalys.post("stocktakes", {"counts": counts}).json()["id"]

    [asked] = hollow.odalys.get(f"stocktakes/{stocktake}/missing-sprays").json()["items"]

    assert (asked["lot"], asked["question"], asked["difference"]) == (
        shelf,
        "spray_missing",
        q("-0.85", "lb"),
    )
    told = [(one["id"], one["because"], one["amount"]) for one in asked["candidates"]]
    assert told == [
        (silent.removeprefix("work-orders/"), "not_started", q("0.85", "lb")),
        (called_off.removeprefix("work-orders/"), "cancelled", q("6", "lb")),
    ]


def test_i7_more_than_the_book_names_the_loads_that_may_say_too_much(hollow):
    copper, where = hollow.copper(), hollow.ready_to_spray()
    shelf = hollow.lot(copper, "C-2305", q("20", "lb"), expires_on=hollow.day(500))
    order = hollow.draft(where, copper, OUNCE_A_GALLON, "96")
    hollow.do(order, "issue")
    hollow.spray(order, [{"product": copper}], "96")
    counts = [{"lot": shelf, "counted": q("15", "lb")}]
    stocktake = hollow.odalys.post("stocktakes", {"counts": counts}).json()["id"]

    [asked] = hollow.odalys.get(f"stocktakes/{stocktake}/missing-sprays").json()["items"]

    assert (asked["question"], asked["difference"]) == ("record_wrong", q("1", "lb"))
    [load] = asked["candidates"]
    assert (load["kind"], load["because"], load["amount"]) == ("load", "used", q("6", "lb"))


def test_i7_the_season_is_not_closed_over_an_open_count(hollow):
    lot = hollow.lot(hollow.copper(), "C-2201", q("9.5", "lb"))
    season = {"name": "Winter", "from": hollow.day(-30), "until": hollow.day(90), "lines": []}
    programme = f"programmes/{hollow.pim.post('programmes', season).json()['id']}"
    counts = [{"lot": lot, "counted": q("9.5", "lb")}]
    stocktake = hollow.odalys.post("stocktakes", {"counts": counts}).json()["id"]

    refused = hollow.pim.act(programme, "close")

    assert (refused.status_code, codes(refused)) == (409, ["season_open"])
    assert refused.json()["errors"][0]["refers_to"] == {"kind": "stocktake", "id": stocktake}
    assert hollow.odalys.act(f"stocktakes/{stocktake}", "post").status_code == 200
    assert hollow.pim.act(programme, "close").status_code == 200


def test_i8_one_need_a_product_appears_while_it_is_short_and_clears_when_stock_arrives(hollow):
    oil, where = hollow.oil(), hollow.ready_to_spray()
    jug = hollow.lot(oil, "O-1", q("2.5", "gal"))
    enough = hollow.draft(where, oil, q("1", "percent_vv"), "120")
    assert hollow.odalys.get("purchase-needs").json()["items"] == []

    short = hollow.draft(where, oil, q("1", "percent_vv"), "200.8")

    for _ in range(2):
        [need] = hollow.odalys.get("purchase-needs").json()["items"]
        assert (need["product"], need["short"]) == (oil, q("0.708", "gal"))
        assert (need["needed"], need["on_hand"]) == (q("3.208", "gal"), q("2.5", "gal"))
        assert need["work_orders"] == [path.removeprefix("work-orders/") for path in (enough, short)]
        assert need["needed_by"] in (hollow.day(0), hollow.day(1))  # the order starts in a minute
    hollow.receive(jug, q("2.5", "gal"))
    assert hollow.odalys.get("purchase-needs").json()["items"] == []
    [need] = hollow.odalys.get("purchase-needs?all=true").json()["items"]
    assert (need["short"], need["on_hand"]) == (q("0", "gal"), q("5", "gal"))


def test_i11_a_scan_fills_product_expiry_and_lot(hollow):
    copper = hollow.copper()

    made = hollow.odalys.post("lots", {"gs1": f"(01){COPPER_GTIN}(17)880531(10)C-2305"})

    assert made.status_code == 201
    lot = made.json()
    assert (lot["product"], lot["number"]) == (copper, "C-2305")
    assert lot["expires_on"].endswith("88-05-31")


@pytest.mark.parametrize(("month", "last"), [("8802", "02-29"), ("8704", "04-30")])
def test_i11_day_00_of_an_expiry_is_the_last_of_its_month(hollow, month, last):
    hollow.copper()

    made = hollow.odalys.post("lots", {"gs1": f"(01){COPPER_GTIN}(17){month}00(10)7"})

    assert made.json()["expires_on"].endswith(last)


def test_i11_a_wrong_check_digit_is_refused_and_an_unknown_product_can_be_linked(hollow):
    oil = hollow.product(OIL_LABEL, "gal")
    scan = {"gs1": f"(01){OIL_GTIN}(10)7"}

    wrong = hollow.odalys.post("lots", {"gs1": f"(01){OIL_GTIN[:-1]}9(10)7"})
    unknown = hollow.odalys.post("lots", scan)

    assert (wrong.status_code, codes(wrong)) == (422, ["bad_check_digit"])
    assert (unknown.status_code, codes(unknown)) == (422, ["unknown_gtin"])
    assert OIL_GTIN in unknown.json()["errors"][0]["detail"]
    assert "gtins" in unknown.json()["errors"][0]["detail"]
    assert hollow.odalys.patch(f"products/{oil}", {"gtins": [OIL_GTIN]}).status_code == 200
    assert hollow.odalys.post("lots", scan).json()["product"] == oil


def test_i12_a_wrong_receipt_is_undone_by_a_new_line_that_names_it(hollow):
    lot = hollow.lot(hollow.copper(), "C-2201")
    wrong = hollow.receive(lot, q("95", "lb")).json()
    undo = {"kind": "reverse", "reverses": wrong["id"], "reason": "9.5 was meant"}

    made = hollow.odalys.post("stock-movements", undo)

    assert made.status_code == 201
    assert (made.json()["reverses"], made.json()["change"]) == (wrong["id"], q("-95", "lb"))
    after = hollow.odalys.get(f"stock-movements/{wrong['id']}").json()
    assert after["reversed_by"] == made.json()["id"]
    assert {**after, "reversed_by": None} == wrong
    assert hollow.on_hand(lot) == q("0", "lb")
    assert codes(hollow.odalys.post("stock-movements", undo)) == ["already_reversed"]


def test_i12_what_has_been_used_already_cannot_be_taken_back(hollow):
    copper, where = hollow.copper(), hollow.ready_to_spray()
    lot = hollow.lot(copper, "C-2201")
    received = hollow.receive(lot, q("9.5", "lb")).json()
    order = hollow.draft(where, copper, OUNCE_A_GALLON, "96")
    hollow.do(order, "issue")
    hollow.spray(order, [{"product": copper}], "96")

    refused = hollow.odalys.post(
        "stock-movements", {"kind": "reverse", "reverses": received["id"], "reason": "never came"}
    )

    assert (refused.status_code, codes(refused)) == (409, ["stock_already_used"])
    assert refused.json()["errors"][0]["short"] == q("6", "lb")
    assert hollow.on_hand(lot) == q("3.5", "lb")
