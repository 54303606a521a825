"""What the product on each block cost, by the lot that was used; and the questions of the store."""

import pytest

from tests.callers import Caller, codes
from tests.stories.farm import Hollow, q

pytestmark = pytest.mark.django_db


def price(amount, per, currency="USD"):
    return {"amount": amount, "currency": currency, "per": per}


@pytest.fixture
def hollow():
    return Hollow()


def sprayed(hollow, *lots, gallons="320.8"):
    """Return the block that one spray of a product went on, from these lots."""
    product, where = hollow.copper(), hollow.ready_to_spray()
    for number, holds, days, more in lots:
        hollow.lot(product, number, holds, expires_on=hollow.day(days), **more)
    order = hollow.draft(where, product, q("1.0", "oz_wt/gal"), gallons)
    hollow.do(order, "issue")
    hollow.spray(order, [{"product": product}], gallons)
    hollow.do(order, "finish", {"nothing_unusual": True})
    return where["block"]


def test_a_spray_costs_what_each_of_its_lots_cost(hollow):
    block = sprayed(
        hollow,
        ("C-2201", q("9.5", "lb"), 60, {"price": price("20", q("5", "lb"))}),
        ("C-2305", q("20", "lb"), 500, {"price": price("6", q("16", "oz_wt"))}),
    )

    [row] = hollow.odalys.get("costs").json()["items"]

    assert (row["block"], row["area"], row["complete"]) == (block, q("3", "acre"), True)
    first, later = row["lots"]
    assert (first["number"], first["amount"], first["cost"]) == ("C-2201", q("9.5", "lb"), "38")
    assert (later["number"], later["amount"], later["cost"]) == ("C-2305", q("10.55", "lb"), "63.3")
    # 101.30 over 3 acres of 4046.8564224 m2
    assert row["costs"] == [
        {"currency": "USD", "amount": "101.3", "per_hectare": "83.44", "per_acre": "33.77"}
    ]
    by_lot = hollow.odalys.get(f"costs?lot={first['lot']}").json()["items"]
    assert [one["costs"][0]["amount"] for one in by_lot] == ["38"]


def test_what_has_no_price_is_said_and_left_out_of_the_sum(hollow):
    sprayed(
        hollow,
        ("C-2201", q("9.5", "lb"), 60, {}),
        ("C-2305", q("20", "lb"), 500, {"price": price("6", q("1", "lb"), "EUR")}),
    )

    [row] = hollow.pim.get("costs").json()["items"]

    assert (row["complete"], [one["cost"] for one in row["lots"]]) == (False, [None, "63.3"])
    assert [one["currency"] for one in row["costs"]] == ["EUR"]


def test_a_void_costs_nothing_and_a_crew_member_sees_no_prices(hollow):
    sprayed(hollow, ("C-1", q("20", "lb"), 60, {"price": price("6", q("1", "lb"))}), gallons="96")
    [record] = hollow.pim.get("application-records").json()["items"]

    assert hollow.teo.get("costs").json()["items"] != []

    assert Caller(hollow.farm, "crew_member").get("costs").status_code == 403
    path = f"application-records/{record['id']}"
    assert hollow.pim.act(path, "void", {"reason": "wrong block"}).status_code == 201
    assert hollow.pim.get("costs").json()["items"] == []


def test_a_question_of_the_store_is_answered_once(hollow):
    product, where = hollow.copper(), hollow.ready_to_spray()
    lot = hollow.lot(product, "C-1", q("6", "lb"))
    order = hollow.draft(where, product, q("1.0", "oz_wt/gal"), "96")
    hollow.do(order, "issue")
    used = [{"product": product, "lots": [{"lot": lot, "amount": q("7", "lb")}]}]
    hollow.spray(order, used, "96")
    [asked] = hollow.odalys.get("shortages?answered=false").json()["items"]
    path = f"shortages/{asked['id']}"
    assert asked["missing"] == q("1", "lb")
    assert "shortage_open" in [one["code"] for one in hollow.pim.get("attention").json()["items"]]

    assert hollow.teo.act(path, "answer", {"answer": "x"}).status_code == 403
    assert codes(hollow.odalys.act(path, "answer")) == ["required"]
    done = hollow.odalys.act(path, "answer", {"answer": "a bag of the neighbour's was used"})

    assert done.status_code == 200 and done.json()["answered_at"] is not None
    assert codes(hollow.odalys.act(path, "answer", {"answer": "again"})) == ["state_conflict"]
    assert hollow.odalys.get("shortages?answered=false").json()["items"] == []
