"""Products, their labels, lots and the stock view over HTTP."""

import datetime as dt

import pytest
from django.utils import timezone
from uuid6 import uuid7

from orchard.farms.actors import SYSTEM
from orchard.inventory import services
from orchard.inventory.services import Need
from tests.callers import Caller, codes, pointers
from tests.factories import FarmFactory, LabelVersionFactory, amount
from tests.inventory.store import COPPER, copper, fresh, lot, new_id, oil

pytestmark = pytest.mark.django_db

GTIN = "09506000134352"


def q(value, unit):
    return {"value": value, "unit": unit}


@pytest.fixture
def farm():
    return FarmFactory()


@pytest.fixture
def keeper(farm):
    return Caller(farm, "storekeeper")


def test_a_product_is_made_read_and_found(keeper):
    body = {"name": "Mineral oil", "stock_unit": "gal", "gtins": [GTIN], "lead_time": q("3", "d")}

    made = keeper.post("products", body)

    assert made.status_code == 201
    assert {name: made.json()[name] for name in body} == body
    assert made.json()["label"] is None
    assert keeper.get(made["Location"]).json() == made.json()
    assert len(keeper.get(f"products?gtin={GTIN}").json()["items"]) == 1
    assert keeper.get("products?gtin=00000000000000").json()["items"] == []
    assert len(keeper.get("products?name=Mineral oil").json()["items"]) == 1


@pytest.mark.parametrize(
    ("more", "code", "pointer"),
    [
        ({"stock_unit": "oz"}, "unit_ambiguous", "/stock_unit"),
        ({"stock_unit": "acre"}, "unit_kind", "/stock_unit"),
        ({"stock_unit": "jug"}, "unit_unknown", "/stock_unit"),
        ({"gtins": ["09506000134353"]}, "bad_check_digit", "/gtins/0"),
        ({"gtins": ["9506000134352"]}, "invalid", "/gtins/0"),
        ({"lead_time": q("3", "gal")}, "unit_kind", "/lead_time/unit"),
        ({"price": "12"}, "unknown_field", "/price"),
    ],
)
def test_what_is_wrong_with_a_product_is_named(keeper, more, code, pointer):
    refused = keeper.post("products", {"name": "Oil", "stock_unit": "gal", **more})

    assert (refused.status_code, codes(refused), pointers(refused)) == (422, [code], [pointer])


def test_a_product_changes_its_unit_but_not_the_kind_its_ledger_is_kept_in(farm, keeper):
    product = copper(farm)
    held = lot(product, "5")

    assert keeper.patch(f"products/{product.id}", {"stock_unit": "oz_wt"}).status_code == 200
    assert keeper.get(f"lots/{held.id}").json()["on_hand"] == q("80", "oz_wt")
    assert codes(keeper.patch(f"products/{product.id}", {"stock_unit": "gal"})) == ["in_use"]


def test_a_product_in_use_is_put_away_and_not_deleted(farm, keeper):
    product, unused = copper(farm), oil(farm)

    refused = keeper.delete(f"products/{product.id}")
    keeper.patch(f"products/{product.id}", {"archived": True})

    assert (refused.status_code, codes(refused)) == (409, ["in_use"])
    assert keeper.delete(f"products/{unused.id}").status_code == 204
    assert keeper.get("products").json()["items"] == []
    assert len(keeper.get("products?archived=true").json()["items"]) == 1


def test_a_label_takes_over_on_its_day_and_the_old_one_stays(farm, keeper):
    product = oil(farm)
    today = timezone.now().astimezone(dt.timezone(dt.timedelta(hours=-8))).date()
    path = f"products/{product.id}/labels"

    old = keeper.post(path, {"label": COPPER, "effective_from": "2020-01-01"})
    new = keeper.post(path, {"label": COPPER, "effective_from": today.isoformat()})
    coming = keeper.post(path, {"label": COPPER, "effective_from": "2190-01-01"})

    assert [made.status_code for made in (old, new, coming)] == [201] * 3
    assert keeper.get(f"products/{product.id}").json()["label"] == new.json()["id"]
    assert [row["id"] for row in keeper.get(path).json()["items"]] == [
        made.json()["id"] for made in (old, new, coming)
    ]
    assert keeper.get(f"{path}/{old.json()['id']}").json()["label"] == COPPER
    assert keeper.call("PATCH", f"{path}/{old.json()['id']}", {}).status_code == 405


def test_a_new_label_is_a_new_version_of_its_product(farm, keeper):
    product = oil(farm)
    before = keeper.get(f"products/{product.id}")["ETag"]

    keeper.post(f"products/{product.id}/labels", {"label": COPPER, "effective_from": "2020-01-01"})

    assert keeper.get(f"products/{product.id}")["ETag"] != before


def test_every_fault_of_a_label_is_named_where_it_is(farm, keeper):
    label = {
        "name": "Oil",
        "colour": "blue",
        "formulation": "XYZ",
        "uses": [
            {"crops": ["peach"], "rate": {"maximum": q("2", "oz/gal")}},
            {"rate": {"maximum": q("2,5", "lb/acre")}, "stages": [{"from": 100, "to": 5}]},
        ],
    }

    refused = keeper.post(f"products/{oil(farm).id}/labels", {"label": label})

    assert refused.status_code == 422
    assert dict(zip(pointers(refused), codes(refused), strict=True)) == {
        "/label/colour": "unknown_field",
        "/label/formulation": "invalid",
        "/label/uses/0/rate/maximum/unit": "unit_ambiguous",
        "/label/uses/1/crops": "required",
        "/label/uses/1/rate/maximum/value": "not_a_decimal",
        "/label/uses/1/stages/0/from": "out_of_range",
        "/effective_from": "required",
    }


@pytest.mark.parametrize(
    ("label", "code"), [(None, "required"), ([], "invalid"), ("x", "invalid"), ({}, "required")]
)
def test_a_label_that_is_none_is_refused(farm, keeper, label, code):
    refused = keeper.post(f"products/{oil(farm).id}/labels", {"label": label, "effective_from": "2020-01-01"})

    assert (refused.status_code, codes(refused)) == (422, [code])


def test_a_label_does_not_end_before_it_begins(farm, keeper):
    body = {"label": COPPER, "effective_from": "2026-02-01", "effective_until": "2026-01-31"}

    assert pointers(keeper.post(f"products/{oil(farm).id}/labels", body)) == ["/effective_until"]


def test_labels_of_another_farms_product_are_not_there(keeper):
    theirs = copper(FarmFactory())

    assert keeper.get(f"products/{theirs.id}/labels").status_code == 404


def test_a_lot_is_made_and_empty(farm, keeper):
    product = copper(farm)
    body = {"product": str(product.id), "number": "C-2201", "expires_on": "2190-02-28", "location": "barn"}

    made = keeper.post("lots", body)

    assert made.status_code == 201, made.json()
    shown = made.json()
    assert {name: shown[name] for name in body} == body
    assert (shown["usable"], shown["quarantined"], shown["supplier"]) == (True, False, None)
    assert [shown[name] for name in ("on_hand", "reserved", "available")] == [q("0", "lb")] * 3


def test_the_same_lot_at_the_same_place_exists_once(farm, keeper):
    held = lot(copper(farm), number="7", location="barn")
    body = {"product": str(held.product.id), "number": "7"}

    refused = keeper.post("lots", {**body, "location": "barn"})
    other = keeper.post("lots", {**body, "location": "shed"})

    assert (refused.status_code, codes(refused)) == (409, ["lot_exists"])
    assert refused.json()["errors"][0]["refers_to"] == {"kind": "lot", "id": str(held.id)}
    assert other.status_code == 201
    moved = keeper.patch(f"lots/{other.json()['id']}", {"location": "barn"})
    assert codes(moved) == ["lot_exists"]


def test_a_lot_needs_its_product_and_number_and_a_quarantine_its_reason(keeper):
    refused = keeper.post("lots", {"quarantined": True})

    assert dict(zip(pointers(refused), codes(refused), strict=True)) == {
        "/product": "required",
        "/number": "required",
        "/quarantine_reason": "required",
    }
    assert codes(keeper.post("lots", {"product": str(new_id()), "number": "x" * 21})) == [
        "not_found",
        "out_of_range",
    ]


def test_a_caked_lot_is_set_aside_and_let_go_again(farm, keeper):
    held = lot(copper(farm), "5")

    assert codes(keeper.patch(f"lots/{held.id}", {"quarantined": True})) == ["required"]
    aside = keeper.patch(f"lots/{held.id}", {"quarantined": True, "quarantine_reason": "caked"}).json()
    again = keeper.patch(f"lots/{held.id}", {"quarantined": False}).json()

    assert (aside["usable"], aside["on_hand"], aside["available"]) == (False, q("5", "lb"), q("0", "lb"))
    assert (again["usable"], again["available"], again["quarantine_reason"]) == (True, q("5", "lb"), None)


@pytest.mark.parametrize(
    "scanned",
    [
        f"(01){GTIN}(17)280200(10)C-2305",
        f"01{GTIN}17280200" + "10C-2305",
        f"]d201{GTIN}10C-2305\x1d17280200",
        f"\x1d01{GTIN}21SERIAL\x1d10C-2305\x1d17280200",
        f"(01) {GTIN} (21)SERIAL(10)C-2305(17)280200",
    ],
)
def test_a_scan_names_product_lot_and_last_day(farm, keeper, scanned):
    product = copper(farm, gtins=[GTIN])

    made = keeper.post("lots", {"gs1": scanned, "location": "barn"})

    assert made.status_code == 201, made.json()
    shown = made.json()
    assert (shown["product"], shown["number"], shown["expires_on"], shown["location"]) == (
        str(product.id),
        "C-2305",
        "2028-02-29",
        "barn",
    )


@pytest.mark.parametrize(
    ("scanned", "code"),
    [
        ("(01)09506000134353(10)7", "bad_check_digit"),
        ("(01)00000000000017(10)7", "unknown_gtin"),
        (f"(01){GTIN}", "gs1_invalid"),
        ("(10)7", "gs1_invalid"),
        (f"(01){GTIN}(10)7(17)281301", "gs1_invalid"),
        (f"(01){GTIN}(10)7(17)280230", "gs1_invalid"),
        (f"(01){GTIN}(10)7(17)2802", "gs1_invalid"),
        (f"(01){GTIN}(10)7(10)8", "gs1_invalid"),
        (f"(01){GTIN}(10){'7' * 21}", "gs1_invalid"),
        (f"01{GTIN}1728", "gs1_invalid"),
        ("hello", "gs1_invalid"),
        ("(01)", "gs1_invalid"),
        ("(", "gs1_invalid"),
    ],
)
def test_a_scan_that_cannot_be_taken_is_refused(farm, keeper, scanned, code):
    copper(farm, gtins=[GTIN])

    refused = keeper.post("lots", {"gs1": scanned})

    assert (refused.status_code, codes(refused), pointers(refused)) == (422, [code], ["/gs1"])


@pytest.mark.parametrize(
    ("days", "code", "pointer"),
    [
        ({"opened_on": "2199-04-02"}, "time_in_future", "/opened_on"),
        ({"made_on": "2199-04-02"}, "time_in_future", "/made_on"),
        ({"made_on": "2026-04-02", "expires_on": "2025-04-02"}, "out_of_range", "/expires_on"),
        ({"made_on": "2026-04-02", "opened_on": "2026-04-01"}, "out_of_range", "/opened_on"),
    ],
)
def test_a_jug_is_neither_opened_tomorrow_nor_out_of_date_before_it_was_made(
    farm, keeper, days, code, pointer
):
    product = copper(farm)

    refused = keeper.post("lots", {"product": str(product.id), "number": "C-1", **days})
    held = keeper.post("lots", {"product": str(product.id), "number": "C-1"}).json()
    changed = keeper.patch(f"lots/{held['id']}", days)

    assert (codes(refused), pointers(refused)) == ([code], [pointer])
    assert (codes(changed), pointers(changed)) == ([code], [pointer])


@pytest.mark.parametrize(
    ("scanned", "asked"),
    [
        (f"01{GTIN}10S-917280200", "(10)S-9(17)280200, or (10)S-917280200"),
        (f"01{GTIN}1728020010S-911260101", "(10)S-9(11)260101, or (10)S-911260101"),
        (f"01{GTIN}10S-9(17)280200", "put all of them in brackets"),
    ],
)
def test_a_lot_that_may_have_swallowed_its_last_day_is_asked_about(farm, keeper, scanned, asked):
    copper(farm, gtins=[GTIN])

    refused = keeper.post("lots", {"gs1": scanned})

    assert (refused.status_code, codes(refused)) == (422, ["gs1_invalid"])
    assert asked in refused.json()["detail"]
    assert keeper.get("lots").json()["items"] == []


@pytest.mark.parametrize(
    ("scanned", "number"),
    [
        (f"(01){GTIN}(10)S-917280200", "S-917280200"),  # brackets say where the lot ends
        (f"01{GTIN}1728020010S-917280200", "S-917280200"),  # its last day stands before it
        (f"01{GTIN}10S-917281301", "S-917281301"),  # no day
        (f"01{GTIN}10S-917990101", "S-917990101"),  # no package is good for so long
    ],
)
def test_a_lot_that_ends_like_a_date_is_taken_where_that_is_no_question(farm, keeper, scanned, number):
    copper(farm, gtins=[GTIN])

    made = keeper.post("lots", {"gs1": scanned})

    assert (made.status_code, made.json()["number"]) == (201, number)


def test_what_is_scanned_is_not_given_as_well(farm, keeper):
    product = copper(farm, gtins=[GTIN])

    refused = keeper.post("lots", {"gs1": f"(01){GTIN}(10)7", "product": str(product.id), "number": "8"})

    assert pointers(refused) == ["/product", "/number"]


def test_a_gtin_on_two_products_is_not_guessed(farm, keeper):
    copper(farm, gtins=[GTIN]), copper(farm, gtins=[GTIN])

    assert codes(keeper.post("lots", {"gs1": f"(01){GTIN}(10)7"})) == ["gs1_invalid"]


def test_lots_are_found_by_what_is_asked(farm, keeper):
    product = copper(farm)
    lot(product, number="1", location="barn", expires_on=dt.date(2021, 1, 1))
    lot(product, number="2", location="shed", quarantined=True, quarantine_reason="frozen")
    lot(oil(farm), number="3", location="shed", expires_on=dt.date(2190, 1, 1))
    lot(product, number="4", archived=True)

    def numbers(query=""):
        return [row["number"] for row in keeper.get(f"lots?{query}").json()["items"]]

    assert numbers() == ["1", "2", "3"]
    assert numbers("archived=true") == ["1", "2", "3", "4"]
    assert numbers(f"product={product.id}") == ["1", "2"]
    assert numbers("number=2") == ["2"]
    assert numbers("location=shed") == ["2", "3"]
    assert numbers("usable=true") == ["3"]
    assert numbers("usable=false") == ["1", "2"]
    assert numbers("expires_before=2026-01-01") == ["1"]


def test_the_stock_view_adds_up_the_lots_of_each_product(farm, keeper):
    product = copper(farm)
    first = lot(product, "9.5", number="C-2201", expires_on=dt.date(2150, 2, 28))
    second = lot(product, "20", number="C-2305", expires_on=dt.date(2188, 5, 31))
    expired = lot(product, "1", number="C-1999", expires_on=dt.date(2021, 1, 1))
    needs = [Need(product, amount("20.05", "lb"))]
    services.reserve(farm=farm, work_order=new_id(), needs=needs, by=SYSTEM, now=timezone.now())

    seen = keeper.get("stock").json()

    item = seen["items"][0]
    assert dt.datetime.fromisoformat(seen["as_of"]).utcoffset() is not None
    assert seen["next"] is None
    assert (item["product"], item["product_name"]) == (str(product.id), product.name)
    assert (item["on_hand"], item["reserved"]) == (q("30.5", "lb"), q("20.05", "lb"))
    assert item["available"] == q("9.45", "lb")
    assert item["base"]["on_hand"] == q("13834.567285", "g")
    assert (item["signal_word"], item["hazards"]) == ("danger", ["GHS05", "GHS09"])
    assert [(one["lot"], one["usable"], one["available"]) for one in item["lots"]] == [
        (str(expired.id), False, q("0", "lb")),
        (str(first.id), True, q("0", "lb")),
        (str(second.id), True, q("9.45", "lb")),
    ]


def test_the_stock_view_counts_only_what_is_asked_for(farm, keeper):
    product = copper(farm)
    barn = lot(product, "5", location="barn")
    lot(product, "3", location="shed", quarantined=True, quarantine_reason="frozen")
    lot(oil(farm), "1", location="shed")

    def seen(query=""):
        return {
            item["product_name"][:3]: (item["on_hand"]["value"], len(item["lots"]))
            for item in keeper.get(f"stock?{query}").json()["items"]
        }

    assert seen() == {"Cop": ("8", 2), "Min": ("1", 1)}
    assert seen(f"product={product.id}") == {"Cop": ("8", 2)}
    assert seen(f"lot={barn.id}") == {"Cop": ("5", 1)}
    assert seen("location=shed") == {"Cop": ("3", 1), "Min": ("1", 1)}
    assert seen("usable=true") == {"Cop": ("5", 1), "Min": ("1", 1)}
    assert seen("usable=false") == {"Cop": ("3", 1)}
    assert keeper.get("stock?colour=red").status_code == 400


def test_a_product_without_a_label_has_no_hazards_that_are_known(farm, keeper):
    oil(farm)

    item = keeper.get("stock").json()["items"][0]

    assert (item["on_hand"], item["signal_word"], item["lots"]) == (q("0", "gal"), None, [])


def test_a_lot_that_was_put_away_with_stock_in_it_still_counts(farm, keeper):
    held = lot(copper(farm), "5")

    keeper.patch(f"lots/{held.id}", {"archived": True})

    item = keeper.get("stock").json()["items"][0]
    assert (item["on_hand"], item["available"]) == (q("5", "lb"), q("0", "lb"))


@pytest.mark.parametrize("path", ["stock", "lots", "products"])
def test_a_full_store_costs_as_many_queries_as_an_empty_one(
    farm, keeper, path, django_assert_max_num_queries
):
    for number in range(12):
        product = copper(farm)
        LabelVersionFactory(farm=farm, product=product, effective_from=dt.date(2021, 1, 1))
        lot(product, "5", number=f"{number}")

    with django_assert_max_num_queries(10):
        assert len(keeper.get(path).json()["items"]) == 12


def test_the_stock_view_goes_on_from_page_to_page(farm, keeper):
    for _ in range(5):
        copper(farm)

    seen, address = [], "stock?limit=2"
    while address:
        page = keeper.get(address).json()
        seen += [item["product"] for item in page["items"]]
        address = page["next"]

    assert len(set(seen)) == len(seen) == 5


def test_reservations_show_what_is_still_promised(farm, keeper):
    product = copper(farm)
    held, order = lot(product, "5"), new_id()
    needs = [Need(product, amount("2", "lb"))]
    services.reserve(farm=farm, work_order=order, needs=needs, by=SYSTEM, now=timezone.now())

    row = keeper.get(f"reservations?work_order={order}&status=open").json()["items"][0]

    assert (row["product"], row["lot"], row["work_order"]) == (str(product.id), str(held.id), str(order))
    assert row["quantity"] == q("2", "lb")
    assert keeper.get(f"reservations/{row['id']}").json() == row
    services.release(farm=farm, work_order=order, by=SYSTEM, now=timezone.now())
    assert keeper.get("reservations?status=open").json()["items"] == []
    assert keeper.get(f"reservations?lot={held.id}").json()["items"][0]["status"] == "released"
    assert keeper.post("reservations", {}).status_code == 405


def test_a_shortage_is_a_question_with_its_load(farm, keeper):
    product = copper(farm)
    load = new_id()
    services.use(
        farm=farm,
        work_order=new_id(),
        load=load,
        used=[services.Used(product, None, amount("1", "lb"))],
        by=SYSTEM,
        at=timezone.now(),
        now=timezone.now(),
    )

    row = keeper.get("shortages?answered=false").json()["items"][0]

    assert (row["load"], row["missing"], row["lot"]) == (str(load), q("1", "lb"), None)
    assert keeper.get(f"shortages/{row['id']}").status_code == 200


def test_the_storekeeper_answers_a_shortage_once_and_a_crew_does_not(farm, keeper):
    services.use(
        farm=farm,
        work_order=new_id(),
        load=new_id(),
        used=[services.Used(copper(farm), None, amount("1", "lb"))],
        by=SYSTEM,
        at=timezone.now(),
        now=timezone.now(),
    )
    told = keeper.get("attention").json()["items"]
    row = keeper.get("shortages?answered=false").json()["items"][0]
    said = {"answer": "a jug stood in the van"}

    assert "shortage_open" in {one["code"] for one in told}
    assert Caller(farm, "crew_lead").act(f"shortages/{row['id']}", "answer", said).status_code == 403
    answered = keeper.act(f"shortages/{row['id']}", "answer", said, if_match="*")
    assert (answered.status_code, answered.json()["answer"]) == (200, "a jug stood in the van")
    assert keeper.get("shortages?answered=false").json()["items"] == []
    assert "shortage_open" not in {one["code"] for one in keeper.get("attention").json()["items"]}
    again = keeper.act(f"shortages/{row['id']}", "answer", said)
    assert (again.status_code, again.json()["errors"][0]["code"]) == (409, "state_conflict")


def test_an_id_that_a_phone_made_is_kept(farm, keeper):
    body = {"id": str(uuid7()), "product": str(copper(farm).id), "number": "7"}

    first, again = keeper.post("lots", body), keeper.post("lots", body)

    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json()["id"] == again.json()["id"] == body["id"]


def test_stock_changes_are_in_the_feed_and_make_a_new_version_of_the_lot(farm, keeper):
    held = lot(copper(farm))
    before = keeper.get(f"lots/{held.id}")["ETag"]

    keeper.post("stock-movements", {"kind": "receive", "lot": str(held.id), "quantity": q("1", "lb")})

    assert keeper.get(f"lots/{held.id}")["ETag"] != before
    assert fresh(held).version == 2
