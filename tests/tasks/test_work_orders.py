"""Work orders over HTTP: who may do what in which state, once, and with all that is wrong at once."""

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from uuid6 import uuid7

from orchard.blocks import services as blocks
from orchard.farms.actors import SYSTEM
from orchard.farms.models import AuditEntry, Change, OutboxEvent
from orchard.inventory.models import Movement
from orchard.tasks.models import ApplicationRecord, Load, WorkOrder
from orchard.tasks.services import loads
from tests.callers import Caller, codes, pointers
from tests.factories import LabelVersionFactory, WorkerFactory, amount
from tests.tasks.lowbell import CALM, lowbell, on_hand, reserved

pytestmark = pytest.mark.django_db
ROLES = ("owner", "manager", "storekeeper", "crew_lead", "crew_member", "adviser")


@pytest.fixture
def farm():
    return lowbell(now=timezone.now())


@pytest.fixture
def manager(farm):
    return Caller(farm.farm, "manager")


@pytest.fixture
def lead(farm):
    return Caller(farm.farm, "crew_lead")


def body(farm, **more):
    return {
        "kind": "spray",
        "block": str(farm.a2.id),
        "sprayer": str(farm.tank.id),
        "crew": str(farm.crew.id),
        "starts_at": (farm.now + dt.timedelta(hours=1)).isoformat(),
        "spray": {"total": {"value": "196", "unit": "gal"}},
        "targets": ["leaf curl"],
        "products": [{"product": str(farm.copper.id), "rate": {"value": "1.0", "unit": "oz_wt/gal"}}],
        **more,
    }


def made(manager, farm, **more):
    response = manager.post("work-orders", body(farm, **more))
    assert response.status_code == 201, response.json()
    return f"work-orders/{response.json()['id']}"


def ready(manager, farm, **more):
    """Return the path of an order that was started."""
    path = made(manager, farm, **more)
    for action, said in (("issue", {}), ("accept", {}), ("start", {"observed": CALM})):
        response = manager.act(path, action, said)
        assert response.status_code == 200, response.json()
    return path


def load(farm, number=1, gallons="50", **more):
    return {
        "id": str(uuid7()),
        "number": number,
        "spray": {"value": gallons, "unit": "gal"},
        "products": [{"product": str(farm.copper.id)}],
        **more,
    }


def told(lead, path, sent, **headers):
    return lead.act(path, "record_load", sent, **{"if_match": "*", **headers})


def everything(farm) -> tuple:
    """Return what a repeated request may not change."""
    models = (WorkOrder, Load, ApplicationRecord, Movement, AuditEntry, Change, OutboxEvent)
    rows = tuple(model.objects.count() for model in models)
    return (*rows, *(order.version for order in WorkOrder.objects.order_by("id")))


def test_a_draft_says_its_loads_its_number_and_what_stands_in_its_way(manager, farm):
    farm.crew.members.clear()

    response = manager.post("work-orders", body(farm))

    order = response.json()
    assert response.status_code == 201, order
    assert response["Location"] == f"/api/v1/farms/{farm.farm.id}/work-orders/{order['id']}"
    assert [one["spray"]["value"] for one in order["loads_planned"]] == ["50", "50", "50", "46"]
    assert order["totals"][0]["exact"] == {"value": "196", "unit": "oz_wt"}
    assert (order["number"], order["status"], order["mix_check"]) == (1, "draft", None)
    assert [fault["code"] for fault in order["blocked_by"]] == ["crew_not_qualified"]


def test_the_second_order_has_the_next_number_and_another_farm_begins_anew(manager, farm):
    made(manager, farm)
    other = lowbell(now=timezone.now())

    assert manager.get(made(manager, farm)).json()["number"] == 2
    neighbour = Caller(other.farm, "manager")
    assert neighbour.get(made(neighbour, other)).json()["number"] == 1


@pytest.mark.parametrize(
    ("changed", "pointer", "code"),
    [
        ({"block": None}, "/block", "required"),
        ({"sprayer": None}, "/sprayer", "required"),
        ({"products": []}, "/products", "required"),
        ({"spray": None}, "/spray", "required"),
        ({"kind": "scouting"}, "/products", "invalid"),
        ({"spray": {"total": {"value": "0", "unit": "gal"}}}, "/spray/total/value", "out_of_range"),
        ({"ends_at": "2020-01-01T00:00:00Z"}, "/ends_at", "out_of_range"),
        ({"colour": "red"}, "/colour", "unknown_field"),
        ({"line": "0197e4a2-7c1e-7a3b-9d52-0c8f3a6b1e11"}, "/programme", "required"),
    ],
)
def test_what_an_order_lacks_is_named_at_its_place(manager, farm, changed, pointer, code):
    response = manager.post("work-orders", body(farm, **changed))

    assert response.status_code == 422, response.json()
    assert (pointer, code) in list(zip(pointers(response), codes(response), strict=True))


def test_a_handler_is_one_of_the_crew(manager, farm):
    stranger = WorkerFactory(farm=farm.farm)

    response = manager.post("work-orders", body(farm, handlers=[str(stranger.id)]))

    assert (response.status_code, pointers(response)) == (422, ["/handlers/0"])


def test_a_handler_without_training_may_not_be_sent_to_spray(manager, farm):
    untrained = WorkerFactory(farm=farm.farm, name="Otto")
    farm.crew.members.add(untrained)
    path = made(manager, farm, handlers=[str(untrained.id)])

    response = manager.act(path, "issue")

    assert (response.status_code, codes(response)) == (409, ["worker_not_qualified"])
    assert response.json()["errors"][0]["refers_to"] == {"kind": "worker", "id": str(untrained.id)}


def test_a_refused_issue_reserves_nothing_and_is_in_the_audit(manager, farm):
    path = made(manager, farm, spray={"total": {"value": "600", "unit": "gal"}})

    response = manager.act(path, "issue")

    assert response.status_code == 409
    assert {"mix_stop", "stock_short"} == set(codes(response))
    assert reserved(farm.first_lot) == "0"
    assert AuditEntry.objects.filter(outcome="refused", action="issue").count() == 1
    assert manager.get(path).json()["status"] == "draft"


def test_a_sprayer_without_a_calibration_that_holds_is_not_sent_out(manager, farm):
    path = made(manager, farm, starts_at=(farm.now + dt.timedelta(days=400)).isoformat())

    assert "sprayer_not_calibrated" in codes(manager.act(path, "issue"))


def test_an_issued_order_shows_what_is_reserved_for_it(manager, farm):
    path = made(manager, farm)

    order = manager.act(path, "issue").json()

    assert [one["quantity"] for one in order["reservations"]] == [
        {"value": "9.5", "unit": "lb"},
        {"value": "2.75", "unit": "lb"},
    ]
    assert order["mix_check"] is not None and order["blocked_by"] == []


def test_a_change_after_issue_is_a_new_revision_that_is_accepted_anew(manager, farm):
    path = made(manager, farm)
    manager.act(path, "issue")
    manager.act(path, "accept", {"revision": 1})

    changed = manager.patch(path, {"instructions": "Begin at the gate"}).json()
    old = manager.act(path, "accept", {"revision": 1})

    assert (changed["status"], changed["revision"]) == ("issued", 2)
    assert codes(old) == ["revision_is_old"]
    assert manager.act(path, "accept", {"revision": 2}).status_code == 200


def test_after_issue_the_mix_stands(manager, farm):
    path = made(manager, farm)
    manager.act(path, "issue")

    response = manager.patch(path, {"targets": ["shot hole"]})

    assert (response.status_code, codes(response)) == (409, ["state_conflict"])


def test_a_draft_may_be_changed_in_anything_and_its_loads_follow(manager, farm):
    path = made(manager, farm)

    changed = manager.patch(
        path, {"spray": {"total": {"value": "60", "unit": "gal"}}, "block": str(farm.a1.id)}
    )

    assert changed.status_code == 200, changed.json()
    assert [one["spray"]["value"] for one in changed.json()["loads_planned"]] == ["50", "10"]
    assert changed.json()["title"] == "Spray, A1"


def test_a_start_needs_wind_temperature_and_word_that_people_are_out(manager, farm):
    path = made(manager, farm)
    manager.act(path, "issue")
    manager.act(path, "accept")

    response = manager.act(path, "start", {})

    assert response.status_code == 422
    assert pointers(response) == ["/observed/wind", "/observed/temperature", "/observed/people_out"]


def test_a_stage_seen_at_a_refused_start_is_kept_and_the_order_is_as_it_was(manager, farm):
    path = made(manager, farm)
    manager.act(path, "issue")
    before = manager.act(path, "accept").json()

    response = manager.act(path, "start", {"observed": {**CALM, "bbch": 57}})
    again = manager.act(path, "start", {"observed": {**CALM, "bbch": 57}})

    assert "mix_stop" in codes(response) and "mix_stop" in codes(again)
    after = manager.get(path).json()
    assert {**after, "blocked_by": [], "etag": None} == {**before, "etag": None}
    assert after["etag"] != before["etag"]  # what blocks it now is another thing
    stages = manager.get(f"blocks/{farm.a2.id}/stages").json()["items"]
    assert sorted(one["bbch"] for one in stages) == [57, 97]


def test_a_load_told_twice_over_http_is_deducted_once(manager, lead, farm):
    path, sent = ready(manager, farm), load(farm)

    first, second = told(lead, path, sent), told(lead, path, sent)
    row = Load.objects.get()
    for _ in range(2):
        loads.deduct_load(load=row, by=SYSTEM, now=timezone.now())

    assert (first.status_code, second.status_code) == (200, 200)
    assert OutboxEvent.objects.filter(kind="load.recorded", subject=sent["id"]).count() == 1
    assert on_hand(farm.first_lot) == "6.375"
    assert Movement.objects.filter(kind="use").count() == 1
    assert lead.get(f"{path}/loads").json()["items"][0]["stock"] == "posted"


def test_loads_take_the_lot_that_expires_first_and_then_the_next(manager, lead, farm):
    path = ready(manager, farm)
    for number, gallons in ((1, "50"), (2, "50"), (3, "50"), (4, "46")):
        assert told(lead, path, load(farm, number, gallons)).status_code == 200

    items = lead.get(f"{path}/loads").json()["items"]

    lots = [[lot["amount"]["value"] for lot in one["products"][0]["lots"]] for one in items]
    assert lots == [["50"], ["50"], ["50"], ["2", "44"]]
    assert items[3]["planned"]["products"][0]["exact"] == {"value": "46", "unit": "oz_wt"}


def test_a_load_that_passes_the_plan_is_taken_and_flagged_in_the_record(manager, lead, farm):
    path = ready(manager, farm)
    lots = [{"lot": str(farm.second_lot.id), "amount": {"value": "90", "unit": "oz_wt"}}]
    sent = load(farm, products=[{"product": str(farm.copper.id), "lots": lots}])

    assert told(lead, path, sent).status_code == 200
    done = lead.act(path, "finish", {"nothing_unusual": True}, if_match="*")

    record = lead.get(f"application-records/{done.json()['application_record']}").json()
    assert {flag["code"] for flag in record["flags"]} == {"limit_passed", "rate_exceeded"}
    assert any("50 oz_wt planned" in flag["says"] for flag in record["flags"])


def test_a_load_that_the_book_does_not_hold_is_short_and_asked_about(manager, lead, farm):
    path = ready(manager, farm)
    lots = [{"lot": str(farm.first_lot.id), "amount": {"value": "10", "unit": "lb"}}]
    told(lead, path, load(farm, products=[{"product": str(farm.copper.id), "lots": lots}]))

    row = loads.deduct_load(load=Load.objects.get(), by=SYSTEM, now=timezone.now())

    assert (row.stock, row.missing) == ("short", {"value": "0.5", "unit": "lb"})
    assert on_hand(farm.first_lot) == "0"
    assert OutboxEvent.objects.filter(kind="stock.short").count() == 1


@pytest.mark.parametrize(
    ("changed", "status", "code"),
    [
        ({"spray": {"value": "51", "unit": "gal"}}, 422, "over_tank"),
        ({"number": 9}, 422, "required"),
        ({"at": "2199-01-01T00:00:00Z"}, 422, "time_in_future"),
    ],
)
def test_a_load_that_cannot_be_is_refused(manager, lead, farm, changed, status, code):
    path = ready(manager, farm)

    response = told(lead, path, {**load(farm), **changed})

    assert (response.status_code, codes(response)) == (status, [code])


def test_the_same_number_under_another_id_is_not_a_second_load(manager, lead, farm):
    path = ready(manager, farm)
    told(lead, path, load(farm))

    response = told(lead, path, load(farm))

    assert (response.status_code, codes(response)) == (409, ["load_exists"])


def test_who_may_not_handle_may_not_have_mixed(manager, lead, farm):
    path = ready(manager, farm)

    response = told(lead, path, load(farm, mixed_by=str(WorkerFactory(farm=farm.farm).id)))

    assert codes(response) == ["worker_not_qualified"]


def test_a_finish_says_that_nothing_unusual_happened_or_what_did(manager, lead, farm):
    path = ready(manager, farm)
    told(lead, path, load(farm))

    silent = lead.act(path, "finish", {})
    spill = lead.post("incidents", {"kind": "spill", "place": "at the gate"}).json()["id"]
    done = lead.act(path, "finish", {"incidents": [spill]})

    assert (silent.status_code, pointers(silent)) == (422, ["/nothing_unusual"])
    record = lead.get(f"application-records/{done.json()['application_record']}").json()
    assert record["incidents"] == [spill]


def test_a_spray_without_a_load_is_not_finished(manager, lead, farm):
    response = lead.act(ready(manager, farm), "finish", {"nothing_unusual": True})

    assert (response.status_code, codes(response)) == (409, ["loads_missing"])


def test_a_finish_sent_again_is_one_record_and_a_second_one_is_kept_beside_it(manager, lead, farm):
    path = ready(manager, farm)
    told(lead, path, load(farm))
    wrens = {"id": str(uuid7()), "nothing_unusual": True}
    teos = {"id": str(uuid7()), "nothing_unusual": True, "note": "sprayed by Teo"}

    first = lead.act(path, "finish", wrens, if_match="*")
    again = lead.act(path, "finish", wrens, if_match="*")
    second = [lead.act(path, "finish", teos, if_match="*") for _ in range(2)]

    assert (first.status_code, again.status_code) == (200, 200)
    assert first.json()["application_record"] == wrens["id"]
    assert [codes(one) for one in second] == [["possible_duplicate"]] * 2
    assert second[0].json()["errors"][0]["refers_to"] == {"kind": "application_record", "id": wrens["id"]}
    kept = lead.get(path).json()["possible_duplicates"]
    assert [(one["id"], one["body"]["note"]) for one in kept] == [(teos["id"], "sprayed by Teo")]
    assert ApplicationRecord.objects.count() == 1


def test_a_hold_and_its_end_keep_their_times(manager, lead, farm):
    path = ready(manager, farm)

    silent = lead.act(path, "hold", {})
    held = lead.act(path, "hold", {"reason": "people", "note": "a jogger"}, if_match="*").json()
    back = lead.act(path, "resume", {}).json()

    assert (silent.status_code, codes(silent)) == (422, ["reason_required"])
    assert (held["status"], held["held_from"], held["held_reason"]) == ("held", "under_way", "people")
    assert (back["status"], back["held_from"]) == ("under_way", None)
    assert back["pauses"][0]["until"] is not None


def test_what_was_reserved_goes_back_when_an_order_is_called_off(manager, farm):
    path = made(manager, farm)
    manager.act(path, "issue")

    response = manager.act(path, "cancel", {"reason": "rain all week"})

    assert (response.json()["status"], response.json()["reservations"]) == ("cancelled", [])
    assert reserved(farm.first_lot) == "0"


def test_what_was_begun_to_be_sprayed_cannot_be_called_off(manager, lead, farm):
    path = ready(manager, farm)
    told(lead, path, load(farm))
    lead.act(path, "hold", {"reason": "wind"}, if_match="*")

    response = manager.act(path, "cancel", {"reason": "too windy"})

    assert codes(response) == ["loads_recorded"]


def test_an_action_needs_the_version_that_was_read(manager, farm):
    path = made(manager, farm)

    assert manager.post(f"{path}/actions/issue", {}).status_code == 428
    assert manager.act(path, "issue", if_match="*").status_code == 412
    assert manager.call("GET", f"{path}/actions/issue").status_code == 405
    assert manager.post(f"{path}/actions/explode", {}).status_code == 404


def test_other_work_goes_the_same_way_with_smaller_demands(manager, farm):
    scouting = {
        "kind": "scouting",
        "block": str(farm.a1.id),
        "starts_at": farm.now.isoformat(),
    }
    path = f"work-orders/{manager.post('work-orders', scouting).json()['id']}"

    assert codes(manager.act(path, "issue")) == ["crew_missing"]
    manager.patch(path, {"crew": str(farm.crew.id)})
    for action in ("issue", "accept", "start", "finish"):
        response = manager.act(path, action)
        assert response.status_code == 200, response.json()
    assert (response.json()["status"], response.json()["application_record"]) == ("done", None)


def test_the_list_asks_as_little_for_many_as_for_one(manager, farm):
    def pair():
        made(manager, farm)
        manager.act(made(manager, farm, spray={"total": {"value": "20", "unit": "gal"}}), "issue")

    pair()
    manager.get("work-orders")
    with CaptureQueriesContext(connection) as one:
        manager.get("work-orders")
    for _ in range(5):
        pair()

    with CaptureQueriesContext(connection) as many:
        items = manager.get("work-orders").json()["items"]

    assert len(items) == 12
    assert len(many) == len(one)


def test_the_list_tells_what_blocks_each_order_as_the_order_itself_does(manager, farm):
    dry, short = made(manager, farm), made(manager, farm, spray={"total": {"value": "600", "unit": "gal"}})

    listed = {f"work-orders/{one['id']}": one for one in manager.get("work-orders").json()["items"]}

    for path in (dry, short):
        alone = manager.get(path).json()
        assert listed[path]["blocked_by"] == alone["blocked_by"]
        assert listed[path]["etag"] == alone["etag"]
    assert listed[dry]["blocked_by"] == []
    assert {fault["code"] for fault in listed[short]["blocked_by"]} == {"mix_stop", "stock_short"}


def test_nothing_new_is_not_said_where_something_else_blocks_the_order_now(manager, farm):
    path = made(manager, farm)
    tag = manager.get(path).headers["ETag"]
    same = manager.get(path, if_none_match=tag)

    farm.crew.members.clear()
    later = manager.get(path, if_none_match=tag)

    assert same.status_code == 304
    assert (later.status_code, later.headers["ETag"]) == (200, later.json()["etag"])
    assert later.headers["ETag"] != tag
    assert [fault["code"] for fault in later.json()["blocked_by"]] == ["crew_not_qualified"]
    assert manager.get(path, if_none_match=later.headers["ETag"]).status_code == 304
    assert manager.patch(path, {"title": "Leaf-fall copper"}, if_match=tag).status_code == 200


def test_orders_are_found_by_what_they_name(manager, farm):
    early = (farm.now - dt.timedelta(days=2)).isoformat()
    late = made(manager, farm, starts_at=early)
    made(manager, farm, block=str(farm.a1.id))

    def found(query):
        return [f"work-orders/{one['id']}" for one in manager.get(f"work-orders?{query}").json()["items"]]

    assert found("overdue=true") == [late]
    assert found(f"block={farm.a2.id}&status=draft&kind=spray&crew={farm.crew.id}") == [late]
    until = (farm.now - dt.timedelta(days=1)).strftime("%Y-%m-%dT%H:%M:%SZ")
    assert found(f"until={until}") == [late]
    assert manager.get("work-orders?colour=red").status_code == 400


def test_the_open_hours_say_what_closes_the_others(manager, farm):
    path = made(manager, farm)
    start = farm.now.replace(minute=0, second=0, microsecond=0)
    rows = [
        {
            "at": start + dt.timedelta(hours=hour),
            "kind": "forecast",
            "temperature": amount("50", "degF"),
            "humidity_percent": 60,
            "wind": amount("15" if hour < 2 else "5", "mph"),
            "rain": amount("0", "mm"),
        }
        for hour in range(40)
    ]
    blocks.store_hours(farm=farm.farm, station="", rows=rows, now=farm.now)

    items = manager.get(f"{path}/windows").json()["items"]

    assert items[0]["open"] is False
    assert {(one["limit"], one["basis"]) for one in items[0]["closed_by"]} == {("wind", "label")}
    assert items[1]["open"] is True and items[1]["closed_by"] == []


def test_open_hours_by_a_forecast_of_two_days_ago_are_said_to_be_stale(manager, farm):
    path = made(manager, farm)
    assert manager.get(f"{path}/windows").json() == {
        "items": [],
        "forecast": {"received_at": None, "stale": False, "stale_from": None},
    }
    for hours_ago, stale in ((1, False), (48, True)):
        posted = farm.now - dt.timedelta(hours=hours_ago)
        ahead = farm.now.replace(minute=0, second=0, microsecond=0) + dt.timedelta(hours=2)
        row = {"at": ahead, "kind": "forecast", "wind": amount("5", "mph")}
        blocks.store_hours(farm=farm.farm, station="", rows=[row], now=posted)

        seen = manager.get(f"{path}/windows").json()["forecast"]

        assert (dt.datetime.fromisoformat(seen["received_at"]), seen["stale"]) == (posted, stale)


def test_a_new_forecast_of_tomorrow_leaves_that_of_next_week_stale(manager, farm):
    path = made(manager, farm)
    hour = farm.now.replace(minute=0, second=0, microsecond=0)
    for days_ahead, posted in ((7, farm.now - dt.timedelta(days=5)), (0, farm.now)):
        row = {"at": hour + dt.timedelta(days=days_ahead, hours=2), "kind": "forecast"}
        blocks.store_hours(farm=farm.farm, station="", rows=[row], now=posted)

    seen = manager.get(f"{path}/windows").json()["forecast"]

    assert seen["stale"] is True
    assert dt.datetime.fromisoformat(seen["received_at"]) == farm.now
    assert dt.datetime.fromisoformat(seen["stale_from"]) == hour + dt.timedelta(days=7, hours=2)


def test_a_stranger_sees_no_order(manager, farm):
    path = made(manager, farm)
    stranger = Caller(lowbell(now=timezone.now()).farm, "owner")

    assert stranger.get(manager.at(path)).status_code == 404
    assert stranger.get(path).status_code == 404
    assert stranger.act(path, "issue").status_code == 404


@settings(max_examples=5, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(repeats=st.lists(st.integers(min_value=0, max_value=6), min_size=1, max_size=8))
def test_replaying_any_request_changes_nothing(farm, repeats):
    manager = Caller(farm.farm, "manager")
    path = ready(manager, farm, spray={"total": {"value": "20", "unit": "gal"}}, block=str(farm.a1.id))
    key = str(uuid7())
    sent = [
        ("record_load", load(farm, 1, "20"), {"idempotency_key": f"{key}-load"}),
        ("hold", {"reason": "wind"}, {"idempotency_key": f"{key}-hold"}),
        ("resume", {}, {"idempotency_key": f"{key}-resume"}),
        ("finish", {"id": str(uuid7()), "nothing_unusual": True}, {"idempotency_key": f"{key}-finish"}),
    ]
    done = []
    for action, said, headers in sent:
        tag = manager.get(path).headers["ETag"]
        first = manager.act(path, action, said, if_match=tag, **headers)
        assert first.status_code == 200, first.json()
        done.append((action, said, {"if_match": tag, **headers}, first.json()))
    before = everything(farm)

    for which in repeats:
        action, said, headers, answer = done[which % len(done)]
        again = manager.act(path, action, said, **headers)
        assert (again.status_code, again.json()) == (200, answer)

    assert everything(farm) == before


def test_only_a_spray_has_loads(manager, lead, farm):
    wash = {
        "kind": "equipment_wash",
        "sprayer": str(farm.tank.id),
        "crew": str(farm.crew.id),
        "starts_at": farm.now.isoformat(),
    }
    path = f"work-orders/{manager.post('work-orders', wash).json()['id']}"
    for action in ("issue", "accept", "start"):
        assert manager.act(path, action).status_code == 200

    response = told(lead, path, load(farm))

    assert (response.status_code, codes(response)) == (409, ["state_conflict"])
    assert Load.objects.count() == 0


def test_a_label_that_has_ended_since_stands_against_the_issue(manager, farm):
    path = made(manager, farm)
    LabelVersionFactory(
        farm=farm.farm,
        product=farm.copper,
        label={"name": "old"},
        effective_from=dt.date(2021, 1, 1),
        effective_until=dt.date(2021, 12, 31),
    )

    response = manager.act(path, "issue")

    assert (response.status_code, codes(response)) == (409, ["label_missing"])
    assert [fault["code"] for fault in manager.get(path).json()["blocked_by"]] == ["label_missing"]
