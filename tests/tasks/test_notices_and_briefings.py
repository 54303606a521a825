"""Who is told before a spray, and what is talked through: on file before anybody begins."""

import datetime as dt

import pytest
from django.utils import timezone

from orchard.blocks import services as blocks
from tests.callers import Caller, codes
from tests.factories import amount
from tests.tasks.lowbell import lowbell
from tests.tasks.test_work_orders import body, made

pytestmark = pytest.mark.django_db
THREE_DAYS = {"value": "72", "unit": "h"}
ONE_DAY = {"value": "24", "unit": "h"}


@pytest.fixture
def farm():
    return lowbell(now=timezone.now())


@pytest.fixture
def manager(farm):
    return Caller(farm.farm, "manager")


def rule(manager, **more):
    sent = {"name": "Clover Lane School families", "to": "school", "told_before": THREE_DAYS, **more}
    made = manager.post("notice-rules", sent)
    assert made.status_code == 201, made.json()
    return made.json()["id"]


def in_days(farm, days):
    return (farm.now + dt.timedelta(days=days)).isoformat()


def test_an_order_waits_until_those_whom_the_farms_rule_names_were_told_in_time(manager, farm):
    school = rule(manager)
    path = made(manager, farm, starts_at=in_days(farm, 4))

    refused = manager.act(path, "issue")
    told = {
        "work_order": path.split("/")[1], "rule": school, "who": "families on the list", "how": "email"
    }  # fmt: skip
    given = manager.post("notices", told)

    assert (refused.status_code, codes(refused)) == (409, ["notice_missing"])
    fault = refused.json()["errors"][0]
    assert fault["refers_to"] == {"kind": "notice_rule", "id": school}
    assert dt.datetime.fromisoformat(fault["earliest"]) - farm.now > dt.timedelta(hours=71)
    assert given.status_code == 201, given.json()
    assert manager.act(path, "issue").status_code == 200


def test_a_notice_given_too_late_does_not_open_the_order(manager, farm):
    school = rule(manager)
    path = made(manager, farm, starts_at=in_days(farm, 2))
    told = {"work_order": path.split("/")[1], "rule": school, "who": "families", "how": "phone"}
    manager.post("notices", told)

    assert codes(manager.act(path, "issue")) == ["notice_missing"]


def test_a_notice_of_one_day_is_none_of_another(manager, farm):
    school = rule(manager)
    path = made(manager, farm, starts_at=in_days(farm, 4))
    manager.post("notices", {"work_order": path[12:], "rule": school, "who": "families", "how": "email"})
    manager.patch(path, {"starts_at": in_days(farm, 6)})

    assert codes(manager.act(path, "issue")) == ["notice_missing"]


def test_a_rule_for_one_block_leaves_the_others_alone(manager, farm):
    rule(manager, blocks=[str(farm.a1.id)])

    assert manager.act(made(manager, farm), "issue").status_code == 200


def test_the_duties_of_an_order_say_by_when_and_not_before(manager, farm):
    rule(manager, sign_before=ONE_DAY, sign_after=THREE_DAYS)
    path = made(manager, farm, starts_at=in_days(farm, 5), ends_at=in_days(farm, 6))

    items = manager.get(f"{path}/notice-duties").json()["items"]

    moments = [(one["step"], one["by"] or one["not_before"]) for one in items]
    hours = [
        (step, round((dt.datetime.fromisoformat(at) - farm.now).total_seconds() / 3600))
        for step, at in moments
    ]
    assert hours == [("told", 48), ("sign_up", 96), ("sign_down", 216)]


def test_a_notice_is_never_changed_or_taken_back(manager, farm):
    path = made(manager, farm)
    id = manager.post("notices", {"work_order": path[12:], "who": "Gus", "how": "in_person"}).json()["id"]

    assert manager.call("DELETE", f"notices/{id}").status_code == 405
    assert manager.get(f"notices/{id}").json()["step"] == "told"


def test_a_hot_day_brings_its_own_points_with_their_source(manager, farm):
    day = (farm.now + dt.timedelta(days=1)).date()
    blocks.store_days(
        farm=farm.farm,
        station="",
        rows=[{"on": day, "kind": "forecast", "maximum": amount("36", "degC")}],
        now=farm.now,
    )
    start = dt.datetime.combine(day, dt.time(20, 0), tzinfo=dt.UTC)
    order = manager.post("work-orders", body(farm, starts_at=start.isoformat())).json()["id"]

    made = manager.post(
        "briefings",
        {
            "work_order": order,
            "language": "es",
            "topics": ["drift"],
            "present": [str(farm.lead.id), str(farm.wren.id)],
            "acknowledged": [str(farm.wren.id)],
        },
    )

    heat = made.json()["heat"]
    assert made.status_code == 201, made.json()
    assert {"water", "shade", "cool_down", "watch"} <= {one["code"] for one in heat["points"]}
    assert next(one for one in heat["points"] if one["code"] == "cool_down")["says"].startswith("Descansen")
    assert heat["water"] == {"value": "2", "unit": "qt"}


def test_who_was_not_there_cannot_have_understood(manager, farm):
    sent = {"topics": ["drift"], "present": [str(farm.lead.id)], "acknowledged": [str(farm.wren.id)]}

    response = manager.post("briefings", sent)

    assert (response.status_code, codes(response)) == (422, ["invalid"])
    assert response.json()["errors"][0]["pointer"] == "/acknowledged/0"
