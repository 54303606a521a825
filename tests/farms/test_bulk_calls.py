"""A phone that comes back sends what it kept in one call, and each part of it is answered by itself."""

import datetime as dt
import os
import random

import pytest
from django.utils import timezone
from uuid6 import uuid7

from orchard.blocks.models import ScoutingCount, StageObservation
from tests.callers import Caller, codes, pointers
from tests.clock import Clock
from tests.factories import BlockFactory, FarmFactory
from tests.invented.farm import CALM, Invented, q

pytestmark = pytest.mark.django_db
BULK = "/api/v1/bulk"
KEPT = int(os.environ.get("PROMISE_ROUNDS", "60"))


@pytest.fixture
def hollow(monkeypatch):
    return Invented("lowbell_hollow", Clock(monkeypatch, "2026-12-03 09:00"))


@pytest.fixture
def block():
    return BlockFactory(farm=FarmFactory())


def seen(block, bbch=95, **more):
    path = f"/api/v1/farms/{block.farm.id}/blocks/{block.id}/stages"
    return {"path": path, "body": {"bbch": bbch, "observed_on": "2026-01-02"}, **more}


def answers(response):
    assert response.status_code == 200, response.content
    return response.json()["items"]


def test_what_is_refused_stops_nothing_else(block):
    strangers = seen(BlockFactory(farm=FarmFactory()))
    calls = [seen(block), seen(block, bbch=120), strangers, {"path": "/metrics"}, seen(block, bbch=97)]

    told = answers(Caller(block.farm, "crew_lead").post(BULK, {"items": calls}))

    assert [one["status"] for one in told] == [201, 422, 404, 404, 201]
    assert told[0]["body"]["bbch"] == 95 and told[0]["etag"] and told[0]["location"]
    assert [fault["pointer"] for fault in told[1]["body"]["errors"]] == ["/bbch"]
    assert set(StageObservation.objects.values_list("bbch", flat=True)) == {95, 97}


def test_many_calls_in_one_count_as_many_against_the_minute(block, settings):
    settings.RATE_LIMIT_PER_MINUTE = 3

    told = answers(Caller(block.farm, "crew_lead").post(BULK, {"items": [seen(block) for _ in range(4)]}))

    assert [one["status"] for one in told] == [201, 201, 429, 429]
    assert StageObservation.objects.count() == 2


def test_what_a_role_may_not_do_alone_it_may_not_do_among_many(block):
    names = {"path": f"/api/v1/farms/{block.farm.id}/blocks", "body": {"name": "New", "crop": "peach"}}
    body = {"items": [names, seen(block)]}

    as_member = answers(Caller(block.farm, "crew_member").post(BULK, body))
    as_partner = answers(Caller(block.farm, "integration", scopes=("blocks:read",)).post(BULK, body))

    assert [one["status"] for one in as_member] == [403, 201]
    assert [one["status"] for one in as_partner] == [403, 403]
    assert Caller(block.farm).post(BULK, body, authorization="Bearer x").status_code == 401


def test_all_that_waited_are_each_there_once_however_often_they_are_sent(block, settings):
    settings.RATE_LIMIT_PER_MINUTE = 0
    lead = Caller(block.farm, "crew_lead")
    body = {"items": [seen(block, bbch=number % 100) for number in range(KEPT)]}

    first = answers(lead.post(BULK, body, idempotency_key="morning"))
    again = answers(lead.post(BULK, body, idempotency_key="morning"))

    assert [one["status"] for one in first] == [201] * KEPT
    assert [one["body"]["id"] for one in again] == [one["body"]["id"] for one in first]
    assert StageObservation.objects.count() == KEPT


@pytest.mark.parametrize("hours_off", [-48, 48])
def test_a_phone_whose_clock_is_two_days_off_tells_each_thing_once_or_is_asked_for_the_time(
    block, settings, hours_off
):
    settings.RATE_LIMIT_PER_MINUTE = 0
    lead, now = Caller(block.farm, "crew_lead"), timezone.now()
    told_at = (now + dt.timedelta(hours=hours_off)).isoformat()
    count = {"target": "mites", "method": "visual", "sample_size": 10, "count": 0, "observed_at": told_at}
    path = f"/api/v1/farms/{block.farm.id}/blocks/{block.id}/scouting"
    calls = [{"path": path, "body": {**count, "id": str(uuid7())}} for _ in range(KEPT)]
    shuffled = random.Random(hours_off).sample(calls, KEPT)

    first, again = (answers(lead.post(BULK, {"items": items})) for items in (calls, shuffled))

    if hours_off > 0:  # nothing is guessed: the phone keeps what it has, and a person sets the time right
        for one in (*first, *again):
            fault = one["body"]["errors"][0]
            assert (one["status"], fault["code"], fault["pointer"]) == (422, "time_in_future", "/observed_at")
        assert ScoutingCount.objects.count() == 0
        calls = [{**one, "body": {**one["body"], "observed_at": now.isoformat()}} for one in calls]
        first = answers(lead.post(BULK, {"items": calls}))
    else:
        assert {one["status"] for one in again} == {200}
    assert {one["status"] for one in first} == {201}
    rows = list(ScoutingCount.objects.order_by("created_at", "id"))
    assert [str(row.id) for row in rows] == [one["body"]["id"] for one in calls]  # as the server met them
    assert all(abs(row.created_at - now) < dt.timedelta(minutes=5) for row in rows)
    assert {row.observed_at.isoformat() for row in rows} == {told_at if hours_off < 0 else now.isoformat()}


def test_more_than_a_thousand_are_refused_whole(block):
    refused = Caller(block.farm, "crew_lead").post(BULK, {"items": [{"path": "/"}] * 1001})

    assert (refused.status_code, codes(refused), pointers(refused)) == (422, ["out_of_range"], ["/items"])


def test_a_whole_spray_told_at_once_is_one_record(hollow):
    hollow.look("A3", 97, "98")
    path = hollow.order(
        "spray", "A3", "BP-4", products=hollow.mix(("P1", "1.0", "oz_wt/gal")),
        spray={"volume_per_tree": q("0.4", "gal")}, targets=["leaf curl"],
    )  # fmt: skip
    hollow.do(hollow.pim, path, "issue")
    hollow.do(hollow.teo, path, "accept")
    order = hollow.pim.get(path).json()
    moves = [("start", {"observed": CALM}, order["etag"])]
    moves += [
        ("record_load", {"number": one["number"], "spray": one["spray"],
                         "products": [{"product": hollow.product("P1")}]}, "*")
        for one in order["loads_planned"]
    ]  # fmt: skip
    moves += [("finish", {"nothing_unusual": True}, "*")]
    calls = [
        {"path": f"{hollow.teo.at(path)}/actions/{action}", "body": body, "if_match": tag,
         "idempotency_key": f"phone-{place}"}
        for place, (action, body, tag) in enumerate(moves)
    ]  # fmt: skip

    first, again = (answers(hollow.teo.post(BULK, {"items": calls})) for _ in range(2))

    assert [one["status"] for one in first] == [200] * len(moves), first
    assert [one["status"] for one in again] == [200] * len(moves)
    assert first[-1]["body"]["status"] == "done"
    assert len(hollow.pim.get("application-records").json()["items"]) == 1


def test_a_body_that_is_no_object_is_refused_where_it_stands(block):
    call = {**seen(block), "body": [1]}

    refused = Caller(block.farm, "crew_lead").post(BULK, {"items": [seen(block), call]})

    assert (refused.status_code, pointers(refused)) == (422, ["/items/1/body"])


@pytest.mark.parametrize("method", ["GET", "PATCH", "DELETE"])
def test_nothing_but_post_is_taken(block, method):
    caller = Caller(block.farm, "manager")

    assert caller.call(method, BULK).status_code == 405
