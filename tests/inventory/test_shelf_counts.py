"""Counting at the shelf: blind, by whoever is there, on a phone without signal."""

import datetime as dt

import pytest
from django.utils import timezone

from orchard.inventory.models import Movement, ShelfCount, StocktakeCount
from tests.callers import Caller, codes, pointers
from tests.factories import FarmFactory
from tests.inventory.store import copper, lot, new_id, oil
from tests.inventory.test_stocktakes import use

pytestmark = pytest.mark.django_db
MINUTE = dt.timedelta(minutes=1)


def q(value, unit="lb"):
    return {"value": value, "unit": unit}


@pytest.fixture
def farm():
    return FarmFactory()


@pytest.fixture
def keeper(farm):
    return Caller(farm, "storekeeper")


@pytest.fixture
def wren(farm):
    return Caller(farm, "crew_member")


@pytest.fixture
def shelf(farm):
    return lot(copper(farm), "9.45", number="C-2305", location="shed")


def opened(keeper, **more):
    made = keeper.post("stocktakes", {"counts": [], "blind": True, **more})
    assert made.status_code == 201, made.json()
    return f"stocktakes/{made.json()['id']}"


def said(lot, value, unit="lb", **more):
    return {"id": str(new_id()), "lot": str(lot.id), "counted": q(value, unit), **more}


def test_the_sheet_names_what_stands_there_and_never_what_the_book_says(farm, keeper, wren, shelf):
    lot(oil(farm), "2", location="barn"), lot(shelf.product, location="shed", number="empty")
    stocktake = opened(keeper, location="shed")

    sheet = wren.get(f"{stocktake}/sheet")

    assert sheet.status_code == 200
    [line] = sheet.json()["items"]
    assert (line["number"], line["counted"], line["stock_unit"]) == ("C-2305", None, "lb")
    assert "9.45" not in sheet.content.decode() and "book" not in line


def test_a_crew_member_counts_on_a_phone_and_sent_twice_it_counts_once(keeper, wren, shelf):
    stocktake = opened(keeper)
    body = said(shelf, "8.6", counted_at=timezone.now().isoformat(), note="bag is torn")

    first, again = wren.post(f"{stocktake}/counts", body), wren.post(f"{stocktake}/counts", body)
    other = wren.post(f"{stocktake}/counts", {**body, "counted": q("86")})

    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    assert (other.status_code, codes(other)) == (409, ["id_taken"])
    assert ShelfCount.objects.count() == 1
    assert [line["counted"] for line in keeper.get(stocktake).json()["counts"]] == [q("8.6")]
    assert first.json()["created_by"]["name"] == "crew_member token"


def test_nobody_sees_the_book_before_the_counting_has_ended(keeper, wren, shelf):
    stocktake = opened(keeper)
    wren.post(f"{stocktake}/counts", said(shelf, "8.6"))

    for who in (keeper, wren):
        [line] = who.get(stocktake).json()["counts"]
        assert (line["book"], line["difference"], line["question"]) == (None, None, None)
        assert line["uses_since_last_count"] is None
    early = keeper.act(stocktake, "post", {"reasons": {str(shelf.id): "spilt"}})
    assert (early.status_code, codes(early)) == (409, ["state_conflict"])
    assert "0.85" not in early.content.decode()

    shown = keeper.act(stocktake, "reveal")

    assert shown.status_code == 200
    [line] = shown.json()["counts"]
    assert (line["book"], line["difference"], line["question"]) == (
        q("9.45"),
        q("-0.85"),
        "spray_missing",
    )
    late = wren.post(f"{stocktake}/counts", said(shelf, "9.45"))
    assert (late.status_code, codes(late)) == (409, ["state_conflict"])
    assert codes(keeper.patch(stocktake, {"counts": []})) == ["state_conflict"]
    done = keeper.act(stocktake, "post", {"reasons": {str(shelf.id): "bag torn"}})
    assert (done.status_code, done.json()["status"]) == (200, "posted")
    assert keeper.get(f"lots/{shelf.id}").json()["on_hand"] == q("8.6")


def test_of_two_counts_of_a_lot_the_later_holds_whichever_comes_first(keeper, wren, shelf):
    stocktake, now = opened(keeper, blind=False), timezone.now()
    wren.post(f"{stocktake}/counts", said(shelf, "8.6", counted_at=now.isoformat()))
    wren.post(f"{stocktake}/counts", said(shelf, "8", counted_at=(now - MINUTE).isoformat()))

    assert [line["counted"] for line in keeper.get(stocktake).json()["counts"]] == [q("8.6")]
    assert [one["counted"] for one in keeper.get(f"{stocktake}/counts").json()["items"]] == [q("8.6"), q("8")]


def test_each_count_is_set_against_the_book_of_its_own_minute(keeper, wren, shelf):
    now = timezone.now()
    stocktake = opened(keeper, blind=False, counted_at=(now - 60 * MINUTE).isoformat())
    use(shelf, "1", at=now - 30 * MINUTE)
    wren.post(f"{stocktake}/counts", said(shelf, "8.45", counted_at=(now - 5 * MINUTE).isoformat()))

    [line] = keeper.get(stocktake).json()["counts"]

    assert (line["book"], line["difference"]) == (q("8.45"), q("0"))
    assert keeper.patch(stocktake, {"note": "done"}).json()["counts"] == [line]
    assert keeper.act(stocktake, "post").status_code == 200
    assert not Movement.objects.filter(kind="adjust").exists()


@pytest.mark.parametrize(
    ("counted", "code", "pointer"),
    [
        (q("1", "oz"), "unit_ambiguous", "/counted/unit"),
        (q("1", "acre"), "unit_kind", "/counted/unit"),
        (q("-1"), "out_of_range", "/counted/value"),
        (q("1,5"), "not_a_decimal", "/counted/value"),
        (q("1" + "0" * 18), "out_of_range", "/counted/value"),
    ],
)
def test_a_count_that_cannot_be_taken_at_its_word_leaves_nothing(keeper, wren, shelf, counted, code, pointer):
    stocktake = opened(keeper)

    refused = wren.post(f"{stocktake}/counts", {"lot": str(shelf.id), "counted": counted})

    assert (refused.status_code, codes(refused), pointers(refused)) == (422, [code], [pointer])
    assert (ShelfCount.objects.count(), StocktakeCount.objects.count()) == (0, 0)


def test_a_lot_that_is_counted_in_another_stocktake_is_not_counted_here(keeper, wren, shelf):
    first, second = opened(keeper), opened(keeper)
    wren.post(f"{first}/counts", said(shelf, "8.6"))

    refused = wren.post(f"{second}/counts", said(shelf, "8.6"))

    assert (refused.status_code, codes(refused)) == (409, ["state_conflict"])
    assert first.endswith(refused.json()["errors"][0]["refers_to"]["id"])
    assert ShelfCount.objects.count() == 1


def test_another_farms_lot_and_stocktake_are_not_there(keeper, shelf):
    stocktake = opened(keeper)
    stranger = Caller(FarmFactory(), "storekeeper")
    theirs = lot(copper(stranger.farm), "1")

    assert stranger.get(f"{stocktake}/sheet").status_code == 404
    assert stranger.post(f"{stocktake}/counts", said(shelf, "1")).status_code == 404
    assert codes(keeper.post(f"{stocktake}/counts", said(theirs, "1"))) == ["not_found"]


def test_an_adviser_looks_and_does_not_count(farm, keeper, shelf):
    stocktake = opened(keeper)

    assert Caller(farm, "adviser").post(f"{stocktake}/counts", said(shelf, "1")).status_code == 403
