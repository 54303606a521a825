"""What was truly done is never refused: it is recorded, and flagged where something is not right."""

import pytest
from django.utils import timezone

from orchard.blocks.models import Block
from scheduling import outbox
from tests.callers import Caller
from tests.tasks.lowbell import lowbell
from tests.tasks.test_work_orders import load, ready, told

pytestmark = pytest.mark.django_db
TWENTY = {"total": {"value": "20", "unit": "gal"}}


@pytest.fixture
def farm():
    return lowbell(now=timezone.now())


@pytest.fixture
def manager(farm):
    return Caller(farm.farm, "manager")


@pytest.fixture
def lead(farm):
    return Caller(farm.farm, "crew_lead")


def record_of(lead, path, **more):
    done = lead.act(path, "finish", {"nothing_unusual": True, **more}, if_match="*")
    assert done.status_code == 200, done.json()
    return lead.get(f"application-records/{done.json()['application_record']}").json()


def test_a_spray_on_a_block_without_area_is_on_record_and_says_what_was_not_checked(manager, lead, farm):
    bare = {"area": None, "trees": None, "row_spacing": None, "tree_spacing": None}
    Block.objects.filter(key=farm.a2.key).update(**bare, computed=[])
    path = ready(manager, farm, spray=TWENTY)
    assert told(lead, path, load(farm, 1, "20")).status_code == 200

    record = record_of(lead, path)

    assert record["spray"]["area"] is None and record["products"][0]["per_area"] is None
    [flag] = [one for one in record["flags"] if "area" in one["says"]]
    assert flag["code"] == "limit_passed"


def test_more_than_was_reserved_is_on_record_flagged_and_asked_about(manager, lead, farm):
    path = ready(manager, farm, spray=TWENTY)
    lots = [{"lot": str(farm.first_lot.id), "amount": {"value": "12", "unit": "lb"}}]
    over = load(farm, 1, "20", products=[{"product": str(farm.copper.id), "lots": lots}])

    assert told(lead, path, over).status_code == 200
    outbox.drain()
    record = record_of(lead, path)

    [row] = lead.get(f"{path}/loads").json()["items"]
    assert (row["stock"], row["missing"]) == ("short", {"value": "2.5", "unit": "lb"})
    assert record["products"][0]["amount"] == {"value": "12", "unit": "lb"}
    assert {one["code"] for one in record["flags"]} == {"limit_passed", "rate_exceeded"}
    assert lead.get(f"lots/{farm.first_lot.id}").json()["on_hand"] == {"value": "0", "unit": "lb"}


def test_an_incident_is_told_while_the_order_is_held_and_named_at_its_end(manager, lead, farm):
    path = ready(manager, farm, spray=TWENTY)
    told(lead, path, load(farm, 1, "20"))
    lead.act(path, "hold", {"reason": "fault"}, if_match="*")
    member = Caller(farm.farm, "crew_member")

    spill = member.post("incidents", {"kind": "spill", "place": "gate", "work_order": path.split("/")[1]})
    lead.act(path, "resume", {})
    record = record_of(lead, path, nothing_unusual=None, incidents=[spill.json()["id"]])

    assert spill.status_code == 201
    assert record["incidents"] == [spill.json()["id"]]
