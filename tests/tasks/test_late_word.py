"""Phones without a signal: what happened counts, whenever word of it arrives, and nothing told is lost."""

import datetime as dt

import pytest
from django.utils import timezone
from uuid6 import uuid7

from orchard.farms import journal
from orchard.farms.actors import SYSTEM
from orchard.tasks.models import WorkOrder
from tests.callers import Caller, codes, pointers
from tests.tasks.lowbell import CALM, lowbell, on_hand
from tests.tasks.test_work_orders import load, made, told

pytestmark = pytest.mark.django_db
MINUTE = dt.timedelta(minutes=1)
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


@pytest.fixture
def wren(farm):
    return Caller(farm.farm, "crew_member")


def accepted(manager, farm, *, issued_ago=120, **more):
    """Return an order that was issued two hours ago and accepted."""
    path = made(manager, farm, **{"spray": TWENTY, **more})
    manager.act(path, "issue")
    order = WorkOrder.objects.get(id=path.split("/")[1])
    journal.change(order, by=SYSTEM, now=farm.now, issued_at=farm.now - issued_ago * MINUTE)
    manager.act(path, "accept")
    return path


def ago(farm, minutes):
    return (farm.now - minutes * MINUTE).isoformat()


def started(manager, lead, farm, minutes=60, **more):
    path = accepted(manager, farm, **more)
    answer = lead.act(path, "start", {"observed": CALM, "at": ago(farm, minutes)})
    assert answer.status_code == 200, answer.json()
    return path


def test_a_load_mixed_before_a_hold_is_taken_though_the_hold_came_first(manager, lead, wren, farm):
    path = started(manager, lead, farm)
    lead.act(path, "hold", {"reason": "people", "at": ago(farm, 20)}, if_match="*")

    before = told(wren, path, load(farm, 1, "20", at=ago(farm, 30)))
    during = told(wren, path, load(farm, 2, "20", at=ago(farm, 10)))

    assert (before.status_code, before.json()["status"]) == (200, "held")
    assert (during.status_code, codes(during)) == (409, ["state_conflict"])
    assert during.json()["open_moves"] == []  # a crew member may do nothing with what is held
    [claim] = manager.get(path).json()["conflicts"]
    assert (claim["action"], claim["codes"], claim["settled_at"]) == (
        "record_load", ["state_conflict"], None
    )  # fmt: skip


def test_a_load_told_before_the_start_waits_and_goes_on_record_with_the_start(manager, lead, wren, farm):
    path = accepted(manager, farm)
    early = told(wren, path, load(farm, 1, "20", at=ago(farm, 30)))

    start = lead.act(path, "start", {"observed": CALM, "at": ago(farm, 60)})

    assert (early.status_code, codes(early)) == (409, ["state_conflict"])
    assert start.status_code == 200, start.json()
    [row] = lead.get(f"{path}/loads").json()["items"]
    assert (row["number"], row["created_by"]["name"]) == (1, "crew_member token")
    assert [claim["settled_at"] is not None for claim in start.json()["conflicts"]] == [True]


def test_an_end_told_before_its_load_is_let_in_after_it(manager, lead, wren, farm):
    path = started(manager, lead, farm)
    end = {"id": str(uuid7()), "nothing_unusual": True, "finished_at": ago(farm, 5)}
    early = lead.act(path, "finish", end, if_match="*")

    answer = told(wren, path, load(farm, 1, "20", at=ago(farm, 30)))

    assert codes(early) == ["loads_missing"] and early.json()["kept"] is True
    assert (answer.status_code, answer.json()["status"]) == (200, "done")
    assert answer.json()["application_record"] == end["id"]
    assert all(claim["settled_at"] for claim in answer.json()["conflicts"])


def test_an_end_waits_until_all_planned_loads_are_told(manager, lead, wren, farm):
    path = started(manager, lead, farm, spray={"total": {"value": "60", "unit": "gal"}})
    lead.act(path, "finish", {"id": str(uuid7()), "nothing_unusual": True}, if_match="*")

    first = told(wren, path, load(farm, 1, "50", at=ago(farm, 30)))
    second = told(wren, path, load(farm, 2, "10", at=ago(farm, 20)))

    assert (first.json()["status"], second.json()["status"]) == ("under_way", "done")


def test_a_load_told_after_the_end_is_deducted_and_a_person_is_asked_to_correct_the_record(
    manager, lead, wren, farm
):
    path = started(manager, lead, farm, spray={"total": {"value": "60", "unit": "gal"}})
    told(wren, path, load(farm, 1, "50", at=ago(farm, 40)))
    lead.act(path, "finish", {"nothing_unusual": True, "finished_at": ago(farm, 10)}, if_match="*")

    late = told(wren, path, load(farm, 2, "10", at=ago(farm, 20)))
    after = told(wren, path, load(farm, 3, "10"))

    assert (late.status_code, late.json()["status"]) == (200, "done")
    assert [claim["codes"] for claim in late.json()["conflicts"]] == [["load_after_record"]]
    assert codes(after) == ["state_conflict"]  # it says that it was mixed after the end
    assert lead.get(f"{path}/loads").json()["items"][1]["products"][0]["lots"][0]["amount"]["value"] == "10"


def test_a_pause_whose_end_was_told_first_is_whole_and_the_work_goes_on(manager, lead, farm):
    path = started(manager, lead, farm)
    early = lead.act(path, "resume", {"at": ago(farm, 20)})

    hold = lead.act(path, "hold", {"reason": "people", "at": ago(farm, 30)}, if_match="*")

    assert codes(early) == ["state_conflict"]
    [pause] = hold.json()["pauses"]
    assert (hold.json()["status"], pause["reason"]) == ("under_way", "people")
    assert dt.datetime.fromisoformat(pause["until"]) - dt.datetime.fromisoformat(pause["at"]) == 10 * MINUTE


def test_two_loads_of_one_number_are_both_kept_for_a_person_to_compare(manager, lead, wren, farm):
    path = started(manager, lead, farm)
    first, second = load(farm, 1, "20"), load(farm, 1, "18")
    told(wren, path, first)

    other = told(lead, path, second)
    [claim] = manager.get(path).json()["conflicts"]
    settled = manager.act(path, "settle", {"conflict": claim["id"], "note": "one tank, told twice"})

    assert codes(other) == ["load_exists"]
    assert claim["body"] == second
    assert settled.json()["conflicts"][0]["note"] == "one tank, told twice"
    assert wren.act(path, "settle", {"conflict": claim["id"]}).status_code == 403
    assert codes(manager.act(path, "settle", {"conflict": str(uuid7())})) == ["not_found"]


def test_the_same_word_told_again_is_kept_once(manager, wren, farm):
    path, sent = accepted(manager, farm), load(farm, 1, "20")
    for _ in range(3):
        told(wren, path, sent)

    assert len(manager.get(path).json()["conflicts"]) == 1


def test_what_only_tries_a_move_is_not_kept(manager, wren, farm):
    path = accepted(manager, farm)
    sent = {name: value for name, value in load(farm, 1, "20").items() if name != "id"}

    answer = told(wren, path, sent)
    assert (answer.status_code, answer.json()["kept"]) == (409, False)
    assert manager.get(path).json()["conflicts"] == []


@pytest.mark.parametrize(
    ("action", "field", "said"),
    [
        ("start", "/at", {"observed": CALM}),
        ("hold", "/at", {"reason": "wind"}),
        ("record_load", "/at", {}),
        ("finish", "/finished_at", {"nothing_unusual": True}),
    ],
)
def test_nothing_happens_before_the_issue_nor_ahead_of_the_clock(manager, lead, farm, action, field, said):
    path = accepted(manager, farm) if action == "start" else started(manager, lead, farm)
    body = {**(load(farm, 1, "20") if action == "record_load" else {}), **said}

    early = lead.act(path, action, {**body, field[1:]: ago(farm, 300)})
    ahead = lead.act(path, action, {**body, field[1:]: (farm.now + dt.timedelta(hours=1)).isoformat()})

    assert (early.status_code, set(codes(early)), set(pointers(early))) == (422, {"out_of_range"}, {field})
    assert (ahead.status_code, codes(ahead), pointers(ahead)) == (422, ["time_in_future"], [field])
    for answer in (early, ahead):
        state = answer.json()["state"]
        assert answer.json()["open_moves"] and state in ("accepted", "under_way")


def test_every_refusal_names_the_moves_that_are_open_to_the_sender(manager, lead, wren, farm):
    path = made(manager, farm)

    stale = manager.act(path, "issue", if_match='"0-0"')
    wrong_state = wren.act(path, "accept")
    wrong_role = wren.act(path, "issue")
    wrong_unit = lead.act(path, "record_load", load(farm, spray={"value": "50", "unit": "lb"}), if_match="*")

    assert (stale.status_code, stale.json()["open_moves"]) == (412, ["issue", "cancel"])
    assert (wrong_state.status_code, wrong_state.json()["state"]) == (409, "draft")
    assert (wrong_role.status_code, wrong_role.json()["open_moves"]) == (403, [])
    assert (wrong_unit.status_code, codes(wrong_unit)) == (422, ["unit_kind"])
    assert manager.act(path, "issue").status_code == 200
    assert manager.act(path, "issue").json()["open_moves"] == ["accept", "hold", "cancel"]


def test_a_stranger_is_told_no_state(manager, farm):
    path = made(manager, farm)
    stranger = Caller(lowbell(now=timezone.now()).farm, "manager")

    answer = stranger.act(path, "issue")

    assert answer.status_code == 404 and "state" not in answer.json()


def test_a_wash_told_late_does_not_clean_what_was_filled_after_it(manager, lead, wren, farm):
    path = started(manager, lead, farm)
    told(wren, path, load(farm, 1, "20", at=ago(farm, 10)))
    wash = {
        "kind": "equipment_wash",
        "sprayer": str(farm.tank.id),
        "crew": str(farm.crew.id),
        "starts_at": farm.now.isoformat(),
    }
    washing = f"work-orders/{manager.post('work-orders', wash).json()['id']}"
    for action in ("issue", "accept"):
        manager.act(washing, action)
    order = WorkOrder.objects.get(id=washing.split("/")[1])
    journal.change(order, by=SYSTEM, now=farm.now, issued_at=farm.now - 90 * MINUTE)
    manager.act(washing, "start", {"at": ago(farm, 40)})
    manager.act(washing, "finish", {"finished_at": ago(farm, 20)}, if_match="*")

    assert manager.get(f"sprayers/{farm.tank.id}").json()["residue"] == ["copper hydroxide"]


def test_a_load_told_after_the_wash_that_followed_it_leaves_the_sprayer_clean(manager, lead, wren, farm):
    path = started(manager, lead, farm)
    farm.tank.refresh_from_db()
    farm.tank.cleaned_at = farm.now - 5 * MINUTE
    farm.tank.save()

    told(wren, path, load(farm, 1, "20", at=ago(farm, 30)))

    assert manager.get(f"sprayers/{farm.tank.id}").json()["residue"] == []
    assert on_hand(farm.first_lot) == "9.5"  # the store follows from the outbox
