"""The schedule that other systems pull: each order whole, page by page, at three statements a page."""

import csv
import datetime as dt
import io

import pytest
from django.db import connection, connections
from django.test.utils import CaptureQueriesContext

from orchard.farms import fence
from orchard.farms.actors import SYSTEM
from orchard.tasks import programme_queries
from orchard.tasks.models import WorkOrder
from orchard.tasks.services import orders
from tests import database
from tests.callers import Caller, codes, pointers
from tests.factories import BlockFactory, CrewFactory, FarmFactory, ProductFactory, SprayerFactory

pytestmark = pytest.mark.django_db
FIRST = dt.datetime(2027, 1, 29, 16, tzinfo=dt.UTC)


@pytest.fixture
def manager():
    return Caller(FarmFactory(), "manager")


def issue(farm, count, **columns):
    """Let a crew have so many orders, two of them at each full hour."""
    block, crew = BlockFactory(farm=farm, name="Lower terrace"), CrewFactory(farm=farm, name="Crew one")
    shared = {"kind": "scouting", "block": block, "crew": crew, "targets": []}
    drafts = [
        orders.Draft({**shared, "starts_at": FIRST + dt.timedelta(hours=place // 2)}, None)
        for place in range(count)
    ]
    orders.add_orders(farm=farm, drafts=drafts, by=SYSTEM, now=FIRST)
    WorkOrder.objects.for_farm(farm).filter(status="draft").update(status="issued", **columns)


def statements(caught):
    return [query["sql"] for query in caught if query["sql"] not in ("BEGIN", "COMMIT")]


def test_an_order_is_shown_with_where_who_when_and_with_what(manager):
    copper = ProductFactory(farm=manager.farm, name="Copper hydroxide 30 WG")
    total = {"id": str(copper.id), "exact": {"value": "33", "unit": "tbsp"}}
    window = {"earliest": "2027-01-25", "latest": "2027-02-09", "because": "before BBCH 57"}
    ends = FIRST + dt.timedelta(hours=3, minutes=30)
    issue(manager.farm, 1, ends_at=ends, window=window, totals=[total], loads_planned=[{}, {}])
    (order,) = WorkOrder.objects.for_farm(manager.farm).select_related("block", "crew")

    assert manager.get("schedule").json() == {
        "items": [
            {
                "id": str(order.id),
                "kind": "scouting",
                "title": "Scout, Lower terrace",
                "status": "issued",
                "block": {"id": str(order.block.id), "name": "Lower terrace"},
                "crew": {"id": str(order.crew.id), "name": "Crew one"},
                "starts_at": "2027-01-29T08:00:00-08:00",
                "ends_at": "2027-01-29T11:30:00-08:00",
                "window": window,
                "re_entry_until": None,
                "loads": 2,
                "products": [{"name": "Copper hydroxide 30 WG", "total": {"value": "33", "unit": "tbsp"}}],
                "updated_at": "2027-01-29T08:00:00-08:00",
                "etag": order.etag,
                "url": order.path,
            }
        ],
        "next": None,
    }


def test_page_after_page_each_order_is_shown_once_in_the_order_of_their_beginning(manager):
    issue(manager.farm, 7)

    address, seen = "schedule?limit=3", []
    while address:
        page = manager.get(address.removeprefix("http://testserver")).json()
        seen += page["items"]
        address = page["next"]

    assert [one["starts_at"] for one in seen] == sorted(one["starts_at"] for one in seen)
    assert len({one["id"] for one in seen}) == 7


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("path", ["schedule", "changes"])
def test_a_page_needs_three_statements_for_one_row_and_for_many(manager, path):
    issue(manager.farm, 1)
    database.until_all_is_final()
    manager.get(path)
    with CaptureQueriesContext(connection) as one:
        manager.get(path)
    issue(manager.farm, 40)
    database.until_all_is_final()

    with CaptureQueriesContext(connection) as many:
        manager.get(path)

    assert len(statements(one)) == len(statements(many)) <= 3


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
def test_a_page_of_many_orders_is_read_along_their_beginning_without_a_sort():
    """PostgreSQL has to judge right how many rows the fence lets through."""
    here, there = FarmFactory(), FarmFactory()
    issue(here, 1000)
    issue(there, 1000)
    with connections["owner"].cursor() as cursor:
        cursor.execute("ANALYZE")

    with fence.opened(here.id):
        plan = programme_queries.schedule(farm=here).order_by("starts_at", "id")[:101].explain()

    assert "work_orders_by_start" in plan
    assert "Sort" not in plan


def test_the_file_of_cells_has_the_same_orders(manager):
    issue(manager.farm, 3)

    rows = list(csv.DictReader(io.StringIO(manager.get("schedule.csv").content.decode())))

    listed = manager.get("schedule").json()["items"]
    assert [row["id"] for row in rows] == [one["id"] for one in listed]
    assert {row["block"] for row in rows} == {"Lower terrace"}


def test_no_name_in_the_file_of_cells_is_run_as_a_formula(manager):
    window = {"earliest": "2027-01-25", "latest": "2027-02-09", "because": "@before BBCH 57"}
    issue(manager.farm, 1, title='=HYPERLINK("https://harvest.example")', window=window)
    order = WorkOrder.objects.for_farm(manager.farm).select_related("block", "crew").get()
    for named, name in ((order.block, "+Lower terrace"), (order.crew, "-Crew one")):
        named.name = name
        named.save()

    (row,) = csv.DictReader(io.StringIO(manager.get("schedule.csv").content.decode()))

    assert row["title"] == '\'=HYPERLINK("https://harvest.example")'
    assert (row["because"], row["block"], row["crew"]) == (
        "'@before BBCH 57",
        "'+Lower terrace",
        "'-Crew one",
    )


@pytest.mark.parametrize("path", ["schedule", "schedule.csv", "schedule.ics", "work-orders", "audit"])
def test_an_end_before_its_beginning_is_refused_and_both_are_named(manager, path):
    end = "until" if path == "work-orders" else "to"
    first, last = "2027-02-01T00:00:00Z", "2027-01-29T00:00:00Z"

    refused = manager.get(f"{path}?from={first}&{end}={last}")
    spanish = manager.get(f"{path}?from={first}&{end}={last}", accept_language="es")

    assert (refused.status_code, codes(refused), pointers(refused)) == (422, ["out_of_range"], [f"/{end}"])
    assert refused.json()["detail"] == f"from={first} lies after {end}={last}: exchange the two"
    assert spanish.json()["detail"] == f"from={first} es posterior a {end}={last}: intercambie los dos"
    assert manager.get(f"{path}?from={last}&{end}={first}").status_code == 200


def test_a_day_of_the_schedule_reaches_from_its_midnight_to_the_next(manager):
    issue(manager.farm, 1)

    assert len(manager.get("schedule?from=2027-01-29&to=2027-01-29").json()["items"]) == 1
    assert manager.get("schedule?from=2027-01-29&to=2027-01-28").status_code == 422


def test_what_is_not_issued_yet_stands_in_no_schedule(manager):
    wash = {"kind": "equipment_wash", "sprayer": SprayerFactory(farm=manager.farm), "starts_at": FIRST}
    orders.add_orders(farm=manager.farm, drafts=[orders.Draft(wash, None)], by=SYSTEM, now=FIRST)

    assert manager.get("schedule").json()["items"] == []
