"""Containers: given out, brought back, rinsed, gone, and whether they add up."""

import datetime as dt

import pytest
from django.utils import timezone

from orchard.inventory.models import ContainerRecord
from tests.callers import Caller, codes, pointers
from tests.factories import FarmFactory
from tests.inventory.store import at_once, copper, lot, new_id, oil
from tests.stories.farm import Hollow, q

pytestmark = pytest.mark.django_db


@pytest.fixture
def farm():
    return FarmFactory()


@pytest.fixture
def wren(farm):
    return Caller(farm, "crew_member")


def told(who, product, kind, count=1, **more):
    body = {"product": str(product.id), "kind": kind, "count": count, **more}
    return who.post("container-records", body)


def tally(who, product):
    [row] = who.get(f"containers?product={product.id}").json()["items"]
    return row


def test_what_was_given_out_is_back_or_rinsed_or_looked_for(farm, wren):
    jug = oil(farm)
    told(wren, jug, "issued", 5)
    told(wren, jug, "brought_back", 2)
    made = told(wren, jug, "rinsed", 2, rinse="triple", water=q("1", "gal"))

    assert made.status_code == 201, made.json()
    row = tally(wren, jug)
    assert [row[name] for name in ("issued", "brought_back", "rinsed", "out", "empty")] == [5, 2, 2, 1, 2]
    assert (row["agrees"], row["product_name"]) == (False, jug.name)
    assert [one["product"] for one in wren.get("containers?agrees=false").json()["items"]] == [str(jug.id)]
    told(wren, jug, "rinsed", rinse="pressure")
    told(wren, jug, "disposed", 3, disposal="recycled", taken_by="county collection")
    row = tally(wren, jug)
    assert (row["agrees"], row["out"], row["empty"], row["disposed"]) == (True, 0, 0, 3)


def test_a_container_is_empty_only_once_its_rinse_is_on_record(farm, wren):
    jug = oil(farm)
    told(wren, jug, "issued", 2)

    refused = told(wren, jug, "disposed", disposal="recycled")

    assert (refused.status_code, codes(refused), pointers(refused)) == (409, ["not_rinsed"], ["/count"])
    assert tally(wren, jug)["empty"] == 0
    waste = told(wren, jug, "disposed", disposal="hazardous_waste", note="bottle leaked")
    assert waste.status_code == 201
    assert [tally(wren, jug)[name] for name in ("out", "disposed", "disposed_unrinsed")] == [1, 0, 1]
    assert codes(told(wren, jug, "rinsed", 2, rinse="triple")) == ["not_issued"]


@pytest.mark.parametrize(
    ("body", "code", "pointer"),
    [
        ({"kind": "rinsed"}, "required", "/rinse"),
        ({"kind": "disposed"}, "required", "/disposal"),
        ({"kind": "issued", "rinse": "triple"}, "invalid", "/rinse"),
        ({"kind": "issued", "disposal": "recycled"}, "invalid", "/disposal"),
        ({"kind": "issued", "count": 0}, "out_of_range", "/count"),
        ({"kind": "issued", "count": 100000}, "out_of_range", "/count"),
        ({"kind": "rinsed", "rinse": "triple", "water": q("1", "lb")}, "unit_kind", "/water/unit"),
        ({"kind": "rinsed", "rinse": "once"}, "invalid", "/rinse"),
        ({"kind": "issued", "load": str(new_id())}, "not_found", "/load"),
        ({"kind": "burnt"}, "invalid", "/kind"),
    ],
)
def test_what_cannot_be_taken_at_its_word_is_refused_and_not_kept(farm, wren, body, code, pointer):
    refused = wren.post("container-records", {"product": str(oil(farm).id), "count": 1, **body})

    assert (refused.status_code, codes(refused), pointers(refused)) == (422, [code], [pointer])
    assert not ContainerRecord.objects.exists()


def test_a_lot_of_another_product_or_farm_is_refused(farm, wren):
    jug, other = oil(farm), lot(copper(farm))
    theirs = lot(copper(FarmFactory()))

    assert codes(told(wren, jug, "issued", lot=str(other.id))) == ["invalid"]
    assert codes(told(wren, jug, "issued", lot=str(theirs.id))) == ["not_found"]
    assert codes(told(wren, theirs.product, "issued")) == ["not_found"]


def test_a_phone_sends_its_entry_twice_and_it_counts_once(farm, wren):
    jug, own = oil(farm), str(new_id())

    first, again = told(wren, jug, "issued", 3, id=own), told(wren, jug, "issued", 3, id=own)

    assert (first.status_code, again.status_code) == (201, 200)
    assert tally(wren, jug)["issued"] == 3


@pytest.mark.django_db(transaction=True)
def test_of_two_who_rinse_the_last_one_at_once_one_is_refused():
    farm = FarmFactory()
    wren, jug = Caller(farm, "crew_member"), oil(farm)
    told(wren, jug, "issued")

    answers = at_once(*[lambda: told(wren, jug, "rinsed", rinse="triple")] * 2)

    assert sorted(answer.status_code for answer in answers) == [201, 409]
    assert tally(wren, jug)["out"] == 0


def test_rinse_water_is_part_of_its_load_and_a_late_rinse_is_marked():
    hollow = Hollow()
    copper_, where = hollow.copper(), hollow.ready_to_spray()
    hollow.lot(copper_, "C-1", q("20", "lb"))
    order = hollow.draft(where, copper_, q("1", "oz_wt/gal"), "96")
    hollow.do(order, "issue")
    hollow.spray(order, [{"product": copper_}], "96")
    [load] = hollow.teo.get(f"{order}/loads").json()["items"]
    entry = {"product": copper_, "kind": "issued", "count": 2}
    assert hollow.teo.post("container-records", entry).status_code == 201
    rinsed = {**entry, "kind": "rinsed", "count": 1, "rinse": "triple", "load": load["id"]}

    made = hollow.teo.post("container-records", {**rinsed, "water": q("2", "gal")}).json()
    too_much = hollow.teo.post("container-records", {**rinsed, "water": q("95", "gal")})
    morning = (timezone.now() - dt.timedelta(hours=8)).isoformat()
    late = hollow.teo.post("container-records", {**rinsed, "emptied_at": morning}).json()

    assert (made["load"], made["work_order"]) == (load["id"], order.removeprefix("work-orders/"))
    assert (made["late"], made["emptied_at"]) == (False, load["at"])
    assert (codes(too_much), pointers(too_much)) == (["out_of_range"], ["/water"])
    assert late["late"] is True
    assert len(hollow.odalys.get(f"container-records?load={load['id']}").json()["items"]) == 2


def test_what_is_neither_back_nor_rinsed_the_next_day_wants_attention(farm, wren):
    jug, manager = oil(farm), Caller(farm, "manager")
    yesterday = (timezone.now() - dt.timedelta(hours=30)).isoformat()
    told(wren, jug, "issued", 2, at=yesterday)

    rows = [one for one in manager.get("attention").json()["items"] if one["code"] == "containers_out"]
    told(wren, jug, "rinsed", 2, rinse="triple")

    assert len(rows) == 1 and "2 containers" in rows[0]["says"]
    after = manager.get("attention").json()["items"]
    assert "containers_out" not in [one["code"] for one in after]
