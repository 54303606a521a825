import json
from urllib.parse import parse_qs, urlsplit

import pytest
from uuid6 import uuid7

from orchard.farms.models import AuditEntry
from tests.callers import Caller, codes, pointers
from tests.clock import Clock
from tests.factories import FarmFactory, MembershipFactory, PersonFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def farm():
    return FarmFactory()


@pytest.fixture
def owner(farm):
    return Caller(farm, "owner")


def test_nobody_sees_a_farm_without_signing_in(farm, client):
    response = client.get(f"/api/v1/farms/{farm.id}")

    assert response.status_code == 401
    assert response["Content-Type"] == "application/problem+json"
    assert response["WWW-Authenticate"].startswith("Bearer")


def test_a_stranger_cannot_tell_another_farm_from_none(farm):
    stranger = Caller(FarmFactory(), "owner")

    assert stranger.get(f"/api/v1/farms/{farm.id}").status_code == 404
    assert stranger.get(f"/api/v1/farms/{farm.id}/members").status_code == 404
    assert stranger.get(f"/api/v1/farms/{uuid7()}").status_code == 404


def test_a_farm_is_read_and_changed_by_its_manager(farm):
    manager = Caller(farm, "manager")

    response = manager.patch(
        "", {"emergency": "Gate 2, Mill Lane", "limits": {"wind_maximum": {"value": "8", "unit": "mph"}}}
    )

    assert response.status_code == 200, response.json()
    assert response.json()["emergency"] == "Gate 2, Mill Lane"
    assert response["ETag"] != '"1"'


def test_every_fault_of_a_farm_is_named_at_once(owner):
    response = owner.patch(
        "", {"zone": "Mars/Base", "limits": {"wind_maximum": {"value": "8", "unit": "oz"}}, "colour": "red"}
    )

    assert response.status_code == 422
    assert set(codes(response)) >= {"unknown_field"}


def test_a_change_needs_the_version_that_was_read(owner):
    assert owner.call("PATCH", "", {"name": "New"}).status_code == 428
    assert owner.call("PATCH", "", {"name": "New"}, if_match='"old"').status_code == 412


def test_a_token_is_shown_once_and_works_until_it_is_revoked(owner):
    made = owner.post("tokens", {"name": "phone", "role": "crew_member"})
    token, path = made.json()["token"], f"tokens/{made.json()['id']}"

    assert made.status_code == 201
    assert "token" not in owner.get(path).json()
    assert owner.get("", authorization=f"Bearer {token}").status_code == 200
    assert owner.delete(path).status_code == 204
    assert owner.get("", authorization=f"Bearer {token}").status_code == 401


def test_a_manager_cannot_make_a_token_for_an_owner(farm):
    response = Caller(farm, "manager").post("tokens", {"name": "mine", "role": "owner"})

    assert response.status_code == 403
    assert codes(response) == ["role_not_allowed"]


def test_an_integration_goes_by_its_scopes(farm):
    reader = Caller(farm, "integration", scopes=("admin:read",))

    assert reader.get("members").status_code == 200
    assert codes(reader.post("members", {})) == ["scope_missing"]


def test_the_last_owner_stays(farm, owner):
    member = MembershipFactory(farm=farm, role="owner")

    response = owner.delete(f"members/{member.id}")

    assert (response.status_code, codes(response)) == (409, ["last_owner"])
    assert AuditEntry.objects.filter(outcome="refused", codes=["last_owner"]).count() == 1


def test_the_same_key_gives_the_first_answer_again(owner):
    body = {"name": "phone", "role": "crew_member"}

    first = owner.post("tokens", body, idempotency_key="abc")
    again = owner.post("tokens", body, idempotency_key="abc")
    other = owner.post("tokens", {**body, "name": "other"}, idempotency_key="abc")

    assert (first.status_code, again.status_code, other.status_code) == (201, 201, 422)
    assert first.json()["id"] == again.json()["id"]
    assert "token" not in again.json()
    assert codes(other) == ["idempotency_key_reused"]


def test_a_key_is_kept_for_seven_days_and_belongs_to_one_sender_and_one_address(farm, monkeypatch):
    clock = Clock(monkeypatch, "2026-12-18 10:00")
    one, other = Caller(farm, "owner"), Caller(farm, "owner")
    body = {"name": "Ana", "adult": True}

    first = one.post("workers", body, idempotency_key="abc")
    assert one.post("blocks", {"name": "Nine", "crop": "peach"}, idempotency_key="abc").status_code == 201
    assert other.post("workers", body, idempotency_key="abc").json()["id"] != first.json()["id"]
    clock.wait(days=6, hours=23)
    assert one.post("workers", body, idempotency_key="abc").json() == first.json()
    clock.wait(hours=2)
    assert one.post("workers", body, idempotency_key="abc").json()["id"] != first.json()["id"]


def test_an_id_that_a_phone_made_is_kept_and_taken_once(owner):
    body = {"id": str(uuid7()), "name": "phone", "role": "crew_member"}

    first, again = owner.post("tokens", body), owner.post("tokens", body)
    other = owner.post("tokens", {**body, "name": "other"})

    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json()["id"] == again.json()["id"] == body["id"]
    assert (other.status_code, codes(other)) == (409, ["id_taken"])


def test_the_same_id_on_two_farms_tells_neither_of_the_other(owner):
    body = {"id": str(uuid7()), "name": "phone", "role": "crew_member"}
    neighbour = Caller(FarmFactory(), "owner")

    assert owner.post("tokens", body).status_code == 201
    assert neighbour.post("tokens", {**body, "name": "theirs"}).status_code == 201
    assert owner.get(f"tokens/{body['id']}").json()["name"] == "phone"
    assert neighbour.get(f"tokens/{body['id']}").json()["name"] == "theirs"


def test_pages_follow_each_other_without_gaps(owner):
    for number in range(5):
        owner.post("tokens", {"name": f"phone {number}", "role": "crew_member"})

    seen, address = [], "tokens?limit=2"
    while address:
        page = owner.get(address).json()
        seen += [row["id"] for row in page["items"]]
        address = page["next"]

    assert len(seen) == len(set(seen)) == 6


def test_a_cursor_of_another_farm_is_not_there(owner):
    other = Caller(FarmFactory(), "owner")
    for one in (owner, other):
        for name in ("Upper", "Lower"):
            assert one.post("blocks", {"name": name, "crop": "peach"}).status_code == 201
    onward = parse_qs(urlsplit(owner.get("blocks?limit=1").json()["next"]).query)["cursor"][0]

    refused = other.get(f"blocks?cursor={onward}")

    assert (refused.status_code, codes(refused), pointers(refused)) == (404, ["not_found"], ["/cursor"])
    assert owner.get(f"blocks?cursor={onward}").status_code == 200


def test_people_on_two_farms_turn_the_pages_of_their_farms(client):
    person = PersonFactory()
    for _ in range(2):
        MembershipFactory(person=person, role="owner")
    client.force_login(person)

    first = client.get("/api/v1/farms?limit=1").json()
    second = client.get(first["next"]).json()

    assert first["items"][0]["id"] != second["items"][0]["id"]
    assert second["next"] is None


@pytest.mark.parametrize(
    "query", ["limit=0", "limit=501", "cursor=rubbish", "colour=red", "created_since=yesterday"]
)
def test_a_query_that_is_not_understood_is_refused(owner, query):
    assert owner.get(f"tokens?{query}").status_code == 400


@pytest.mark.parametrize(
    ("body", "status"),
    [
        ("{", 400),
        (b"\xff\xfe", 400),
        ("[" * 33 + "]" * 33, 400),
        ('{"name": ' + '{"a": ' * 32 + "1" + "}" * 33, 400),
        ("[" * 5000 + "]" * 5000, 400),
        ('{"name": "a\\u0000b", "role": "owner"}', 400),
        ('{"name": NaN}', 400),
        ("[]", 422),
        ('"text"', 422),
        ('{"name": 7, "role": ["owner"]}', 422),
        (json.dumps({"name": "x" * 3000, "role": "owner"}), 422),
        (" " * (1024 * 1024 + 1), 413),
    ],
)
def test_rubbish_gets_a_problem_and_never_a_row(owner, body, status):
    response = owner.post("tokens", body)

    assert response.status_code == status, response.content[:300]
    assert response["Content-Type"] == "application/problem+json"
    assert owner.get("tokens").json()["items"][1:] == []


def test_thirty_two_levels_are_read(owner):
    deepest = '{"name": ' + "[" * 31 + "1" + "]" * 31 + "}"

    assert pointers(owner.call("POST", "tokens", deepest)) == ["/name", "/role"]


def test_a_form_is_not_json(owner):
    response = owner.client.post(
        owner.at("tokens"), {"name": "x"}, headers={"authorization": f"Bearer {owner.secret}"}
    )

    assert response.status_code == 415


def test_an_address_that_offers_no_such_method_says_which_it_offers(owner):
    response = owner.call("DELETE", "members")

    assert response.status_code == 405
    assert "GET" in response["Allow"]


def test_changes_are_read_on_from_a_cursor(owner):
    owner.post("tokens", {"name": "one", "role": "crew_member"})
    first = owner.get("changes").json()
    owner.post("tokens", {"name": "two", "role": "crew_member"})

    assert owner.get("changes?after=rubbish").status_code == 400
    assert isinstance(first["items"], list)


def test_a_member_reads_pointers_into_their_body(owner):
    response = owner.post("members", {"email": "no address", "name": "", "role": "king"})

    assert response.status_code == 422
    assert pointers(response) == ["/email", "/name", "/role"]


def test_a_person_who_has_signed_in_makes_a_farm_and_owns_it(client):
    person = PersonFactory()
    client.force_login(person)
    body = {"name": "Mine", "zone": "America/Los_Angeles", "units": "us", "region": "US-CA"}

    made = client.post("/api/v1/farms", body, content_type="application/json")

    assert made.status_code == 201, made.json()
    assert [farm["id"] for farm in client.get("/api/v1/farms").json()["items"]] == [made.json()["id"]]
    assert client.get(made.json()["url"] + "/members").json()["items"][0]["role"] == "owner"


def test_a_token_sees_its_own_farm_and_makes_none(farm, owner):
    FarmFactory()

    assert [one["id"] for one in owner.get("/api/v1/farms").json()["items"]] == [str(farm.id)]
    assert owner.post("/api/v1/farms", {}).status_code == 403
