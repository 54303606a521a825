import datetime as dt

import pytest

from orchard.crews import queries
from tests.callers import Caller, codes, pointers
from tests.factories import CrewFactory, FarmFactory, QualificationFactory, SprayerFactory, WorkerFactory

pytestmark = pytest.mark.django_db
TODAY = dt.date(2026, 1, 10)


@pytest.fixture
def farm():
    return FarmFactory()


@pytest.fixture
def manager(farm):
    return Caller(farm, "manager")


def test_only_a_trained_adult_may_handle(farm, manager):
    trained, untrained = WorkerFactory(farm=farm), WorkerFactory(farm=farm)
    minor = WorkerFactory(farm=farm, adult=False)
    QualificationFactory(farm=farm, worker=trained)
    QualificationFactory(farm=farm, worker=minor)

    shown = {row["id"]: row["may_handle"] for row in manager.get("workers").json()["items"]}

    assert shown == {str(trained.id): True, str(untrained.id): False, str(minor.id): False}


def test_training_is_valid_through_the_day_it_expires(farm):
    worker = WorkerFactory(farm=farm)
    QualificationFactory(farm=farm, worker=worker, obtained_on=TODAY, expires_on=TODAY)

    assert queries.may_handle(worker=worker, on=TODAY)
    assert not queries.may_handle(worker=worker, on=TODAY + dt.timedelta(days=1))
    assert not queries.may_handle(worker=worker, on=TODAY - dt.timedelta(days=1))


def test_a_qualification_cannot_expire_before_it_was_obtained(farm, manager):
    worker = WorkerFactory(farm=farm)
    body = {"kind": "licence", "obtained_on": "2026-01-10", "expires_on": "2025-01-10"}

    response = manager.post(f"workers/{worker.id}/qualifications", body)

    assert (response.status_code, pointers(response)) == (422, ["/expires_on"])


def test_a_crew_member_sees_their_own_qualifications_only(farm):
    own, other = WorkerFactory(farm=farm, phone="1"), WorkerFactory(farm=farm, phone="2")
    member = Caller(farm, "crew_member", worker=own)

    assert member.get(f"workers/{own.id}/qualifications").status_code == 200
    assert member.get(f"workers/{other.id}/qualifications").status_code == 404
    assert {row["phone"] for row in member.get("workers").json()["items"]} == {"1", None}


def test_the_lead_is_one_of_the_crew(farm, manager):
    one, other = WorkerFactory(farm=farm), WorkerFactory(farm=farm)

    refused = manager.post("crews", {"name": "A", "members": [str(one.id)], "lead": str(other.id)})
    made = manager.post(
        "crews", {"name": "A", "members": [str(one.id), str(other.id)], "lead": str(other.id)}
    )

    assert (refused.status_code, pointers(refused)) == (422, ["/lead"])
    assert made.status_code == 201
    assert manager.patch(f"crews/{made.json()['id']}", {"members": [str(other.id)]}).json()["members"] == [
        str(other.id)
    ]


def test_a_crew_of_nobody_or_of_strangers_is_refused(manager):
    stranger = WorkerFactory()

    assert manager.post("crews", {"name": "A", "members": []}).status_code == 422
    assert codes(manager.post("crews", {"name": "A", "members": [str(stranger.id)]})) == ["not_found"]


@pytest.mark.parametrize(
    ("body", "missing"),
    [
        ({"kind": "backpack"}, ["/tank"]),
        ({"kind": "hose_end_dial"}, ["/dial_max", "/dial_step", "/jar"]),
        ({"kind": "hose_end_ratio"}, ["/ratio", "/jar"]),
    ],
)
def test_a_sprayer_says_what_its_kind_needs(manager, body, missing):
    assert pointers(manager.post("sprayers", {"name": "S", **body})) == missing


def test_a_sprayer_shows_until_when_its_calibration_holds(farm, manager):
    sprayer = SprayerFactory(farm=farm)
    for on, due in (("2026-01-01", "2026-06-30"), ("2026-02-01", "2026-08-31")):
        made = manager.post(f"sprayers/{sprayer.id}/calibrations", {"on": on, "due_on": due})
        assert made.status_code == 201, made.json()

    assert manager.get(f"sprayers/{sprayer.id}").json()["calibration_due"] == "2026-08-31"
    assert len(manager.get("sprayers?calibration_due_before=2026-09-01").json()["items"]) == 1
    assert manager.get("sprayers?calibration_due_before=2026-08-31").json()["items"] == []


def test_workers_whose_qualification_runs_out_are_found(farm, manager):
    soon = QualificationFactory(farm=farm, expires_on=dt.date(2026, 3, 1)).worker
    QualificationFactory(farm=farm, expires_on=dt.date(2027, 3, 1))

    found = manager.get("workers?qualification_expires_before=2026-04-01").json()["items"]

    assert [row["id"] for row in found] == [str(soon.id)]


def test_lists_cost_the_same_for_one_and_for_many(farm, manager, django_assert_max_num_queries):
    for _ in range(20):
        worker = WorkerFactory(farm=farm)
        CrewFactory(farm=farm, members=[worker])
        SprayerFactory(farm=farm)

    for path in ("workers", "crews", "sprayers"):
        with django_assert_max_num_queries(9):
            assert len(manager.get(path).json()["items"]) == 20


def test_a_storekeeper_cannot_add_a_worker(farm):
    response = Caller(farm, "storekeeper").post("workers", {"name": "W", "adult": True})

    assert (response.status_code, codes(response)) == (403, ["role_not_allowed"])
