"""The change feed under writers that commit late: what a plain sequence number would lose."""

import threading
import time

import pytest
from django.db import connection, transaction
from django.utils import timezone

from orchard.farms import journal, queries
from orchard.farms.actors import SYSTEM
from orchard.farms.api import journals
from orchard.farms.models import Farm
from tests import database
from tests.callers import Caller, codes
from tests.factories import BlockFactory, FarmFactory
from tests.faults import feed, paging

pytestmark = pytest.mark.django_db(transaction=True)


def read_on(farm, after):
    with transaction.atomic():
        return queries.changes(farm=farm, after=after, limit=500)


def place(change):
    return change[:2]


def follow(farm, *, until, after=None):
    """Read on until so many changes have come: what runs elsewhere on the server may hold the feed back."""
    seen, end = [], time.monotonic() + 20
    while len(seen) < until and time.monotonic() < end:
        found = read_on(farm, after)
        seen += found
        after = place(found[-1]) if found else after
    return seen + read_on(farm, after)


def test_a_change_that_commits_late_is_not_lost():
    farm = FarmFactory()
    early, late = BlockFactory(farm=farm), BlockFactory(farm=farm)
    written, go_on = threading.Event(), threading.Event()

    def slow_writer():
        with transaction.atomic():
            journal.change(early, by=SYSTEM, now=timezone.now(), name="slow")  # takes the lower number …
            written.set()
            go_on.wait(10)  # … and commits last
        connection.close()

    slow = threading.Thread(target=slow_writer)
    slow.start()
    written.wait(10)
    with transaction.atomic():
        journal.change(late, by=SYSTEM, now=timezone.now(), name="quick")

    first = read_on(farm, None)
    go_on.set()
    slow.join()
    second = follow(farm, until=2 - len(first), after=place(first[-1]) if first else None)

    seen = [id for _, _, _, _, id, *_ in first + second]
    assert sorted(seen) == sorted([early.id, late.id])


def test_a_reader_misses_nothing_and_reads_nothing_twice_under_many_writers():
    farm = FarmFactory()
    blocks = BlockFactory.create_batch(4, farm=farm)

    def writer(block):
        for number in range(25):
            with transaction.atomic():
                journal.change(block, by=SYSTEM, now=timezone.now(), name=f"{block.id} {number}")
        connection.close()

    writers = [threading.Thread(target=writer, args=(block,)) for block in blocks]
    seen = []

    def reader():
        seen.extend(follow(farm, until=100))
        connection.close()

    following = threading.Thread(target=reader)
    following.start()
    for one in writers:
        one.start()
    for one in (*writers, following):
        one.join()

    assert len(seen) == len({seq for _, seq, *_ in seen}) == 100


def test_three_readers_miss_nothing_of_ten_writers_who_commit_late(settings):
    settings.RATE_LIMIT_PER_MINUTE = 0

    promises, missed_by_the_plain_sequence = feed.kept(changes=150, writers=10, readers=3, seed=1)

    assert [one.line() for one in promises if one.violations or not one.runs] == []
    assert missed_by_the_plain_sequence > 0


def test_no_order_is_skipped_or_doubled_while_others_are_put_in(settings):
    settings.RATE_LIMIT_PER_MINUTE = 0

    promises, added = paging.kept(rows=200, a_second=100, limit=10, seed=1)

    assert [one.line() for one in promises if one.violations or not one.runs] == []
    assert added > 0


def test_the_feed_is_followed_over_http():
    farm = Farm.objects.get(id=FarmFactory().id)
    manager = Caller(farm, "manager")
    made = manager.post("blocks", {"name": "Lower", "crop": "peach"}).json()

    database.until_all_is_final()
    page = manager.get("changes").json()
    assert page["items"][-1]["resource"] == "block"
    assert page["items"][-1]["url"] == made["url"]
    assert manager.get(f"changes?after={page['cursor']}").json()["items"] == []

    manager.patch(made["url"], {"name": "Upper"})
    after = manager.get(f"changes?after={page['cursor']}&wait=30").json()["items"]
    assert [(one["change"], one["id"]) for one in after] == [("updated", made["id"])]
    assert after[0]["etag"] == manager.get(made["url"])["ETag"]

    elsewhere = Caller(FarmFactory(), "manager").get(f"changes?after={page['cursor']}")
    assert (elsewhere.status_code, codes(elsewhere)) == (404, ["not_found"])


def test_a_cursor_that_was_kept_from_before_it_named_its_farm_holds():
    farm = FarmFactory()

    assert journals.place_of("MTIuMzQ", farm=farm.id) == (12, 34)
    assert journals.place_of(journals.cursor_of((12, 34), farm=farm.id), farm=farm.id) == (12, 34)
