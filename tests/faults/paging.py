"""A list followed page by page while rows are put in everywhere: `python -m tests.faults paging`.

The schedule is the hardest of our lists: it is sorted by the time of the work and not by age, so that new
orders land before, on and behind the page that is being read.
"""

from __future__ import annotations

import datetime as dt
import itertools
import random
import threading
import time
from collections import Counter

from django.db import connection
from django.utils import timezone

from orchard.farms.rows import new_id
from orchard.tasks.models import WorkOrder
from tests import factories as made
from tests.callers import Caller
from tests.faults.promises import Promise

A_YEAR_MIN = 366 * 24 * 60
BATCH = 5


def main(*, rows: int, a_second: int, limit: int, seed: int) -> int:
    """Run, print one line a promise, and return the exit status."""
    began = time.monotonic()
    promises, added = kept(rows=rows, a_second=a_second, limit=limit, seed=seed)
    print("\n".join(promise.line() for promise in promises))
    took = time.monotonic() - began
    print(f"{rows} orders, {limit} a page; {added} added meanwhile, {a_second} a second wanted; {took:.0f} s")
    return 1 if any(promise.violations for promise in promises) else 0


def kept(*, rows: int, a_second: int, limit: int, seed: int) -> tuple[list[Promise], int]:
    """Return the promises, and how many orders were added while the pages were read."""
    chance, manager = random.Random(seed), Caller(made.FarmFactory(), "manager")
    first = _first(manager)
    there = {row.id for row in _copies(first, rows, chance)}
    adding = _Adding(first, a_second, random.Random(seed + 1))
    adding.start()
    try:
        seen, order = _followed(manager, limit)
    finally:
        adding.over.set()
        adding.join()
    skipped = Promise("no order that was there before is left out")
    doubled = Promise("no order is told twice")
    sorted_ = Promise("each page goes on where the last one ended")
    for id in there:
        skipped.look(seen[str(id)] > 0, f"{id} was not told")
    for id, times in seen.items():
        doubled.look(times == 1, f"{id} was told {times} times")
    for before, after in itertools.pairwise(order):
        sorted_.look(before < after, f"{after} came after {before}")
    return [skipped, doubled, sorted_], adding.added


def _first(manager: Caller) -> WorkOrder:
    block = made.BlockFactory(farm=manager.farm)
    crew = made.CrewFactory(farm=manager.farm)
    starts_at = timezone.now().isoformat()
    body = {"kind": "scouting", "block": str(block.id), "crew": str(crew.id), "starts_at": starts_at}
    return WorkOrder.objects.get(id=manager.post("work-orders", body).json()["id"])


def _copies(first: WorkOrder, count: int, chance: random.Random) -> list[WorkOrder]:
    """Put in copies of an order that are issued, at any time of a year."""
    columns = {field.attname: getattr(first, field.attname) for field in WorkOrder._meta.concrete_fields}
    last = WorkOrder.objects.filter(farm=first.farm).order_by("-number").values_list("number", flat=True)[0]
    copies = []
    for number in range(last + 1, last + 1 + count):
        id = new_id()
        at = first.starts_at + dt.timedelta(minutes=chance.randrange(A_YEAR_MIN))
        own = {"key": id, "id": id, "number": number, "status": "issued", "starts_at": at, "ends_at": None}
        copies.append(WorkOrder(**{**columns, **own}))
    return WorkOrder.objects.bulk_create(copies, batch_size=500)


class _Adding(threading.Thread):
    def __init__(self, first: WorkOrder, a_second: int, chance: random.Random) -> None:
        super().__init__()
        self.first, self.pause, self.chance = first, BATCH / a_second, chance
        self.over, self.added = threading.Event(), 0

    def run(self) -> None:
        began = time.monotonic()
        while not self.over.wait(max(0, began + self.added / BATCH * self.pause - time.monotonic())):
            self.added += len(_copies(self.first, BATCH, self.chance))
        connection.close()


def _followed(manager: Caller, limit: int) -> tuple[Counter[str], list[tuple[dt.datetime, str]]]:
    seen: Counter[str] = Counter()
    order: list[tuple[dt.datetime, str]] = []
    address: str | None = f"schedule?limit={limit}"
    while address:
        page = manager.get(address).json()
        seen.update(one["id"] for one in page["items"])
        order += [(dt.datetime.fromisoformat(one["starts_at"]), one["id"]) for one in page["items"]]
        address = page["next"]
    return seen, order
