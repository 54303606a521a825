import pytest
from django.test import Client

from tests.factories import FarmFactory, MembershipFactory, PersonFactory

pytestmark = pytest.mark.django_db
PASSWORD = "four plum stones"


@pytest.fixture
def member():
    person = PersonFactory(email="pim@lowbell.example")
    person.set_password(PASSWORD)
    person.save()
    return MembershipFactory(person=person, farm=FarmFactory(name="Lowbell"))


def sign_in(client, password=PASSWORD):
    return client.post("/sign-in", {"username": "Pim@Lowbell.example", "password": password})


def test_a_member_signs_in_and_finds_the_farm(client, member):
    assert sign_in(client).status_code == 302

    assert "Lowbell" in client.get("/").content.decode()
    assert client.get(member.farm.path).json()["name"] == "Lowbell"


def test_a_wrong_password_says_so_and_keeps_what_was_typed(client, member):
    page = sign_in(client, "three plum stones")

    assert page.status_code == 200
    assert 'role="alert"' in page.content.decode()
    assert 'value="Pim@Lowbell.example"' in page.content.decode()
    assert client.get(member.farm.path).status_code == 401


def test_what_a_page_sends_needs_its_token_against_forgery(member):
    client = Client(enforce_csrf_checks=True)
    client.force_login(member.person)

    refused = client.post(f"{member.farm.path}/blocks", {"name": "A", "crop": "peach"}, "application/json")

    assert refused.status_code == 403
    assert refused["Content-Type"] == "application/problem+json"


def test_signing_out_ends_it(client, member):
    sign_in(client)

    client.post("/sign-out")

    assert client.get(member.farm.path).status_code == 401


def test_anybody_may_ask_whether_it_is_alive_and_ready(client):
    assert client.get("/healthz").status_code == 200
    assert client.get("/readyz").json() == {
        "ready": True,
        "database": "ok",
        "broker": "none: in the process",
        "outbox": {"waiting": 0, "set_aside": 0, "oldest_s": None},
    }


def test_a_broker_that_does_not_answer_makes_it_not_ready(client, settings):
    settings.REDIS_URL = "redis://127.0.0.1:1/0"

    answer = client.get("/readyz")

    assert (answer.status_code, answer.json()["broker"]) == (503, "no answer")
