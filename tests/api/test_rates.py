import pytest
from django.core.cache import cache

from orchard.api import rates
from orchard.farms.models import Token
from tests.callers import Caller, codes
from tests.clock import Clock
from tests.factories import FarmFactory

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def three_a_minute(settings):
    settings.RATE_LIMIT_PER_MINUTE = 3
    cache.clear()


def test_the_fourth_request_of_a_minute_is_one_too_many():
    assert [rates.count(caller="phone", at=1200.0 + sent).left for sent in range(4)] == [2, 1, 0, -1]
    assert rates.count(caller="phone", at=1260.0).left == 2


def test_who_sends_too_many_has_to_wait():
    caller = Caller(FarmFactory())

    answers = [caller.get("blocks") for _ in range(7)]  # more than two minutes hold, should one end meanwhile
    refused = next(one for one in answers if one.status_code == 429)

    assert codes(refused) == ["too_many_requests"]
    assert 1 <= int(refused["Retry-After"]) <= 60
    assert refused["RateLimit"].startswith('"minute";r=0;t=')


def test_what_is_left_is_told_with_every_answer():
    caller = Caller(FarmFactory())

    assert caller.get("blocks")["RateLimit"].startswith('"minute";r=2;')
    assert caller.get("no-such-thing").status_code == 404


def test_one_caller_does_not_use_up_anothers_minute():
    farm = FarmFactory()
    busy, other = Caller(farm), Caller(farm)

    for _ in range(5):
        busy.get("blocks")

    assert other.get("blocks").status_code == 200


def test_who_has_used_up_the_minute_is_refused_at_the_door_until_the_next_begins(monkeypatch):
    clock = Clock(monkeypatch, "2026-12-18 10:00")
    farm = FarmFactory()
    busy, other = Caller(farm), Caller(farm)
    asked = [busy.get("blocks") for _ in range(4)]
    Token.objects.filter(id=busy.token.id).update(revoked_at=clock.now)  # nobody looks: it is refused at once

    door, spanish = busy.get("blocks"), busy.get("workers", accept_language="es")

    assert [one.status_code for one in asked] == [200, 200, 200, 429]
    assert (door.status_code, door.json()) == (429, asked[-1].json())
    assert door["Content-Type"] == "application/problem+json"
    names = ("Retry-After", "RateLimit", "RateLimit-Policy")
    assert [door[name] for name in names] == [asked[-1][name] for name in names]
    assert spanish.json()["errors"][0]["says"].startswith("Demasiadas")
    assert other.get("blocks").status_code == 200
    assert busy.client.get("/healthz").status_code == 200
    clock.wait(minutes=1)
    assert busy.get("blocks").status_code == 401


def test_zero_turns_it_off(settings):
    settings.RATE_LIMIT_PER_MINUTE = 0
    caller = Caller(FarmFactory())

    answers = [caller.get("blocks") for _ in range(5)]

    assert {one.status_code for one in answers} == {200}
    assert "RateLimit" not in answers[0]
