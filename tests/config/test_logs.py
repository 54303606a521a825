"""What stands in the log of a request, and what must never stand there."""

import json
import logging

import pytest

from orchard.config import logs
from tests.callers import Caller
from tests.factories import FarmFactory, PersonFactory

pytestmark = pytest.mark.django_db
PASSWORD = "four plum stones"


@pytest.fixture
def written():
    """Lines that the service writes while a test runs, of every logger and level."""
    kept = []

    class Keeper(logging.Handler):
        def emit(self, record):
            kept.append(self.format(record))

    keeper = Keeper(logging.DEBUG)
    keeper.setFormatter(logs.Lines())
    watched = [logging.getLogger(name) for name in ("", "django", "django.request", "orchard.requests")]
    levels = [one.level for one in watched]
    for one in watched:
        one.setLevel(logging.INFO)
        if one.name in ("root", "django", "django.request"):
            one.addHandler(keeper)
    yield kept
    for one, level in zip(watched, levels, strict=True):
        one.removeHandler(keeper)
        one.setLevel(level)


def answered(lines):
    return [line for line in map(json.loads, lines) if line["logger"] == "orchard.requests"]


def test_each_request_is_one_line_of_json_with_its_id(written):
    owner = Caller(FarmFactory(), "owner")

    answer = owner.get("blocks?limit=1", x_request_id="phone-7.42")

    [line] = answered(written)
    assert answer["X-Request-Id"] == "phone-7.42"
    assert line["request_id"] == "phone-7.42"
    assert (line["method"], line["status"]) == ("GET", 200)
    assert line["route"] == "/api/v1/farms/<uuid:farm>/blocks"
    assert line["farm"] == str(owner.farm.id)
    assert line["ms"] > 0


def test_a_page_and_a_missing_address_have_an_id_as_well(written, client):
    ids = {client.get(address)["X-Request-Id"] for address in ("/", "/api/v1/nowhere", "/sign-in")}

    assert len(ids) == 3
    assert {line["request_id"] for line in answered(written)} == ids


def test_no_token_password_name_or_email_is_ever_written(written, client):
    owner = Caller(FarmFactory(), "owner")
    person = PersonFactory(email="pim@lowbell.example", name="Pim Quillfeather")
    person.set_password(PASSWORD)
    person.save()
    member = {"email": "teo@lowbell.example", "name": "Teo Marrowfield", "role": "crew_lead"}

    client.post("/sign-in", {"username": person.email, "password": PASSWORD})
    client.post("/sign-in", {"username": "nobody@lowbell.example", "password": "a wrong secret"})
    owner.post("members", {**member, "password": "seven pear stones"})
    owner.post("members", {**member, "role": "king", "password": "seven pear stones"})
    made = owner.post("tokens", {"name": "phone", "role": "manager"}).json()
    feed = owner.post("calendar-feeds", {"name": "Teo's phone"}).json()["address"]
    assert client.get(feed).status_code == 200
    client.get(feed + "x")
    owner.get(f"blocks?api_key={made['token']}")
    client.get("/api/v1/farms", headers={"authorization": f"Bearer {made['token']}x"})

    log = "\n".join(written)
    assert len(answered(written)) >= 9
    for secret in (
        PASSWORD, "a wrong secret", "seven pear stones", owner.secret, made["token"],
        feed.rsplit("/", 1)[1].partition(".")[0], "lowbell.example", "Quillfeather", "Marrowfield",
    ):  # fmt: skip
        assert secret not in log


@pytest.mark.parametrize(
    "said",
    [
        "no answer from postgres://web:hunter2hunter2@db:5432/orchard",
        'duplicate key\nDETAIL:  Key (email)=(hunter2hunter2@lowbell.example) already exists.',
        "sent Authorization: Bearer hunter2hunter2",
        "signed with whsec_hunter2hunter2",
        "token=hunter2hunter2 password=hunter2hunter2",
        "the key hunter2hunter2hunter2hunter2hunter2hunter2hunter2 is unknown",
        "hunter2hunter2@lowbell.example is no member",
    ],
)  # fmt: skip
def test_what_other_texts_bring_along_is_struck_out(said):
    assert "hunter2" not in logs.struck(said)
    assert logs.STRUCK in logs.struck(said)


def test_an_accident_is_told_by_its_kind_and_place_and_not_by_what_it_ran_over():
    try:
        int("Pim Quillfeather")
    except ValueError as error:
        record = logging.LogRecord("orchard", logging.ERROR, __file__, 1, "broken", (), None)
        record.exc_info = (ValueError, error, error.__traceback__)

    line = json.loads(logs.Lines().format(record))

    assert line["error"]["type"] == "ValueError"
    assert "test_logs.py" in line["error"]["at"][0]
    assert "Quillfeather" not in json.dumps(line)
