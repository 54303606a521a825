"""Plans of a whole farm: who, where, when and with what; what is left out; what a second plan leaves be."""

import datetime as dt

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from orchard.blocks import services as blocks
from orchard.farms.actors import SYSTEM
from orchard.tasks import programmes
from orchard.tasks.models import PlanningRun, WorkOrder
from scheduling import outbox, planning
from scheduling.assignment.assign import Budget
from tests.callers import Caller, codes
from tests.clock import Clock
from tests.factories import (
    BlockFactory,
    CrewFactory,
    FarmFactory,
    QualificationFactory,
    SprayerFactory,
    WorkerFactory,
    amount,
)
from tests.scheduling.test_planning_runs import (
    FIRST,
    FIRST_FINE,
    LAST,
    stock_up,
    weather_of,
)
from tests.tasks.test_mix_checks import COPPER_LABEL, product_with

pytestmark = pytest.mark.django_db
SHORT = Budget(work=1.0, seconds=5.0)


@pytest.fixture(autouse=True)
def clock(monkeypatch):
    return Clock(monkeypatch, "2026-11-26 12:00")


@pytest.fixture
def farm(clock):
    return FarmFactory()


@pytest.fixture
def manager(farm):
    return Caller(farm, "manager")


@pytest.fixture
def copper(farm):
    return product_with(farm, COPPER_LABEL)


def crew(farm, name="North", **training):
    worker = QualificationFactory(farm=farm, worker=WorkerFactory(farm=farm), **training).worker
    return CrewFactory(farm=farm, name=name, members=[worker])


def bare(farm, name, *, leaves_down="96", **more):
    """A peach block of 140 trees that has dropped its leaves."""
    made = BlockFactory(farm=farm, name=name, **{"area": amount("1.0413", "acre"), "trees": 140, **more})
    blocks.add_stage(
        block=made,
        bbch=97,
        observed_on=dt.date(2026, 11, 20),
        leaf_drop_percent=leaves_down,
        by=SYSTEM,
        now=timezone.now(),
    )
    return made


def fine(farm, first=FIRST, days=22):
    rows = [
        {**weather_of(FIRST_FINE), "on": (first + dt.timedelta(days=step)).isoformat()}
        for step in range(days)
    ]
    assert Caller(farm, "manager").post("weather/days", {"items": rows}).status_code == 200


def programme_of(manager, copper, **line):
    lines = [
        {
            "title": "Leaf-fall copper",
            "kind": "spray",
            "crops": ["peach"],
            "stage": {"from": 93, "to": 53},
            "leaf_drop_minimum_percent": "90",
            "products": [{"product": str(copper.id), "rate": {"value": "1", "unit": "oz_wt/gal"}}],
            "volume_per_tree": {"value": "1.4", "unit": "gal"},
            **line,
        }
    ]
    body = {"name": "Winter", "from": "2026-11-01", "until": "2027-03-31", "lines": lines}
    made = manager.post("programmes", body)
    assert made.status_code == 201, made.json()
    return made.json()


def ask(manager, programme, **more):
    body = {
        "programme": programme["id"],
        "from": f"{FIRST}T00:00:00-08:00",
        "until": f"{LAST}T23:00:00-08:00",
        **more,
    }
    asked = manager.post("planning-runs", body)
    assert asked.status_code == 202, asked.json()
    return asked.json()


def planned(manager, programme, **more):
    run = ask(manager, programme, **more)
    outbox.drain()
    found = manager.get(run["url"]).json()
    assert found["status"] == "done", found
    return found["result"]


def orders(manager, result):
    return [manager.get(f"work-orders/{id}").json() for id in result["work_orders"]]


def test_two_blocks_of_one_crew_and_sprayer_are_done_one_after_the_other(farm, manager, copper):
    crew(farm), SprayerFactory(farm=farm), stock_up(copper, "30"), fine(farm)
    bare(farm, "Lower"), bare(farm, "Upper")

    result = planned(manager, programme_of(manager, copper))

    first, second = sorted(orders(manager, result), key=lambda one: one["starts_at"])
    assert first["ends_at"] <= second["starts_at"]
    assert (result["gap_percent"], result["left_out"]) == (0, [])


def test_two_crews_with_a_sprayer_each_work_side_by_side(farm, manager, copper):
    crew(farm), crew(farm, "South"), SprayerFactory(farm=farm), SprayerFactory(farm=farm)
    stock_up(copper, "30"), fine(farm)
    bare(farm, "Lower"), bare(farm, "Upper")

    made = orders(manager, planned(manager, programme_of(manager, copper)))

    assert len({one["starts_at"] for one in made}) == 1
    assert len({one["crew"] for one in made}) == len({one["sprayer"] for one in made}) == 2


def test_what_the_store_does_not_hold_is_left_out_and_said(farm, manager, copper):
    crew(farm), SprayerFactory(farm=farm), stock_up(copper, "15"), fine(farm)
    bare(farm, "Lower"), bare(farm, "Upper")

    result = planned(manager, programme_of(manager, copper))

    assert len(result["work_orders"]) == 1
    (left,) = result["left_out"]
    assert left["code"] == "stock_short"
    assert "short by 9.5 lb" in left["says"]


def test_what_can_be_bought_in_time_is_planned(farm, manager, copper):
    crew(farm), SprayerFactory(farm=farm), fine(farm)
    bare(farm, "Lower")
    copper.lead_time = amount("3", "d")
    copper.save()

    result = planned(manager, programme_of(manager, copper))

    assert len(result["work_orders"]) == 1
    assert [one["product"] for one in manager.get("purchase-needs").json()["items"]] == [str(copper.id)]


def test_a_crew_whose_training_ends_is_not_sent_after_it(farm, manager, copper):
    crew(farm, expires_on=FIRST - dt.timedelta(days=1))
    SprayerFactory(farm=farm), stock_up(copper, "30"), fine(farm)
    bare(farm, "Lower")

    result = planned(manager, programme_of(manager, copper))

    assert [one["code"] for one in result["left_out"]] == ["crew_not_qualified"]


def test_a_farm_without_a_sprayer_is_told_so(farm, manager, copper):
    crew(farm), stock_up(copper, "30"), fine(farm)
    bare(farm, "Lower")

    assert [one["code"] for one in planned(manager, programme_of(manager, copper))["left_out"]] == [
        "no_sprayer"
    ]


@pytest.mark.parametrize(
    ("kind", "tank", "wanted"),
    [("handgun", "4", "a larger tank"), ("backpack", "4", "a sprayer that gives more a minute")],
)
def test_a_job_longer_than_any_open_spell_is_told_what_makes_it_shorter(
    farm, manager, copper, kind, tank, wanted
):
    crew(farm), SprayerFactory(farm=farm, kind=kind, tank=amount(tank, "gal"))
    stock_up(copper, "30"), fine(farm)
    bare(farm, "Lower")

    (left,) = planned(manager, programme_of(manager, copper))["left_out"]

    assert left["code"] == "too_long"
    assert wanted in left["says"]


def test_where_all_crews_are_taken_another_is_asked_for(farm, manager, copper):
    crew(farm), SprayerFactory(farm=farm), SprayerFactory(farm=farm), stock_up(copper, "60")
    fine(farm, days=3)
    for name in ("Lower", "Upper", "West"):
        bare(farm, name)

    until = f"{FIRST}T23:00:00-08:00"
    result = planned(manager, programme_of(manager, copper), until=until)

    assert len(result["work_orders"]) == 2
    (left,) = result["left_out"]
    assert left["code"] == "no_crew"
    assert "add a crew" in left["says"]


def test_no_open_hour_names_what_closes_them(farm, manager, copper):
    crew(farm), SprayerFactory(farm=farm), stock_up(copper, "30")
    rows = [
        weather_of(FIRST + dt.timedelta(days=step)) for step in range(7)
    ]  # three windy days, then four wet ones
    assert manager.post("weather/days", {"items": rows}).status_code == 200
    bare(farm, "Lower")

    until = f"{FIRST + dt.timedelta(days=6)}T23:00:00-08:00"
    (left,) = planned(manager, programme_of(manager, copper), until=until)["left_out"]

    assert left["code"] == "no_open_day"
    assert "wind" in left["says"] and "rain" in left["says"]


def test_an_hour_of_wind_in_the_morning_moves_the_job_to_after_it(farm, manager, copper):
    crew(farm), SprayerFactory(farm=farm), stock_up(copper, "30")
    bare(farm, "Lower")
    start = dt.datetime(2026, 12, 1, 8, tzinfo=dt.UTC)  # midnight at the farm
    rows = [
        {
            "at": (start + dt.timedelta(hours=step)).isoformat(),
            "kind": "forecast",
            "temperature": {"value": "50", "unit": "degF"},
            "wind": {"value": "14" if step <= 9 else "5", "unit": "mph"},
            "rain": {"value": "0", "unit": "mm"},
            "leaf_wet": False,
        }
        for step in range(60)
    ]
    assert manager.post("weather/hours", {"items": rows}).status_code == 200

    (order,) = orders(manager, planned(manager, programme_of(manager, copper)))

    assert order["starts_at"] == "2026-12-01T10:00:00-08:00"


def test_an_issued_order_stays_and_keeps_its_crew_from_other_work(farm, manager, copper):
    crew(farm), SprayerFactory(farm=farm), stock_up(copper, "60"), fine(farm)
    bare(farm, "Lower")
    programme = programme_of(manager, copper)
    (kept,) = orders(manager, planned(manager, programme))
    WorkOrder.objects.filter(id=kept["id"]).update(status="issued")
    bare(farm, "Upper")

    result = planned(manager, programme)

    (new,) = orders(manager, result)
    assert [one["code"] for one in result["left_out"]] == ["planned_already"]
    assert manager.get(f"work-orders/{kept['id']}").json()["starts_at"] == kept["starts_at"]
    assert new["starts_at"] >= kept["ends_at"]


def test_a_draft_moves_only_when_its_day_is_closed(farm, manager, copper):
    crew(farm), SprayerFactory(farm=farm), stock_up(copper, "60"), fine(farm)
    bare(farm, "Lower")
    programme = programme_of(manager, copper)
    (draft,) = orders(manager, planned(manager, programme))
    stays = planned(manager, programme)
    rainy = {**weather_of(FIRST_FINE), "on": str(FIRST), "rain": {"value": "9", "unit": "mm"}}
    manager.post("weather/days", {"items": [rainy]})

    moves = planned(manager, programme)

    assert stays["work_orders"] == []
    assert moves["work_orders"] == [draft["id"]]
    assert (
        manager.get(f"work-orders/{draft['id']}")
        .json()["starts_at"]
        .startswith(str(FIRST + dt.timedelta(days=1)))
    )


def test_nobody_is_sent_into_a_block_under_re_entry(farm, manager, copper):
    crew(farm), SprayerFactory(farm=farm), stock_up(copper, "30"), fine(farm)
    block = bare(farm, "Lower")
    block.re_entry_until = dt.datetime(2026, 12, 3, 20, tzinfo=dt.UTC)
    block.save()

    (order,) = orders(manager, planned(manager, programme_of(manager, copper)))

    assert order["starts_at"] >= "2026-12-03T12:00:00-08:00"


def test_a_mix_that_the_label_forbids_is_not_planned(farm, manager, copper):
    crew(farm), SprayerFactory(farm=farm), stock_up(copper, "60"), fine(farm)
    bare(farm, "Lower")
    twice_the_label = [{"product": str(copper.id), "rate": {"value": "3.2", "unit": "oz_wt/gal"}}]

    result = planned(manager, programme_of(manager, copper, products=twice_the_label))

    assert [one["code"] for one in result["left_out"]] == ["mix_stop"]


def run_of(farm, manager, copper):
    crew(farm), SprayerFactory(farm=farm), stock_up(copper, "30"), fine(farm)
    bare(farm, "Lower")
    asked = ask(manager, programme_of(manager, copper))
    return PlanningRun.objects.get(id=asked["id"]), asked


def test_a_run_that_waits_is_called_off_at_once(farm, manager, copper):
    _, asked = run_of(farm, manager, copper)

    off = manager.act(asked["url"], "cancel")
    outbox.drain()

    assert off.status_code == 200, off.json()
    assert (off.json()["status"], off.json()["result"]["cancelled"]) == ("failed", True)
    assert not WorkOrder.objects.exists()
    assert codes(manager.act(asked["url"], "cancel")) == ["state_conflict"]


def test_a_run_at_work_is_called_off_and_writes_nothing(farm, manager, copper):
    run, asked = run_of(farm, manager, copper)
    solved = planning.solve(run=run, by=SYSTEM, now=timezone.now(), budget=SHORT)
    assert manager.get(asked["url"]).json()["status"] == "running"

    assert manager.act(asked["url"], "cancel").json()["status"] == "running"
    planning.write(solved)

    found = manager.get(asked["url"]).json()
    assert (found["status"], found["result"]["work_orders"]) == ("failed", [])
    assert not WorkOrder.objects.exists()


def test_the_work_hears_that_it_is_called_off(farm, manager, copper):
    run, asked = run_of(farm, manager, copper)
    held = programmes.take_up(
        run=run, by=SYSTEM, until=timezone.now() + planning.HELD_FOR, now=timezone.now()
    )
    hold = planning.Hold(held, SYSTEM, timezone.now())
    manager.act(asked["url"], "cancel")

    assert hold.tell(30) is True


def test_how_far_it_is_can_be_read_while_it_works(farm, manager, copper):
    run, asked = run_of(farm, manager, copper)
    held = programmes.take_up(
        run=run, by=SYSTEM, until=timezone.now() + planning.HELD_FOR, now=timezone.now()
    )

    planning.Hold(held, SYSTEM, timezone.now()).tell(30)

    found = manager.get(asked["url"]).json()
    assert (found["status"], found["progress_percent"]) == ("running", 30)


def test_a_second_run_of_a_farm_waits_for_the_first(farm, manager, copper):
    run, asked = run_of(farm, manager, copper)
    programmes.take_up(run=run, by=SYSTEM, until=timezone.now() + planning.HELD_FOR, now=timezone.now())
    programme = {"id": asked["programme"]}

    second = ask(manager, programme)
    outbox.drain()

    assert manager.get(second["url"]).json()["status"] == "queued"


def test_a_run_whose_worker_was_lost_is_taken_up_again_and_blocks_nobody(farm, manager, copper):
    run, asked = run_of(farm, manager, copper)
    long_ago = timezone.now() - dt.timedelta(minutes=5)
    programmes.take_up(run=run, by=SYSTEM, until=long_ago + planning.HELD_FOR, now=long_ago)

    outbox.drain()

    assert manager.get(asked["url"]).json()["status"] == "done"


def test_a_run_that_fails_goes_back_to_the_queue(farm, manager, copper):
    run, _ = run_of(farm, manager, copper)
    farm.zone = "Nowhere/At_All"
    farm.save()

    with pytest.raises(KeyError):
        planning.solve(run=PlanningRun.objects.get(key=run.key), by=SYSTEM, now=timezone.now())

    run.refresh_from_db()
    assert (run.status, run.taken_until) == ("queued", None)


def test_a_worker_that_was_taken_for_lost_writes_nothing(farm, manager, copper):
    run, _ = run_of(farm, manager, copper)
    solved = planning.solve(run=run, by=SYSTEM, now=timezone.now(), budget=SHORT)
    later = timezone.now() + dt.timedelta(minutes=5)
    planning.run_plan(run=run, by=SYSTEM, now=later, budget=SHORT)

    with pytest.raises(planning.Lost):
        planning.write(solved)

    assert WorkOrder.objects.count() == 1


def test_the_database_holds_a_farm_to_one_run_at_work(farm, manager, copper):
    _, asked = run_of(farm, manager, copper)
    ask(manager, {"id": asked["programme"]})

    with pytest.raises(IntegrityError), transaction.atomic():
        PlanningRun.objects.filter(farm=farm).update(status="running")
