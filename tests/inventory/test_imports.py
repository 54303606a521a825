"""Files of the storekeeper's: taken in whole, or refused with every fault by row and column."""

import datetime as dt

import pytest
from django.utils import timezone

from orchard.farms.actors import SYSTEM
from orchard.inventory import services
from orchard.inventory.models import Lot, Movement, Product, StockImport
from tests.callers import Caller, codes, pointers
from tests.factories import FarmFactory, amount
from tests.inventory.store import copper, lot, oil

pytestmark = pytest.mark.django_db
GTIN = "09506000134352"
PRODUCTS = f"""name,stock_unit,gtins,lead_time_days,container,container_unit,safety_stock,safety_stock_unit
Copper hydroxide 46 WG,lb,{GTIN},14,5,lb,2.5,lb
Mineral oil 98 EC,gal,,,2.5,gal,,
"""
LOTS = """product,number,expires_on,location,supplier,price,currency,price_per,price_per_unit
Copper hydroxide 46 WG,C-2201,2027-02-28,shed,Valley Supply,42.50,USD,5,lb
mineral oil 98 ec,O-1,,shed,,,,,
"""
BALANCES = """product,number,location,quantity,quantity_unit
Copper hydroxide 46 WG,C-2201,shed,9.5,lb
Mineral oil 98 EC,O-1,shed,2.5,gal
"""


class Keeper(Caller):
    """A storekeeper who sends files."""

    def send(self, kind, text, *, query="", charset="", **headers):
        raw = text if isinstance(text, bytes) else text.encode()
        content_type = "text/csv" + (f"; charset={charset}" if charset else "")
        headers = {name.replace("_", "-"): value for name, value in headers.items()}
        return self.client.generic(
            "POST",
            self.at(f"imports/{kind}{query}"),
            raw,
            content_type=content_type,
            headers={"authorization": f"Bearer {self.secret}", **headers},
        )


@pytest.fixture
def farm():
    return FarmFactory()


@pytest.fixture
def keeper(farm):
    return Keeper(farm, "storekeeper")


def kept():
    return tuple(model.objects.count() for model in (Product, Lot, Movement, StockImport))


def test_a_store_is_taken_over_from_three_files(keeper):
    made = [
        keeper.send(kind, text)
        for kind, text in (("products", PRODUCTS), ("lots", LOTS), ("opening-balances", BALANCES))
    ]

    assert [answer.status_code for answer in made] == [201] * 3, [answer.json() for answer in made]
    assert [answer.json()["rows"] for answer in made] == [2] * 3
    stock = {row["product_name"]: row for row in keeper.get("stock").json()["items"]}
    assert stock["Copper hydroxide 46 WG"]["on_hand"] == {"value": "9.5", "unit": "lb"}
    assert stock["Mineral oil 98 EC"]["on_hand"] == {"value": "2.5", "unit": "gal"}
    [first, _] = made[1].json()["made"]
    held = keeper.get(f"lots/{first}").json()
    assert (held["expires_on"], held["supplier"], held["price"]["amount"]) == (
        "2027-02-28",
        "Valley Supply",
        "42.5",
    )
    product = keeper.get(f"products/{held['product']}").json()
    assert (product["gtins"], product["lead_time"], product["container"]) == (
        [GTIN],
        {"value": "14", "unit": "d"},
        {"value": "5", "unit": "lb"},
    )
    lines = keeper.get("stock-movements").json()["items"]
    assert {(line["kind"], line["reason"]) for line in lines} == {("adjust", "opening balance")}
    assert [one["kind"] for one in keeper.get("imports?kind=lots").json()["items"]] == ["lots"]


def test_every_fault_of_a_file_is_named_by_row_and_column_and_nothing_is_kept(farm, keeper):
    held = lot(copper(farm), "1", number="C-1", location="shed")
    lot(held.product, number="C-2")
    lot(oil(farm), number="O-1")
    before = kept()
    text = """product,number,location,quantity,quantity_unit
Copper hydroxide 46 WG,C-2,,"1,5",lb
Copper hydroxyde 46 WG,C-2,,1,lb
Copper hydroxide 46 WG,C-9,,1,lb
Copper hydroxide 46 WG,C-1,shed,1,lb
Mineral oil 98 EC,,,5,acre
Mineral oil 98 EC,O-1,,5,oz
Mineral oil 98 EC,O-1,,5,lb
Mineral oil 98 EC,O-1,,-5,gal
Mineral oil 98 EC,O-1,,99999999999999999,gal
Mineral oil 98 EC,O-1,,,gal
=cmd|' /C calc'!A0,O-1,,1,gal
Mineral oil 98 EC,O-1,,1
"""

    refused = keeper.send("opening-balances", text)

    assert refused.status_code == 422
    assert list(zip(codes(refused), pointers(refused), strict=True)) == [
        ("not_a_decimal", "/rows/2/quantity"),
        ("not_found", "/rows/3/product"),
        ("not_found", "/rows/4/number"),
        ("not_empty", "/rows/5/number"),
        ("required", "/rows/6/number"),
        ("unit_kind", "/rows/6/quantity_unit"),
        ("unit_ambiguous", "/rows/7/quantity_unit"),
        ("unit_needs_density", "/rows/8/quantity_unit"),
        ("out_of_range", "/rows/9/quantity"),
        ("out_of_range", "/rows/10/quantity"),
        ("required", "/rows/11/quantity"),
        ("formula", "/rows/12/product"),
        ("invalid", "/rows/13"),
    ]
    details = [fault["detail"] for fault in refused.json()["errors"]]
    rows = [2, 3, 4, 5, 6, 6, 7, 8, 9, 10, 11, 12, 13]
    assert all(f"row {number}" in detail for number, detail in zip(rows, details, strict=True))
    assert "decimal=comma" in details[0] and "'Copper hydroxide 46 WG'" in details[1]
    assert kept() == before


def test_good_rows_beside_a_bad_one_are_not_kept(keeper):
    refused = keeper.send("products", PRODUCTS + "Sulfur 80 WG,stone,,,,,,\n")

    assert (codes(refused), pointers(refused)) == (["unit_unknown"], ["/rows/4/stock_unit"])
    assert kept() == (0, 0, 0, 0)


@pytest.mark.parametrize(
    ("raw", "charset"),
    [
        (PRODUCTS.encode("utf-8"), ""),
        (b"\xef\xbb\xbf" + PRODUCTS.encode(), ""),
        (b"\xef\xbb\xbf" + PRODUCTS.encode(), "utf-8"),
        (PRODUCTS.encode("utf-16"), ""),
        (PRODUCTS.encode("utf-16"), "utf-16"),
        (PRODUCTS.encode("cp1252"), "windows-1252"),
        (PRODUCTS.encode("cp1252"), "ISO-8859-1"),
        (PRODUCTS.replace("\n", "\r\n").encode(), ""),
        (PRODUCTS.replace(",", ";").encode(), ""),
        (PRODUCTS.replace(",", "\t").encode(), ""),
    ],
)
def test_what_spreadsheets_save_is_read(keeper, raw, charset):
    made = keeper.send("products", raw, charset=charset)

    assert made.status_code == 201, made.json()
    assert Product.objects.filter(name="Copper hydroxide 46 WG").exists()


def test_letters_of_another_encoding_are_read_only_where_it_is_said(keeper):
    text = "name,stock_unit\nOil,gal\nAceite año 98,gal\n"

    refused = keeper.send("products", text.encode("cp1252"))
    said = keeper.send("products", text.encode("cp1252"), charset="windows-1252")

    assert (refused.status_code, codes(refused), pointers(refused)) == (
        422,
        ["encoding_unknown"],
        ["/rows/3"],
    )
    assert "0xf1" in refused.json()["detail"] and "UTF-8" in refused.json()["detail"]
    assert said.status_code == 201
    assert Product.objects.filter(name="Aceite año 98").exists()


@pytest.mark.parametrize(
    ("raw", "charset"),
    [(PRODUCTS.encode("utf-16-le"), ""), (PRODUCTS.encode("utf-32"), ""), (b"name", "klingon")],
)
def test_what_cannot_be_read_is_refused_with_what_to_do(keeper, raw, charset):
    refused = keeper.send("products", raw, charset=charset)

    assert (refused.status_code, codes(refused)) == (422, ["encoding_unknown"])
    assert kept() == (0, 0, 0, 0)


@pytest.mark.parametrize(
    ("text", "faults"),
    [
        ("", [("required", "/rows/1")]),
        ("name,stock_unit\n", [("required", "/rows/2")]),
        ("nmae,stock_unit\nOil,gal\n", [("unknown_field", "/rows/1/nmae"), ("required", "/rows/1/name")]),
        ("name,name,stock_unit\nOil,Oil,gal\n", [("invalid", "/rows/1/name")]),
        ('name,stock_unit\n"Oil,gal\n', [("invalid", "/rows/2")]),
        ("name,stock_unit\nOil,gal\noil,gal\n", [("product_exists", "/rows/3/name")]),
        ("name,stock_unit\n" + "x" * 2001 + ",gal\n", [("out_of_range", "/rows/2/name")]),
        ("name,stock_unit\n" + "a,gal\n" * 1001, [("out_of_range", "/rows/1002")]),
        ("name,stock_unit,gtins\nOil,gal,09506000134353\n", [("bad_check_digit", "/rows/2/gtins")]),
        (
            "name,stock_unit,container,container_unit\nOil,gal,5,lb\n",
            [("unit_kind", "/rows/2/container_unit")],
        ),
        ("name,stock_unit,lead_time_days\nOil,gal,soon\n", [("not_a_decimal", "/rows/2/lead_time_days")]),
    ],
)
def test_a_file_that_is_no_table_of_products_is_refused(keeper, text, faults):
    refused = keeper.send("products", text)

    assert refused.status_code == 422
    assert list(zip(codes(refused), pointers(refused), strict=True)) == faults
    assert kept() == (0, 0, 0, 0)


def test_a_column_that_is_nearly_right_is_named(keeper):
    refused = keeper.send("products", "name,stock_units\nOil,gal\n")

    assert "did you mean stock_unit?" in refused.json()["errors"][0]["detail"]


def test_a_decimal_comma_is_read_only_where_the_sender_says_so(farm, keeper):
    held = lot(copper(farm), number="C-1")
    text = "product;number;quantity;quantity_unit\nCopper hydroxide 46 WG;C-1;1,5;lb\n"

    refused = keeper.send("opening-balances", text)
    pointed = keeper.send("opening-balances", text.replace("1,5", "1.5"), query="?decimal=comma")
    said = keeper.send("opening-balances", text, query="?decimal=comma")

    assert codes(refused) == codes(pointed) == ["not_a_decimal"]
    assert said.status_code == 201, said.json()
    assert keeper.get(f"lots/{held.id}").json()["on_hand"] == {"value": "1.5", "unit": "lb"}


def test_lots_say_their_product_by_name_id_or_gtin_and_a_lot_stands_in_it_once(farm, keeper):
    product = copper(farm, gtins=[GTIN])
    text = f"product,number\n{product.name},1\n{product.id},2\n{GTIN},3\n{GTIN},3\n"

    refused = keeper.send("lots", text)
    made = keeper.send("lots", text.removesuffix(f"{GTIN},3\n"))

    assert (codes(refused), pointers(refused)) == (["lot_exists"], ["/rows/5/number"])
    [fault] = refused.json()["errors"]
    assert fault["detail"] == "row 5: lot 3 stands in row 4 already: one row a lot and place"
    assert "refers_to" not in fault
    there = keeper.send("lots", f"product,number\n{product.name},3\n").json()
    assert made.json()["rows"] == 3
    assert there["errors"][0]["refers_to"]["id"] == str(Lot.objects.get(number="3").id)
    assert Lot.objects.filter(product=product).count() == 3


def test_two_products_of_one_name_are_not_guessed(farm, keeper):
    copper(farm), copper(farm)

    refused = keeper.send("lots", "product,number\nCopper hydroxide 46 WG,1\n")

    assert (codes(refused), pointers(refused)) == (["ambiguous"], ["/rows/2/product"])


def test_a_dry_run_says_what_would_be_and_keeps_nothing(keeper):
    answer = keeper.send("products", PRODUCTS, query="?dry_run=true")

    assert (answer.status_code, answer.json()["rows"]) == (200, 2)
    assert kept() == (0, 0, 0, 0)
    assert keeper.send("products", PRODUCTS).status_code == 201


def test_the_same_key_takes_a_file_in_once(keeper):
    first = keeper.send("products", PRODUCTS, idempotency_key="monday")
    again = keeper.send("products", PRODUCTS, idempotency_key="monday")
    other = keeper.send("products", PRODUCTS + "x,lb,,,,,,\n", idempotency_key="monday")

    assert first.json() == again.json()
    assert codes(other) == ["idempotency_key_reused"]
    assert Product.objects.count() == 2


def test_opening_balances_twice_are_refused_and_expired_stock_has_one_too(farm, keeper):
    held = lot(copper(farm), number="C-1", expires_on=dt.date(2020, 1, 1))
    text = "product,number,quantity,quantity_unit\nCopper hydroxide 46 WG,C-1,1,lb\n"

    first, again = keeper.send("opening-balances", text), keeper.send("opening-balances", text)

    assert (first.status_code, codes(again)) == (201, ["not_empty"])
    assert Movement.objects.filter(lot=held).count() == 1


def test_only_csv_is_taken_and_only_from_those_who_keep_the_store(farm, keeper):
    assert keeper.post("imports/products", {}).status_code == 415
    for role in ("crew_lead", "crew_member", "adviser"):
        assert Keeper(farm, role).send("products", PRODUCTS).status_code == 403
    stranger = Keeper(FarmFactory(), "storekeeper")
    stranger.farm = farm
    assert stranger.send("products", PRODUCTS).status_code == 404
    assert keeper.send("products", b"x" * (1024 * 1024 + 1)).status_code == 413
    assert keeper.send("products", PRODUCTS, query="?decimals=comma").status_code == 400


def test_another_farms_products_are_not_found_by_name_or_id(keeper):
    theirs = copper(FarmFactory(), gtins=[GTIN])

    refused = keeper.send("lots", f"product,number\n{theirs.name},1\n{theirs.id},1\n{GTIN},1\n")

    assert codes(refused) == ["not_found"] * 3
    assert not Lot.objects.exists()


# what lots held at a moment of the past


def test_a_balance_of_the_past_counts_what_was_told_late_unless_asked_otherwise(farm, keeper):
    held, now = lot(copper(farm)), timezone.now()
    last_week = now - dt.timedelta(days=7)
    services.move(
        farm=farm,
        kind="receive",
        lot=held,
        quantity=amount("9.5", "lb"),
        by=SYSTEM,
        at=last_week,
        now=last_week,
    )
    yesterday = now - dt.timedelta(days=1)
    body = {
        "kind": "dispose",
        "lot": str(held.id),
        "quantity": {"value": "2", "unit": "lb"},
        "reason": "bag burst",
        "at": yesterday.isoformat(),
    }
    assert keeper.post("stock-movements", body).status_code == 201

    def held_at(at, **more):
        query = "&".join(f"{name}={value.strftime('%Y-%m-%dT%H:%M:%SZ')}" for name, value in more.items())
        answer = keeper.get(f"stock-balances?at={at.strftime('%Y-%m-%dT%H:%M:%SZ')}&{query}")
        return [row["on_hand"]["value"] for row in answer.json()["items"]]

    assert held_at(now) == ["7.5"]
    assert held_at(now - dt.timedelta(hours=1)) == ["7.5"]
    assert held_at(yesterday - dt.timedelta(hours=1)) == ["9.5"]
    assert held_at(now, known_at=now - dt.timedelta(hours=1)) == ["9.5"]
    assert held_at(dt.datetime(2019, 1, 1, tzinfo=dt.UTC)) == []


def test_balances_are_a_file_that_no_spreadsheet_runs_and_that_adds_up(farm, keeper):
    held = lot(copper(farm), "9.5", number="=C-1", location="shed")

    answer = keeper.get("stock-balances.csv")

    assert answer.headers["Content-Type"] == "text/csv; charset=utf-8"
    header, line = answer.content.decode().splitlines()
    assert header == (
        "at,product,product_id,lot,lot_id,location,expires_on,on_hand,on_hand_unit,base,base_unit,note"
    )
    cells = line.split(",")
    assert cells[3] == "'=C-1"
    assert cells[4:] == [str(held.id), "shed", "", "9.5", "lb", "4309.127515", "g", ""]
    tomorrow = (timezone.now() + dt.timedelta(days=1)).strftime("%Y-%m-%dT%H:%M:%SZ")
    assert keeper.get(f"stock-balances.csv?at={tomorrow}").status_code == 400


def test_a_lot_twice_in_one_file_of_balances_names_the_row_that_has_it(farm, keeper):
    lot(copper(farm), number="C-2201", location="shed")
    row = "Copper hydroxide 46 WG,C-2201,shed,9.5,lb\n"

    refused = keeper.send("opening-balances", "product,number,location,quantity,quantity_unit\n" + row * 2)

    assert (codes(refused), pointers(refused)) == (["not_empty"], ["/rows/3/number"])
    assert "stands in row 2 already" in refused.json()["detail"]
    assert Movement.objects.count() == 0


# scanned packages


def test_a_scan_fills_in_a_receipt_and_finds_the_lot_that_is_there(farm, keeper):
    product = copper(farm, gtins=[GTIN])
    text = f"(01){GTIN}(17)280531(10)C-2305"

    new = keeper.get(f"scan?text={text}").json()

    assert new["product"] == {"product": str(product.id), "name": product.name}
    assert (new["number"], new["expires_on"], new["lots"]) == ("C-2305", "2028-05-31", [])
    made = keeper.post("lots", new["receipt"]).json()
    again = keeper.get(f"scan?text=01{GTIN}1728053110C-2305").json()
    assert (again["lots"][0]["lot"], again["receipt"]) == (made["id"], None)


def test_a_package_with_another_last_day_than_the_book_is_told_and_not_passed_over(farm, keeper):
    product = copper(farm, gtins=[GTIN])
    shed = lot(product, "5", number="C-2305", location="shed", expires_on=dt.date(2027, 5, 31))
    lot(product, "5", number="C-9", location="van", expires_on=dt.date(2027, 1, 31))
    text = f"(01){GTIN}(17)280531(10)C-2305"

    [finding] = keeper.get(f"scan?text={text}").json()["findings"]
    barn = keeper.post("lots", {"gs1": text, "location": "barn"}).json()
    receipt = {"kind": "receive", "lot": barn["id"], "quantity": {"value": "1", "unit": "lb"}}
    keeper.post("stock-movements", receipt)
    [waits] = asked_about_last_days(farm)

    assert (finding["code"], finding["lot"]) == ("expiry_differs", str(shed.id))
    assert "may be used until 2028-05-31, the book says 2027-05-31 (shed)" in finding["says"]
    assert waits["refers_to"] == {"kind": "lot", "id": barn["id"]}
    assert "more than one last day: 2028-05-31 (barn), 2027-05-31 (shed)." in waits["says"]
    keeper.patch(f"lots/{shed.id}", {"expires_on": "2028-05-31"})
    assert keeper.get(f"scan?text={text}").json()["findings"] == []
    assert asked_about_last_days(farm) == []


def asked_about_last_days(farm):
    rows = Caller(farm, "manager").get("attention").json()["items"]
    return [one for one in rows if one["code"] == "expiry_differs"]


def test_a_package_that_nobody_knows_offers_the_products_without_a_code(farm, keeper):
    product = oil(farm)
    copper(farm, gtins=["00614141000012"])

    shown = keeper.get(f"scan?text={GTIN[1:]}").json()

    assert (shown["gtin"], shown["product"], shown["receipt"]) == (GTIN, None, None)
    assert shown["link_to"] == [{"product": str(product.id), "name": product.name}]
    assert keeper.patch(f"products/{product.id}", {"gtins": [shown["gtin"]]}).status_code == 200
    assert keeper.get(f"scan?text={GTIN}").json()["product"]["product"] == str(product.id)


@pytest.mark.parametrize(
    ("text", "code"),
    [("9506000134353", "bad_check_digit"), ("hello", "gs1_invalid"), ("(10)C-1", "gs1_invalid")],
)
def test_a_scan_that_cannot_be_read_is_refused(keeper, text, code):
    refused = keeper.get(f"scan?text={text}")

    assert (refused.status_code, codes(refused), pointers(refused)) == (400, [code], ["/text"])


def test_a_product_that_is_not_there_is_told_beside_the_other_faults_of_its_row(farm):
    keeper = Keeper(farm, "storekeeper")
    keeper.send("products", PRODUCTS)

    lots = keeper.send("lots", "product,number,expires_on\nNobody,C-1,31/01/2028\n")
    balances = keeper.send(
        "opening-balances", BALANCES.replace("Mineral oil 98 EC,O-1,shed,2.5", "Nobody,O-1,shed,-2")
    )

    assert (codes(lots), pointers(lots)) == (
        ["not_found", "invalid"],
        ["/rows/2/product", "/rows/2/expires_on"],
    )
    assert {"/rows/3/product", "/rows/3/quantity"} <= set(pointers(balances))
    assert Lot.objects.count() == 0
