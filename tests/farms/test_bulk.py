"""Many rows at once are the same rows, with the same words in the journals, as one by one."""

import pytest
from django.utils import timezone

from orchard.crews.models import Sprayer
from orchard.farms import bulk, journal
from orchard.farms.actors import SYSTEM
from orchard.farms.models import AuditEntry, Change
from orchard.farms.rows import new_id
from tests.factories import FarmFactory, amount

pytestmark = pytest.mark.django_db
COLUMNS = {"kind": "airblast", "tank": amount("50.25", "gal"), "materials": ["brass", 'a "quoted" \\ one']}


def sprayers(farm, count):
    made = []
    for number in range(count):
        row, id = Sprayer(farm=farm, name=f"Sprayer {number}", **COLUMNS), new_id()
        row.key = row.id = id
        made.append(row)
    return made


def test_rows_written_together_are_as_written_one_by_one():
    farm, now = FarmFactory(), timezone.now()
    alone = journal.create(Sprayer, farm=farm, by=SYSTEM, now=now, name="Sprayer 0", **COLUMNS)
    together, *_ = sprayers(farm, 3)

    bulk.create([together, *_], by=SYSTEM, now=now)

    one, other = (journal.snapshot(Sprayer.objects.get(key=row.key)) for row in (alone, together))
    assert {**one, "id": ""} == {**other, "id": ""}
    words, same = (AuditEntry.objects.get(resource_id=row.id) for row in (alone, together))
    assert {**words.after, "id": ""} == {**same.after, "id": ""}
    assert (words.action, words.by_name, words.at) == (same.action, same.by_name, same.at)
    change, alike = (Change.objects.get(resource_id=row.id) for row in (alone, together))
    assert (change.change, change.resource, change.etag) == (alike.change, alike.resource, alike.etag)
    assert alike.path.endswith(f"/sprayers/{together.id}")
    assert Sprayer.objects.count() == AuditEntry.objects.count() == Change.objects.count() == 4


def test_a_few_statements_write_them_all(django_assert_num_queries):
    made = sprayers(FarmFactory(), 50)

    with django_assert_num_queries(3):
        bulk.create(made, by=SYSTEM, now=timezone.now())


def test_nothing_to_write_asks_nothing(django_assert_num_queries):
    with django_assert_num_queries(0):
        bulk.create([], by=SYSTEM, now=timezone.now())
