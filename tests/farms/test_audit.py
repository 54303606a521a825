"""Who did what, before and after: by role and by token, done and refused, and never to be changed."""

import csv
import io

import pytest
from django.db import DatabaseError, transaction

from orchard.farms.models import AuditEntry
from tests.callers import Caller, codes
from tests.factories import BlockFactory, FarmFactory

pytestmark = pytest.mark.django_db
GROUND = {"name": "Lower Peach", "crop": "peach", "trees": 140}


@pytest.fixture
def farm():
    return FarmFactory()


@pytest.fixture
def manager(farm):
    return Caller(farm, "manager")


def entries(who, query=""):
    answer = who.get(f"audit{query}")
    assert answer.status_code == 200, answer.json()
    return answer.json()["items"]


def test_a_change_is_told_with_who_and_what_stood_before_and_after(manager):
    block = manager.post("blocks", GROUND).json()
    manager.patch(f"blocks/{block['id']}", {"name": "Upper Peach"})

    made, changed = entries(manager, f"?resource=block&resource_id={block['id']}")

    assert (made["action"], made["outcome"], made["after"]["name"]) == ("create", "done", "Lower Peach")
    assert (changed["action"], changed["before"], changed["after"]) == (
        "update",
        {"name": "Lower Peach"},
        {"name": "Upper Peach"},
    )
    assert changed["by"] == {
        "kind": "token",
        "id": str(manager.token.id),
        "name": "manager token",
        "role": "manager",
    }


def test_an_update_that_changes_nothing_is_not_told(manager):
    block = manager.post("blocks", GROUND).json()

    manager.patch(f"blocks/{block['id']}", {"name": "Lower Peach"})

    assert [one["action"] for one in entries(manager, "?resource=block")] == ["create"]


def test_entries_are_found_by_role_by_token_by_action_and_by_time(farm, manager):
    keeper = Caller(farm, "storekeeper")
    manager.post("blocks", GROUND)
    product = keeper.post("products", {"name": "Copper 30 WG", "stock_unit": "lb"}).json()
    keeper.patch(f"products/{product['id']}", {"name": "Copper 50 WG"})

    assert [one["resource"] for one in entries(manager, "?role=storekeeper")] == ["product", "product"]
    assert [one["resource"] for one in entries(manager, f"?by={manager.token.id}")] == ["block"]
    assert [one["action"] for one in entries(manager, "?role=storekeeper&action=update")] == ["update"]
    assert entries(manager, "?by_kind=person") == []
    assert entries(manager, "?to=2001-01-01T00:00:00Z") == []
    assert codes(manager.get("audit?role=gardener")) == ["invalid"]
    assert codes(manager.get("audit?who=me")) == ["unknown_parameter"]


def test_a_refused_action_is_an_entry_with_its_codes_and_reason(farm, manager):
    block = BlockFactory(farm=farm)
    order = manager.post(
        "work-orders",
        {"kind": "scouting", "block": str(block.id), "starts_at": "2026-12-18T10:00:00-08:00"},
    ).json()

    assert manager.act(f"work-orders/{order['id']}", "issue").status_code == 409

    [entry] = entries(manager, "?outcome=refused")
    assert (entry["action"], entry["resource"], entry["resource_id"]) == ("issue", "work_order", order["id"])
    assert "crew_missing" in entry["codes"]


def test_the_senders_request_id_is_kept_and_given_back(manager):
    made = manager.post("blocks", GROUND, x_request_id="phone-7.42")
    odd = manager.post("blocks", GROUND, x_request_id="two words")

    assert made.headers["X-Request-Id"] == "phone-7.42"
    [entry] = entries(manager, "?request_id=phone-7.42")
    assert entry["resource_id"] == made.json()["id"]
    assert len(odd.headers["X-Request-Id"]) == 36


def test_secrets_never_stand_in_it(manager):
    made = manager.post("tokens", {"name": "gate", "role": "crew_member"}).json()

    [entry] = entries(manager, f"?resource=token&by={manager.token.id}")

    assert made["token"] not in str(entry) and "digest" not in entry["after"]


def test_it_comes_in_pages_that_hold_every_entry_once(manager):
    for number in range(7):
        manager.post("blocks", {**GROUND, "name": f"Block {number}"})

    seen, address = [], "audit?limit=3&resource=block"
    while address:
        page = manager.get(address).json()
        seen += [one["after"]["name"] for one in page["items"]]
        address = page["next"]

    assert seen == [f"Block {number}" for number in range(7)]


@pytest.mark.parametrize("role", ["storekeeper", "crew_lead", "crew_member", "adviser"])
def test_only_owner_and_manager_read_it(farm, role):
    assert Caller(farm, role).get("audit").status_code == 403
    assert Caller(farm, role).get("audit.csv").status_code == 403
    assert Caller(farm, "owner").get("audit").status_code == 200


def test_another_farm_sees_nothing_of_it(manager):
    manager.post("blocks", GROUND)
    stranger = Caller(FarmFactory())

    assert stranger.get("/api/v1/farms/" + str(manager.farm.id) + "/audit").status_code == 404
    assert entries(stranger, "?resource=block") == []


def test_it_is_csv_as_well_and_no_cell_is_a_formula(manager):
    manager.post("blocks", GROUND)
    manager.post("tokens", {"name": "=1+1", "role": "manager"})

    answer = manager.get("audit.csv?resource=block")

    [row] = csv.DictReader(io.StringIO(answer.content.decode()))
    assert (row["by_role"], row["action"]) == ("manager", "create")
    assert '"name": "Lower Peach"' in row["after"]


@pytest.mark.parametrize("deed", ["update", "delete"])
def test_the_database_itself_refuses_to_change_it(manager, deed):
    manager.post("blocks", GROUND)
    rows = AuditEntry.objects.filter(farm=manager.farm)

    with pytest.raises(DatabaseError), transaction.atomic():
        rows.update(by_name="somebody else") if deed == "update" else rows.delete()

    assert [one["by"]["name"] for one in entries(manager, "?resource=block")] == ["manager token"]


def test_nothing_can_be_sent_to_it(manager):
    assert manager.post("audit", {}).status_code == 405
