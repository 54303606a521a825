import io
import json

import pytest
from django.core.management import CommandError, call_command

from orchard.farms.models import Farm, Person
from tests.factories import FarmFactory

pytestmark = pytest.mark.django_db
FARM = {"name": "Two Wells", "zone": "America/Los_Angeles", "units": "us", "region": "US-CA"}


def run(command, **options):
    out = io.StringIO()
    call_command(command, stdout=out, **options)
    return json.loads(out.getvalue())


def test_a_farm_is_made_at_the_console():
    made = run("create_farm", **FARM)

    assert Farm.objects.get(id=made["id"]).name == "Two Wells"


def test_a_zone_that_there_is_none_of_is_one_sentence():
    with pytest.raises(CommandError, match="IANA"):
        run("create_farm", **{**FARM, "zone": "Mars/Base"})


def test_a_person_gets_the_password_of_the_environment(monkeypatch):
    monkeypatch.setenv("PASSWORD", "four plum stones")

    made = run("create_person", farm=str(FarmFactory().id), email="Pim@lowbell.example", role="manager")

    person = Person.objects.get(id=made["id"])
    assert person.email == "pim@lowbell.example"
    assert person.check_password("four plum stones")
    assert person.password.startswith("argon2")


def test_a_password_that_is_easily_guessed_is_refused(monkeypatch):
    monkeypatch.setenv("PASSWORD", "password")

    with pytest.raises(CommandError, match="too common"):
        run("create_person", farm=str(FarmFactory().id), email="pim@lowbell.example", role="manager")


def test_somebody_who_is_known_joins_a_second_farm_with_their_own_password(monkeypatch):
    monkeypatch.setenv("PASSWORD", "four plum stones")
    first, second = FarmFactory(), FarmFactory()

    ids = [
        run("create_person", farm=str(f.id), email="pim@lowbell.example", role="owner")["id"]
        for f in (first, second)
    ]

    assert ids[0] == ids[1]


@pytest.mark.parametrize(("days", "status"), [(None, 200), (1, 200), (0, 401)])
def test_a_token_opens_its_farm_until_it_expires(client, days, status):
    farm = FarmFactory()

    made = run("create_token", farm=str(farm.id), role="manager", days=days)

    answer = client.get(farm.path, headers={"authorization": f"Bearer {made['token']}"})
    assert answer.status_code == status


@pytest.mark.parametrize("farm", ["nope", "0197e4a2-7c1e-7a3b-9d52-0c8f3a6b1e11"])
def test_a_farm_that_is_not_there_is_one_sentence(farm):
    with pytest.raises(CommandError, match="there is no farm"):
        run("create_token", farm=farm, role="manager")


def test_a_scope_that_there_is_none_of_is_one_sentence():
    with pytest.raises(CommandError, match="scopes are for integrations"):
        run("create_token", farm=str(FarmFactory().id), role="integration", scopes="moon:read")
