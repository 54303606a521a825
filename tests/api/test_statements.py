"""What is written together goes in one round trip, and is seen by every read after it."""

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from orchard.api import statements
from orchard.farms import journal
from orchard.farms.actors import SYSTEM
from orchard.farms.models import AuditEntry, Change
from orchard.inventory import queries as inventory
from orchard.inventory.models import StorePlace
from tests.factories import FarmFactory

pytestmark = pytest.mark.django_db


def a_place(farm, name="barn"):
    return journal.create(StorePlace, farm=farm, by=SYSTEM, now=timezone.now(), name=name)


def test_rows_with_their_audit_and_changes_go_in_one_statement():
    farm = FarmFactory()

    with CaptureQueriesContext(connection) as caught, statements.together():
        for name in ("barn", "shed", "loft"):
            a_place(farm, name)

    assert len(caught) == 1
    made = list(Change.objects.for_farm(farm).order_by("seq").values_list("resource_id", flat=True))
    assert made == [StorePlace.objects.for_farm(farm).get(name=name).id for name in ("barn", "shed", "loft")]
    assert AuditEntry.objects.for_farm(farm).filter(action="create", resource="store_place").count() == 3


def test_a_read_sees_what_was_written_before_it():
    farm = FarmFactory()

    with statements.together():
        a_place(farm)
        seen = StorePlace.objects.for_farm(farm).count()
        a_place(farm, "shed")
        read = statements.read_rows(StorePlace.objects.for_farm(farm).values_list("name"))

    assert (seen, sorted(read)) == (1, [("barn",), ("shed",)])


def test_what_is_changed_twice_is_written_once_as_it_was_last():
    place = a_place(FarmFactory())

    with CaptureQueriesContext(connection) as caught, statements.together():
        journal.change(place, by=SYSTEM, now=timezone.now(), name="old barn")
        journal.touch(place, now=timezone.now(), locked=True)
        journal.change(place, by=SYSTEM, now=timezone.now(), name="new barn")

    assert len(caught) == 1
    place.refresh_from_db()
    assert (place.name, place.locked, place.version) == ("new barn", True, 4)
    told = Change.objects.for_farm(place.farm).filter(resource_id=place.id).order_by("seq")
    assert [one.etag for one in told][-1] == place.etag


def test_what_was_just_made_can_be_changed_at_once():
    farm = FarmFactory()

    with statements.together():
        place = a_place(farm)
        journal.change(place, by=SYSTEM, now=timezone.now(), name="shed")

    assert StorePlace.objects.for_farm(farm).get().name == "shed"


def test_what_a_savepoint_gave_up_is_not_written_and_what_was_before_it_is():
    farm = FarmFactory()

    with statements.together():
        a_place(farm, "kept")
        with pytest.raises(ZeroDivisionError), transaction.atomic():
            a_place(farm, "given up")
            raise ZeroDivisionError

    assert [place.name for place in StorePlace.objects.for_farm(farm)] == ["kept"]


@pytest.mark.parametrize("is_sent", [False, True])
def test_what_a_block_wrote_before_it_failed_is_there_for_whoever_catches_that(is_sent):
    farm = FarmFactory()

    with transaction.atomic():
        with pytest.raises(ZeroDivisionError), statements.together():
            a_place(farm)
            if is_sent:
                StorePlace.objects.count()
            raise ZeroDivisionError
        a_place(farm, "shed")

    assert {place.name for place in StorePlace.objects.for_farm(farm)} == {"barn", "shed"}


def test_an_error_of_the_database_takes_the_transaction_along():
    farm = FarmFactory()
    a_place(farm)

    with transaction.atomic():
        with pytest.raises(IntegrityError), statements.together():
            a_place(farm)
        assert transaction.get_rollback()


def test_what_the_database_refuses_is_refused_at_the_end_of_the_block():
    farm = FarmFactory()
    a_place(farm)

    with pytest.raises(IntegrityError), transaction.atomic(), statements.together():
        a_place(farm)

    assert StorePlace.objects.for_farm(farm).count() == 1


def test_a_great_many_go_in_several_statements(monkeypatch):
    monkeypatch.setattr(statements, "MOST_VALUES", 100)
    farm = FarmFactory()

    with CaptureQueriesContext(connection) as caught, statements.together():
        for number in range(20):
            a_place(farm, f"shelf {number}")

    assert 1 < len(caught) < 20
    assert StorePlace.objects.for_farm(farm).count() == 20


@pytest.mark.django_db(transaction=True)
def test_nothing_waits_without_a_transaction():
    with pytest.raises(transaction.TransactionManagementError), statements.together():
        pass


def test_a_page_of_the_ledger_is_planned_once_not_for_each_reader():
    farm = FarmFactory()

    for _ in range(20):
        inventory.lines(inventory.movements(farm=farm).filter(id__gt=farm.id).order_by("id")[:101])

    plans = statements.execute(
        "SELECT sum(custom_plans)::int, sum(generic_plans)::int FROM pg_prepared_statements "
        "WHERE statement LIKE '%inventory_movement%LIMIT 101%' AND statement NOT LIKE '%pg_prepared%'",
        [],
    )
    assert plans[0][0] == 0 and plans[0][1] > 10
