"""Every move from every state by every role; the documentation is printed from the same table."""

from pathlib import Path

import pytest
from django.utils import timezone
from uuid6 import uuid7

from orchard.api.permissions import TABLE
from orchard.farms import journal
from orchard.farms.actors import SYSTEM, Role
from orchard.tasks import states
from orchard.tasks.models import WorkOrder
from orchard.tasks.services import demands
from orchard.tasks.states import KINDS, MOVES, STATES
from tests.callers import Caller, codes
from tests.tasks.lowbell import CALM, draft, lowbell, under_way

GUIDE = Path(__file__).parents[2] / "DEVELOPERS.md"
PEOPLE = [role.value for role in Role if role != Role.INTEGRATION]


def test_the_guide_prints_the_table_of_moves():
    assert states.as_markdown() in GUIDE.read_text("utf-8")


def test_the_permission_table_and_the_table_of_moves_name_the_same_roles():
    for action, move in MOVES.items():
        assert set(TABLE["work_order", action].all_roles) == {role.value for role in move.roles}


def test_every_check_is_demanded_by_a_move_and_every_kind_of_work_by_a_demand():
    named = {demand.name for move in MOVES.values() for demand in move.demands}

    assert set(demands.CHECKS) <= named
    for action in ("issue", "start"):
        assert {kind for demand in MOVES[action].demands for kind in demand.kinds} == set(KINDS)


def test_no_state_is_a_dead_end_but_the_last_two():
    assert [state for state in STATES if not states.allowed_in(state)] == ["done", "cancelled"]


def said(farm, action):
    lots = [{"lot": str(farm.first_lot.id), "amount": {"value": "1", "unit": "lb"}}]
    load = {
        "id": str(uuid7()),
        "number": 1,
        "spray": {"value": "50", "unit": "gal"},
        "products": [{"product": str(farm.copper.id), "lots": lots}],
    }
    bodies = {
        "start": {"observed": CALM},
        "record_load": load,
        "finish": {"nothing_unusual": True},
        "hold": {"reason": "wind"},
        "cancel": {"reason": "not needed"},
    }
    return bodies.get(action, {})


def in_state(farm, state, action):
    """Return an order in a state; with a load where its end is to be told."""
    if state == "under_way":
        order = under_way(farm)
        if action == "finish":
            lead = Caller(farm.farm, "crew_lead")
            lead.act(f"work-orders/{order.id}", "record_load", said(farm, "record_load"))
        return WorkOrder.objects.get(key=order.key)
    order = draft(farm)
    columns = {"status": state}
    columns |= {"held_from": "issued", "held_reason": "wind"} if state == "held" else {}
    columns |= {"started_at": farm.now, "finished_at": farm.now} if state == "done" else {}
    journal.change(order, by=SYSTEM, now=farm.now, **columns)
    return order


@pytest.mark.django_db
@pytest.mark.parametrize("role", PEOPLE)
@pytest.mark.parametrize("action", list(MOVES))
def test_a_move_is_made_from_its_states_and_by_its_roles_only(action, role):
    farm = lowbell(now=timezone.now())
    caller, move = Caller(farm.farm, role), MOVES[action]

    for state in STATES if role in move.roles else ("draft", "under_way"):
        order = in_state(farm, state, action)
        answer = caller.act(f"work-orders/{order.id}", action, said(farm, action))

        if role not in move.roles:
            assert (answer.status_code, codes(answer)) == (403, ["role_not_allowed"]), state
            assert WorkOrder.objects.get(key=order.key).status == state
        elif state in move.come_from:
            expected = move.becomes or ("issued" if action == "resume" else state)
            assert (answer.status_code, answer.json().get("status")) == (200, expected), answer.json()
        else:
            wanted = "possible_duplicate" if (action, state) == ("finish", "done") else "state_conflict"
            assert (answer.status_code, codes(answer)) == (409, [wanted]), state
            assert WorkOrder.objects.get(key=order.key).status == state


@pytest.mark.django_db
@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != "spray"])
def test_work_that_is_no_spray_goes_through_its_states_with_its_own_demands(kind):
    farm = lowbell(now=timezone.now())
    manager, lead = Caller(farm.farm, "manager"), Caller(farm.farm, "crew_lead")
    body = {"kind": kind, "starts_at": farm.now.isoformat()}
    body |= {"block": str(farm.a1.id)} if kind in states.IN_A_BLOCK else {}
    body |= {"sprayer": str(farm.tank.id)} if kind in states.WITH_A_SPRAYER else {}
    path = f"work-orders/{manager.post('work-orders', body).json()['id']}"

    assert codes(manager.act(path, "issue")) == ["crew_missing"]
    manager.patch(path, {"crew": str(farm.crew.id)})
    assert manager.act(path, "issue").status_code == 200
    assert lead.act(path, "accept").status_code == 200
    assert lead.act(path, "start").json()["status"] == "under_way"
    done = lead.act(path, "finish", if_match="*")

    assert (done.status_code, done.json()["status"]) == (200, "done")
    assert done.json()["application_record"] is None


@pytest.mark.django_db
@pytest.mark.parametrize("kind", ["equipment_wash", "calibration"])
def test_work_on_a_sprayer_wants_somebody_who_may_handle(kind):
    farm = lowbell(now=timezone.now())
    manager = Caller(farm.farm, "manager")
    farm.lead.qualifications.all().delete()
    farm.wren.qualifications.all().delete()
    body = {
        "kind": kind,
        "sprayer": str(farm.tank.id),
        "crew": str(farm.crew.id),
        "starts_at": farm.now.isoformat(),
    }
    path = f"work-orders/{manager.post('work-orders', body).json()['id']}"

    assert codes(manager.act(path, "issue")) == ["crew_not_qualified"]


@pytest.mark.django_db
def test_a_move_with_a_key_is_refused_as_one_without_and_changes_nothing():
    farm = lowbell()
    order = draft(farm, rate="1.2")
    manager = Caller(farm.farm, "manager")

    keyed = manager.act(f"work-orders/{order.id}", "issue", {}, idempotency_key="k-1")
    plain = manager.act(f"work-orders/{order.id}", "issue", {})

    assert keyed.status_code == plain.status_code == 409
    assert keyed.json()["errors"] == plain.json()["errors"]
    assert WorkOrder.objects.get(key=order.key).status == "draft"
