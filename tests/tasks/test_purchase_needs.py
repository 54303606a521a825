"""What is to be bought: what open orders still take, less what may be used."""

import datetime as dt
import zoneinfo

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from orchard.farms.actors import SYSTEM
from orchard.inventory import services as store
from orchard.inventory.services import Used
from orchard.tasks.models import WorkOrder
from tests.callers import Caller, codes
from tests.factories import BlockFactory, CrewFactory, FarmFactory, SprayerFactory, amount
from tests.inventory.store import copper, lot, new_id, oil

pytestmark = pytest.mark.django_db
ZONE = zoneinfo.ZoneInfo("America/Los_Angeles")
TODAY = timezone.now().astimezone(ZONE).date()
DAY = dt.timedelta(days=1)


def q(value, unit):
    return {"value": value, "unit": unit}


@pytest.fixture
def farm():
    return FarmFactory()


@pytest.fixture
def keeper(farm):
    return Caller(farm, "storekeeper")


def planned(*products, status="draft", in_days=3, **more):
    """Return an order that takes so much of some products: pairs of product and quantity."""
    farm = products[0][0].farm
    starts_at = dt.datetime.combine(TODAY + in_days * DAY, dt.time(8), ZONE)
    more.setdefault("number", WorkOrder.objects.for_farm(farm).count() + 1)
    return WorkOrder.objects.create(
        farm=farm,
        kind="spray",
        status=status,
        held_from="draft" if status == "held" else None,
        finished_at=starts_at if status == "done" else None,
        block=BlockFactory(farm=farm),
        sprayer=SprayerFactory(farm=farm),
        crew=CrewFactory(farm=farm),
        starts_at=starts_at,
        totals=[{"id": str(product.id), "exact": taken} for product, taken in products],
        created_at=timezone.now(),
        updated_at=timezone.now(),
        **more,
    )


def use(order, product, value, unit="lb"):
    load, now = new_id(), timezone.now()
    store.use(
        farm=order.farm,
        work_order=order.id,
        load=load,
        used=[Used(product, None, amount(value, unit))],
        by=SYSTEM,
        at=now,
        now=now,
    )
    return load


def needs(keeper, query=""):
    answer = keeper.get(f"purchase-needs{query}")
    assert answer.status_code == 200, answer.json()
    return answer.json()["items"]


def test_three_blocks_leave_one_jug_of_oil_short_by_what_was_published(farm, keeper):
    powder, liquid = copper(farm), oil(farm)
    lot(powder, "9.5"), lot(powder, "20"), lot(liquid, "2.5")
    orders = [
        planned((powder, q(ounces, "oz_wt")), (liquid, q(gallons, "gal")), in_days=days)
        for ounces, gallons, days in (("120", "1.20", 5), ("196", "1.96", 4), ("4.8", "0.048", 6))
    ]

    [row] = needs(keeper)

    assert row == {
        "product": str(liquid.id),
        "needed": q("3.208", "gal"),
        "on_hand": q("2.5", "gal"),
        "short": q("0.708", "gal"),
        "needed_by": (TODAY + 4 * DAY).isoformat(),
        "work_orders": [str(orders[n].id) for n in (1, 0, 2)],
        "not_counted": [],
        "planned": q("0", "gal"),
        "safety_stock": None,
        "to_order": q("0.708", "gal"),
        "container": None,
        "containers": None,
        "order_by": (TODAY + 5 * DAY).isoformat(),
        "late": False,
        "lines_not_counted": 0,
    }
    by_product = {row["product"]: row for row in needs(keeper, "?all=true")}
    assert by_product[str(powder.id)]["needed"] == q("20.05", "lb")
    assert by_product[str(powder.id)]["short"] == q("0", "lb")
    assert needs(keeper, "?all=false") == [row]


@pytest.mark.parametrize("status", ["draft", "issued", "accepted", "under_way", "held"])
def test_orders_count_from_draft_to_held(farm, keeper, status):
    product = copper(farm)
    planned((product, q("3", "lb")), status=status)

    assert [row["short"] for row in needs(keeper)] == [q("3", "lb")]


@pytest.mark.parametrize("status", ["done", "cancelled"])
def test_what_is_done_or_called_off_needs_nothing(farm, keeper, status):
    product = copper(farm)
    planned((product, q("3", "lb")), status=status)

    assert needs(keeper, "?all=true") == []


def test_what_an_order_has_used_it_no_longer_needs(farm, keeper):
    product = copper(farm)
    lot(product, "4")
    order = planned((product, q("6", "lb")))

    use(order, product, "3")

    [row] = needs(keeper)
    assert (row["needed"], row["on_hand"], row["short"]) == (q("3", "lb"), q("1", "lb"), q("2", "lb"))


def test_what_the_book_could_not_give_has_been_used_all_the_same(farm, keeper):
    product = copper(farm)
    lot(product, "2")
    order = planned((product, q("6", "lb")))

    use(order, product, "3")

    [row] = needs(keeper)
    assert (row["needed"], row["on_hand"]) == (q("3", "lb"), q("0", "lb"))


def test_more_used_than_planned_takes_nothing_off_other_orders(farm, keeper):
    product = copper(farm)
    lot(product, "10")
    used_up = planned((product, q("3", "lb")))
    other = planned((product, q("8", "lb")))
    use(used_up, product, "4")

    [row] = needs(keeper)

    assert (row["needed"], row["short"]) == (q("8", "lb"), q("2", "lb"))
    assert row["work_orders"] == [str(other.id)]


def test_what_is_promised_to_the_orders_is_not_bought_a_second_time(farm, keeper):
    product = copper(farm)
    lot(product, "6")
    order = planned((product, q("6", "lb")))
    store.reserve(
        farm=farm,
        work_order=order.id,
        needs=[store.Need(product, amount("6", "lb"))],
        by=SYSTEM,
        now=timezone.now(),
    )

    assert needs(keeper) == []


@pytest.mark.parametrize(
    "why",
    [
        {"quarantined": True, "quarantine_reason": "caked"},
        {"archived": True},
        {"expires_on": TODAY - DAY},
        {"expires_on": TODAY + DAY},  # the work is later
    ],
)
def test_what_may_not_be_used_on_the_day_is_not_on_hand(farm, keeper, why):
    product = copper(farm)
    lot(product, "6", **why)
    planned((product, q("6", "lb")), in_days=3)

    assert [(row["on_hand"], row["short"]) for row in needs(keeper)] == [(q("0", "lb"), q("6", "lb"))]


def test_a_lot_that_ends_on_the_day_of_the_work_is_on_hand(farm, keeper):
    product = copper(farm)
    lot(product, "6", expires_on=TODAY + 3 * DAY)
    planned((product, q("6", "lb")), in_days=3)

    assert needs(keeper) == []


def test_for_an_order_that_is_late_today_counts(farm, keeper):
    product = copper(farm)
    lot(product, "6", expires_on=TODAY - DAY)
    planned((product, q("6", "lb")), in_days=-2)

    [row] = needs(keeper)

    assert (row["short"], row["needed_by"]) == (q("6", "lb"), (TODAY - 2 * DAY).isoformat())


def test_a_powder_by_volume_goes_by_its_bulk_density_and_without_one_is_named(farm, keeper):
    powder, liquid = copper(farm, stock_unit="g"), oil(farm)
    planned((powder, q("2", "L")))
    unclear = planned((liquid, q("3", "lb")))
    clear = planned((liquid, q("1", "gal")), in_days=4)
    lot(liquid, "5")

    rows = {row["product"]: row for row in needs(keeper)}

    assert rows[str(powder.id)]["needed"] == q("1000", "g")
    row = rows[str(liquid.id)]
    assert (row["needed"], row["short"]) == (q("1", "gal"), q("0", "gal"))
    assert row["work_orders"] == [str(unclear.id), str(clear.id)]
    assert row["not_counted"] == [str(unclear.id)]


def test_an_order_without_a_total_is_named(farm, keeper):
    product = copper(farm)
    order = planned((product, None))

    assert [row["not_counted"] for row in needs(keeper)] == [[str(order.id)]]


def test_needed_by_is_the_day_on_the_farm(farm, keeper):
    product = copper(farm)
    order = planned((product, q("1", "lb")))
    late_in_the_evening = dt.datetime.combine(TODAY + 3 * DAY, dt.time(23, 30), ZONE)
    WorkOrder.objects.filter(key=order.key).update(starts_at=late_in_the_evening)

    assert needs(keeper)[0]["needed_by"] == (TODAY + 3 * DAY).isoformat()


def test_everybody_of_the_farm_reads_them_and_nobody_else(farm, keeper):
    planned((copper(farm), q("1", "lb")))

    assert len(needs(Caller(farm, "crew_member"))) == 1
    assert needs(Caller(FarmFactory(), "owner"), "?all=true") == []
    assert Caller(FarmFactory(), "owner").get(keeper.at("purchase-needs")).status_code == 404


def test_names_that_are_not_known_are_refused_and_pages_are_cut(farm, keeper):
    for _ in range(3):
        planned((copper(farm), q("1", "lb")))

    assert codes(keeper.get("purchase-needs?every=true")) == ["unknown_parameter"]
    first = keeper.get("purchase-needs?limit=2").json()
    assert (len(first["items"]), len(keeper.get(first["next"]).json()["items"])) == (2, 1)


def test_many_products_orders_and_lots_cost_as_many_queries_as_one(farm, keeper):
    planned((copper(farm), q("1", "L")))
    needs(keeper)  # the first request of a token is written down
    with CaptureQueriesContext(connection) as one:
        needs(keeper)
    for _ in range(6):
        powder, liquid = copper(farm), oil(farm)
        lot(powder, "0.1"), lot(powder, "0.1")
        for _ in range(2):
            use(planned((powder, q("3", "L")), (liquid, q("1", "gal"))), powder, "0.1")

    with CaptureQueriesContext(connection) as many:
        assert len(needs(keeper)) == 13

    assert len(many) == len(one)


# what to buy, and by when


def test_what_is_bought_comes_in_whole_containers_in_time_for_its_delivery(farm, keeper):
    liquid = oil(farm)
    liquid.container, liquid.lead_time = amount("2.5", "gal"), amount("60", "h")
    liquid.save()
    lot(liquid, "2.5")
    planned((liquid, q("8", "gal")), in_days=2)

    [row] = needs(keeper)

    assert (row["short"], row["to_order"]) == (q("5.5", "gal"), q("5.5", "gal"))
    assert (row["container"], row["containers"]) == (q("2.5", "gal"), 3)
    assert (row["order_by"], row["late"]) == ((TODAY - DAY).isoformat(), True)
    [told] = [one for one in keeper.get("attention").json()["items"] if one["code"] == "product_short"]
    assert told["says"].endswith(f"it was to be ordered by {TODAY - DAY}, order it now")


def test_what_expires_between_two_jobs_serves_only_the_first(farm, keeper):
    liquid = oil(farm)
    lot(liquid, "5", expires_on=TODAY + 4 * DAY)
    planned((liquid, q("2", "gal")), in_days=3)
    planned((liquid, q("3", "gal")), in_days=6)

    [row] = needs(keeper)

    assert (row["needed"], row["on_hand"], row["short"]) == (q("5", "gal"), q("5", "gal"), q("3", "gal"))
    assert row["order_by"] == (TODAY + 6 * DAY).isoformat()


def test_a_safety_stock_is_kept_up_whatever_is_planned(farm, keeper):
    liquid = oil(farm)
    liquid.safety_stock = amount("3", "gal")
    liquid.save()
    lot(liquid, "2"), lot(liquid, "9", quarantined=True, quarantine_reason="leaking")

    assert needs(keeper) == []
    [row] = needs(keeper, "?ahead=true")
    assert (row["needed"], row["to_order"]) == (q("0", "gal"), q("1", "gal"))
    planned((liquid, q("1.5", "gal")))
    [row] = needs(keeper, "?ahead=true")
    assert (row["short"], row["to_order"]) == (q("0", "gal"), q("2.5", "gal"))
    [low] = [one for one in keeper.get("attention").json()["items"] if one["code"] == "stock_low"]
    assert low["says"].endswith("by 2.5 gal: buy 2.5 gal")
    liquid.container = amount("2", "gal")
    liquid.save()
    [low] = [one for one in keeper.get("attention").json()["items"] if one["code"] == "stock_low"]
    assert low["says"].endswith("buy 2.5 gal (whole containers: 2)")
    lot(liquid, "2.5")
    assert needs(keeper, "?ahead=true") == []


def season(farm, keeper, product, **line):
    """Return the line of a plan that sprays 1 oz/gal at 1.4 gal a tree."""
    manager = Caller(farm, "manager")
    body = {
        "name": "Winter",
        "from": (TODAY + 30 * DAY).isoformat(),
        "until": (TODAY + 120 * DAY).isoformat(),
        "lines": [
            {
                "title": "Leaf-fall copper",
                "kind": "spray",
                "blocks": [],
                "crops": ["peach"],
                "products": [{"product": str(product.id), "rate": q("1", "oz_wt/gal")}],
                "volume_per_tree": q("1.4", "gal"),
                **line,
            }
        ],
    }
    made = manager.post("programmes", body)
    assert made.status_code == 201, made.json()
    return manager, made.json()


def test_what_the_seasons_plan_will_use_is_bought_before_any_order_stands(farm, keeper):
    powder = copper(farm)
    blocks = [BlockFactory(farm=farm, trees=trees) for trees in (140, 60)]
    BlockFactory(farm=farm, crop="apple", trees=900)
    lot(powder, "5")
    manager, plan = season(farm, keeper, powder)

    assert needs(keeper) == []
    [row] = needs(keeper, "?ahead=true")
    assert (row["needed"], row["planned"], row["to_order"]) == (
        q("0", "lb"),
        q("17.5", "lb"),
        q("12.5", "lb"),
    )
    assert row["needed_by"] == (TODAY + 30 * DAY).isoformat()
    order = planned((powder, q("12.25", "lb")))
    type(order.block).objects.filter(key=order.block.key).update(crop="apple")
    WorkOrder.objects.filter(key=order.key).update(
        block=blocks[0].key, programme=plan["id"], line=plan["lines"][0]["id"]
    )
    [row] = needs(keeper, "?ahead=true")
    assert (row["needed"], row["planned"], row["to_order"]) == (
        q("12.25", "lb"),
        q("5.25", "lb"),
        q("12.5", "lb"),
    )
    assert manager.act(f"programmes/{plan['id']}", "close").status_code == 409  # the order is open
    WorkOrder.objects.filter(key=order.key).update(status="cancelled")
    manager.act(f"programmes/{plan['id']}", "close")
    assert needs(keeper, "?ahead=true") == []


def test_a_line_whose_amount_cannot_be_told_is_said(farm, keeper):
    powder = copper(farm)
    BlockFactory(farm=farm, trees=140)
    season(farm, keeper, powder, volume_per_tree=None)

    [row] = needs(keeper, "?all=true")

    assert (row["planned"], row["lines_not_counted"]) == (q("0", "lb"), 1)
