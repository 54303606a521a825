"""What was written is followed by what it asks for: sent at least once, done exactly once."""

import datetime as dt
import json
import threading
import time
from io import StringIO

import psycopg
import pytest
from django.core.management import call_command
from django.db import connection, transaction
from django.utils import timezone

from orchard.config import logs
from orchard.farms import journal, request_ids
from orchard.farms.actors import SYSTEM
from orchard.farms.models import AuditEntry, OutboxEvent, Person
from orchard.inventory.models import Movement
from orchard.tasks.models import Load, PlanningRun, Programme
from scheduling import jobs, outbox, turns, wake, work
from tests.callers import Caller
from tests.factories import FarmFactory, amount
from tests.inventory.store import at_once, fresh
from tests.scheduling.loads import event, full_store, order_on, told

pytestmark = pytest.mark.django_db

NOW = dt.datetime(2100, 1, 1, tzinfo=dt.UTC)


@pytest.fixture
def held():
    return full_store(FarmFactory())


@pytest.fixture
def broken(monkeypatch):
    """Let the work for loads fail as long as its list is not empty."""
    failures = [True]

    def deduct(event, now):
        work.deduct_load(event, now)
        if failures:
            raise RuntimeError("the scale is broken")

    monkeypatch.setitem(work.WORK, "load.recorded", deduct)
    return failures


def pounds_used():
    return [row.change_base / amount("1", "lb").in_base() for row in Movement.objects.filter(kind="use")]


def test_a_load_that_was_told_is_taken_from_the_store(held):
    load = told(held)

    assert outbox.drain() == 1
    assert Load.objects.get(key=load.key).stock == "posted"
    assert pounds_used() == [-3]
    assert OutboxEvent.objects.get().processed_at is not None


def test_what_follows_goes_by_the_id_of_its_request_in_log_and_audit(held, broken, caplog):
    with request_ids.request("phone-7.42"):
        told(held)
    lines = logs.Lines()
    caplog.set_level("INFO", logger="scheduling.outbox")
    caplog.handler.setFormatter(lines)

    with request_ids.request("another"):
        outbox.drain(now=timezone.now())
        broken.clear()
        outbox.drain(now=timezone.now() + dt.timedelta(minutes=1))
        assert request_ids.current.get() == "another"

    said = [json.loads(line) for line in caplog.text.splitlines() if line.startswith("{")]
    assert [line["request_id"] for line in said] == ["phone-7.42"] * 3
    assert [line.get("status") for line in said] == [None, "failed", "done"]
    assert {line.get("kind") for line in said} == {None, "load.recorded"}
    used = AuditEntry.objects.filter(resource="stock_movement").order_by("id").last()
    assert used.request_id == "phone-7.42"


def test_nothing_is_done_twice_however_often_it_is_sent(held):
    load = told(held)
    again = event(load)
    outbox.drain()

    assert outbox.deliver(again.id, now=timezone.now()) is False
    assert outbox.drain() == 0
    assert pounds_used() == [-3]


def test_what_was_rolled_back_leaves_nothing_to_do(held):
    with transaction.atomic():
        told(held)
        transaction.set_rollback(True)

    assert outbox.drain() == 0
    assert not OutboxEvent.objects.exists()


def test_work_that_fails_leaves_no_trace_but_its_reason_and_is_started_again_later(held, broken):
    told(held)
    now = timezone.now()

    assert outbox.drain(now=now) == 0

    waiting = OutboxEvent.objects.get()
    assert (waiting.attempts, waiting.last_error) == (1, "RuntimeError: the scale is broken")
    assert waiting.next_at == now + dt.timedelta(seconds=1)
    assert pounds_used() == []
    broken.clear()
    assert outbox.drain(now=now) == 0
    assert outbox.drain(now=now + dt.timedelta(seconds=1)) == 1
    assert pounds_used() == [-3]


def test_each_pause_is_twice_the_last_and_five_minutes_at_most():
    assert [turns.pause(starts).total_seconds() for starts in (1, 2, 3, 9, 10, 12, 500)] == [
        1,
        2,
        4,
        256,
        300,
        300,
        300,
    ]


def test_work_that_never_succeeds_is_set_aside_with_its_reason(held, broken):
    told(held)
    now = timezone.now()

    for _ in range(turns.MOST_STARTS + 3):
        outbox.drain(now=now)
        now += turns.LONGEST_PAUSE

    given_up = OutboxEvent.objects.get()
    assert given_up.attempts == turns.MOST_STARTS
    assert given_up.set_aside_at is not None
    assert given_up.processed_at is None
    assert "the scale is broken" in given_up.last_error


def test_a_manager_sees_that_a_load_was_never_taken_out_of_the_store(held, broken):
    load, manager = told(held), Caller(held.farm)
    OutboxEvent.objects.update(attempts=turns.MOST_STARTS, set_aside_at=timezone.now())

    [seen] = [one for one in manager.get("attention").json()["items"] if one["code"] == "work_set_aside"]
    broken.clear()
    call_command("relay", "--again", "--once", stdout=StringIO())

    assert seen["says"].startswith(f"load {load.number} of order {load.work_order.number} could not be taken")
    assert "replay_outbox" in seen["says"]
    assert seen["refers_to"] == {"kind": "work_order", "id": str(load.work_order.id)}
    assert manager.get(seen["url"]).status_code == 200
    left = {one["code"] for one in manager.get("attention").json()["items"]}
    assert "work_set_aside" not in left


def test_a_manager_sees_that_another_system_was_never_told(held):
    told(held)
    OutboxEvent.objects.update(kind="work_order.done", set_aside_at=timezone.now())
    manager, stranger = Caller(held.farm), Caller(FarmFactory())

    [seen] = [one for one in manager.get("attention").json()["items"] if one["code"] == "work_set_aside"]

    assert "(work_order.done, 1 times)" in seen["says"]
    assert seen["refers_to"] == {"kind": "farm", "id": str(held.farm.id)}
    assert stranger.get("attention").json()["items"] == []


def test_what_was_set_aside_is_taken_up_again_when_an_operator_says_so(held, broken):
    told(held)
    OutboxEvent.objects.update(attempts=turns.MOST_STARTS, set_aside_at=timezone.now())
    broken.clear()

    assert outbox.drain() == 0
    call_command("relay", "--again", "--once", stdout=StringIO())

    assert pounds_used() == [-3]


def test_a_planning_run_that_cannot_be_done_says_that_it_failed(held, monkeypatch):
    def breaks(event, now):
        raise RuntimeError("no such season")

    monkeypatch.setitem(work.LONG, "planning_run.requested", breaks)
    common = {"farm": held.farm, "created_at": timezone.now(), "updated_at": timezone.now()}
    programme = Programme.objects.create(
        name="Winter", starts_on=dt.date(2026, 11, 1), ends_on=dt.date(2027, 3, 1), **common
    )
    run = PlanningRun.objects.create(
        programme=programme, starts_at=NOW, ends_at=NOW + dt.timedelta(days=1), **common
    )
    journal.later("planning_run.requested", farm=held.farm, subject=run.id, by=SYSTEM, now=timezone.now())
    OutboxEvent.objects.update(attempts=turns.MOST_STARTS - 1)

    outbox.drain()

    run.refresh_from_db()
    assert run.status == "failed"


def test_one_that_fails_does_not_hold_up_the_others(held, monkeypatch):
    told(held)
    OutboxEvent.objects.update(kind="weather.asked")
    told(held)

    assert outbox.drain() == 1

    assert OutboxEvent.objects.get(processed_at=None).last_error.startswith("NoSuchWork")
    assert pounds_used() == [-3]


def test_what_kills_its_worker_each_time_is_set_aside_too(held):
    waiting = event(told(held))
    OutboxEvent.objects.update(attempts=turns.MOST_STARTS)

    assert outbox.deliver(waiting.id, now=timezone.now()) is False

    waiting.refresh_from_db()
    assert waiting.set_aside_at is not None
    assert "ended each time" in waiting.last_error


def test_an_event_is_due_again_when_nobody_has_done_it(held):
    told(held)
    now = timezone.now()
    sent = []

    for seconds in (0, 1, 4, 5.1, 6, 11):
        outbox.relay(send=sent.append, now=now + dt.timedelta(seconds=seconds))

    assert len(sent) == 3
    assert len(set(sent)) == 1


def test_the_longer_an_event_waits_the_rarer_it_is_sent(held):
    told(held)
    created = OutboxEvent.objects.get().created_at
    sent, now = [], created

    while now < created + dt.timedelta(hours=8):
        assert outbox.relay(send=lambda _id: None, now=now) == 1
        sent.append(now)
        now = OutboxEvent.objects.get().next_at

    assert 90 < len(sent) < 130
    assert sent[-1] - sent[-2] == turns.LONGEST_PAUSE


def test_a_clock_that_was_hours_ahead_makes_nothing_wait_for_hours(held):
    told(held)
    now, sent = timezone.now(), []
    outbox.relay(send=lambda _id: None, now=now + dt.timedelta(hours=5))

    outbox.relay(send=sent.append, now=now)

    assert len(sent) == 1


def test_events_of_a_farm_are_sent_in_the_order_of_what_happened(held):
    order = order_on(held.farm)
    happened = [told(held, order=order, pounds="1").id for _ in range(4)]
    sent = []

    for _ in happened:
        outbox.relay(send=sent.append, now=timezone.now())
        outbox.deliver(sent[-1], now=timezone.now())

    by_id = {row.id: row.subject for row in OutboxEvent.objects.all()}
    assert [by_id[id] for id in sent] == happened


def test_of_those_in_line_only_the_first_is_sent_and_the_others_follow_it(held):
    order = order_on(held.farm)
    for _ in range(4):
        told(held, order=order, pounds="1")
    sent = []

    outbox.relay(send=sent.append, now=timezone.now())

    assert len(sent) == 1
    assert outbox.deliver_in_turn(sent[0], send=sent.append) == 4
    assert OutboxEvent.objects.filter(sent=0).count() == 3  # they had not to wait for a message of their own


def test_no_notice_is_still_an_end(held):
    told(held)
    OutboxEvent.objects.update(kind="work_order.issued")

    assert outbox.drain() == 1
    assert pounds_used() == []
    assert OutboxEvent.objects.get().no_job is True


def test_work_that_was_done_is_not_marked_as_nothing(held):
    told(held)
    outbox.drain()

    assert OutboxEvent.objects.get().no_job is False


def events():
    return list(OutboxEvent.objects.order_by("seq", "id"))


def test_an_event_waits_for_the_one_before_it_on_its_farm(held):
    order = order_on(held.farm)
    told(held, order=order, pounds="1"), told(held, order=order, pounds="2")
    first, second = events()
    other = told(full_store(FarmFactory()), pounds="4")

    assert outbox.deliver(second.id, now=timezone.now()) is False
    assert outbox.deliver(OutboxEvent.objects.get(subject=other.id).id, now=timezone.now()) is True
    assert outbox.deliver(first.id, now=timezone.now()) is True
    assert outbox.deliver(second.id, now=timezone.now()) is True
    assert pounds_used() == [-4, -1, -2]


def test_whoever_does_the_one_before_goes_on_with_what_waited(held):
    order = order_on(held.farm)
    for pounds in ("1", "2", "3"):
        told(held, order=order, pounds=pounds)
    sent = []

    assert outbox.deliver_in_turn(events()[1].id, send=sent.append) == 0
    assert outbox.deliver_in_turn(events()[0].id, send=sent.append) == 3
    assert pounds_used() == [-1, -2, -3]
    assert sent == []


def test_after_many_in_turn_a_message_of_its_own_brings_the_next(held, monkeypatch):
    monkeypatch.setattr(outbox, "MOST_IN_TURN", 2)
    order = order_on(held.farm)
    for _ in range(3):
        told(held, order=order, pounds="1")
    sent = []

    assert outbox.deliver_in_turn(events()[0].id, send=sent.append) == 2
    assert sent == [events()[2].id]


def test_after_a_failure_the_next_ones_have_their_turn(held, monkeypatch):
    told(held)
    OutboxEvent.objects.update(kind="weather.asked")
    told(held)

    assert outbox.deliver_in_turn(events()[0].id, send=lambda _id: None) == 1
    assert pounds_used() == [-3]


def test_what_ends_its_worker_each_time_holds_up_the_others_for_three_starts(held):
    order = order_on(held.farm)
    told(held, order=order), told(held, order=order)
    first, second = events()

    for starts in range(turns.WAITED_FOR):
        OutboxEvent.objects.filter(id=first.id).update(attempts=starts)
        assert outbox.deliver(second.id, now=timezone.now()) is False
    OutboxEvent.objects.filter(id=first.id).update(attempts=turns.WAITED_FOR)
    assert outbox.deliver(second.id, now=timezone.now()) is True


def test_a_long_calculation_holds_nobody_up_and_waits_for_nobody(held):
    told(held)
    OutboxEvent.objects.update(kind="planning_run.requested")
    told(held)
    first, second = events()
    assert outbox.deliver(second.id, now=timezone.now()) is True

    told(held, order=order_on(held.farm))
    journal.later("planning_run.requested", farm=held.farm, subject=first.id, by=SYSTEM, now=timezone.now())
    assert not isinstance(outbox._start(events()[-1].id, now=timezone.now()), outbox.Came)


def test_replaying_takes_the_farm_and_the_kind_that_were_named(held):
    elsewhere = full_store(FarmFactory())
    told(held), told(elsewhere)
    OutboxEvent.objects.update(attempts=turns.MOST_STARTS, set_aside_at=timezone.now())

    assert replayed("--farm", str(held.farm.id), "--kind", "stock.short") == 0
    assert replayed("--farm", str(held.farm.id), "--kind", "load.recorded") == 1
    assert replayed("--event", str(OutboxEvent.objects.exclude(set_aside_at=None).get().id)) == 1
    assert replayed() == 0
    assert outbox.drain() == 2


def replayed(*arguments):
    printed = StringIO()
    call_command("replay_outbox", *arguments, stdout=printed)
    return json.loads(printed.getvalue())["replayed"]


def test_an_operator_sees_what_was_set_aside_and_takes_it_up_again(held, client):
    told(held)
    OutboxEvent.objects.update(attempts=12, last_error="no such scale", set_aside_at=timezone.now())
    id = OutboxEvent.objects.get().id
    person = Person.objects.create_superuser(email="ops@farm.example", password="three plum stones")
    client.force_login(person)
    at = "/admin/farms/outboxevent/"

    assert "no such scale" in client.get(at + "?state=set_aside").content.decode()
    assert client.get(f"{at}{id}/change/").status_code == 200
    assert client.post(f"{at}{id}/delete/", {"post": "yes"}).status_code == 403
    assert client.get(f"{at}add/").status_code == 403
    sent = client.post(at, {"action": "replay", "_selected_action": [str(id)]}, follow=True)

    assert "1 taken up again." in sent.content.decode()
    assert outbox.drain() == 1


def test_what_waits_and_what_was_set_aside_can_be_measured(held, client):
    order = order_on(held.farm)
    for _ in range(3):
        told(held, order=order, pounds="1")
    first, second, _ = events()
    OutboxEvent.objects.filter(id=first.id).update(set_aside_at=timezone.now())
    OutboxEvent.objects.filter(id=second.id).update(last_error="no such scale")

    lines = client.get("/metrics").content.decode().splitlines()

    assert "orchard_database_up 1.0" in lines
    assert "orchard_outbox_waiting 2.0" in lines
    assert "orchard_outbox_failing 1.0" in lines
    assert "orchard_outbox_set_aside 1.0" in lines
    oldest = next(line for line in lines if line.startswith("orchard_outbox_oldest_seconds "))
    assert 0 <= float(oldest.split()[1]) < 60
    answer = client.get("/readyz")
    assert (answer.status_code, answer.json()["outbox"]["set_aside"]) == (200, 1)


@pytest.mark.django_db(transaction=True)
def test_who_listens_hears_of_an_event_when_it_is_committed_and_not_before():
    held = full_store(FarmFactory())
    ear = asleep()
    with transaction.atomic():
        told(held)
        assert ear.wait(seconds=0.1, otherwise=time.sleep) is False

    assert ear.wait(seconds=10, otherwise=time.sleep) is True
    assert ear.wait(seconds=0.1, otherwise=time.sleep) is True  # it looks once more before it sleeps
    assert ear.wait(seconds=0.1, otherwise=time.sleep) is False
    with transaction.atomic():
        told(held)
        transaction.set_rollback(True)
    assert ear.wait(seconds=0.1, otherwise=time.sleep) is False
    ear.close()


def asleep():
    """Return one that looked for what was there, and now hears of what comes."""
    ear = wake.Ear()
    assert ear.wait(seconds=0.01, otherwise=time.sleep) is True
    assert ear.wait(seconds=0.01, otherwise=time.sleep) is False
    return ear


@pytest.mark.django_db(transaction=True)
def test_nobody_falls_asleep_on_an_event_that_is_being_written():
    held = full_store(FarmFactory())
    outbox.drain()
    ear, looks = wake.Ear(), []
    with transaction.atomic():
        told(held)  # and tells nobody, since nobody is asleep
        for _ in range(3):
            assert ear.wait(seconds=0.01, otherwise=time.sleep) is True
            looks += at_once(lambda: len(outbox.claim(now=timezone.now())))
    while ear.wait(seconds=0.01, otherwise=time.sleep):
        looks.append(len(outbox.claim(now=timezone.now())))

    assert (looks[:3], sum(looks)) == ([0, 0, 0], 1)
    ear.close()


@pytest.mark.django_db(transaction=True)
def test_two_who_listen_both_hear_and_one_that_is_lost_leaves_the_other():
    held = full_store(FarmFactory())
    first, second = asleep(), wake.Ear()
    assert second.wait(seconds=0.01, otherwise=time.sleep) is True  # it cannot sleep, so it looks
    told(held)
    assert first.wait(seconds=10, otherwise=time.sleep) is True
    first.close()

    assert second.wait(seconds=10, otherwise=time.sleep) is True
    while second.wait(seconds=0.01, otherwise=time.sleep):
        pass
    told(held)
    assert second.wait(seconds=10, otherwise=time.sleep) is True
    second.close()


def test_without_a_word_from_the_database_time_passes_instead(monkeypatch):
    def broken(*_, **__):
        raise psycopg.OperationalError("no")

    monkeypatch.setattr(psycopg, "connect", broken)
    waited = []

    assert wake.Ear().wait(seconds=1, otherwise=waited.append) is False
    assert waited == [wake.AGAIN_SECONDS]


def test_without_a_broker_a_job_is_done_where_it_is_asked_for(held):
    told(held)

    jobs.relay.apply_async()

    assert pounds_used() == [-3]


def test_answers_are_forgotten_by_a_job():
    assert jobs.forget_answers.apply().get() == 0


def test_the_command_does_all_that_is_due_once(held):
    order = order_on(held.farm)
    for _ in range(3):
        told(held, order=order, pounds="1")
    printed = StringIO()

    call_command("relay", "--once", stdout=printed)

    assert pounds_used() == [-1, -1, -1]
    assert printed.getvalue() == "3 done.\n"


@pytest.mark.django_db(transaction=True)
def test_relays_side_by_side_send_each_event_once():
    held = full_store(FarmFactory())
    order = order_on(held.farm)
    for _ in range(20):
        told(held, order=order, pounds="0.1")
    sent = []

    at_once(*[lambda: outbox.relay(send=sent.append, now=timezone.now(), most=7)] * 4)

    assert len(sent) == len(set(sent))
    assert len(sent) <= 20


@pytest.mark.django_db(transaction=True)
def test_the_same_event_delivered_by_four_at_once_is_done_once():
    held = full_store(FarmFactory())
    told(held)
    id = OutboxEvent.objects.get().id

    done = at_once(*[lambda: outbox.deliver(id, now=timezone.now())] * 4)

    assert sum(done) == 1
    assert pounds_used() == [-3]
    assert fresh(held).on_hand_base == amount("17", "lb").in_base()


@pytest.mark.django_db(transaction=True)
def test_what_is_being_done_is_not_sent_again_however_long_it_takes(monkeypatch):
    held = full_store(FarmFactory())
    told(held)
    doing, may_end = threading.Event(), threading.Event()

    def slow(event, now):
        doing.set()
        may_end.wait(10)
        work.deduct_load(event, now)

    monkeypatch.setitem(work.WORK, "load.recorded", slow)
    worker = threading.Thread(target=lambda: (outbox.drain(), connection.close()))
    worker.start()
    assert doing.wait(10)
    sent = []
    outbox.relay(send=sent.append, now=NOW)
    may_end.set()
    worker.join(10)

    assert sent == []
    assert pounds_used() == [-3]
