"""The change feed under writers that commit late: `python -m tests.faults feed`.

Writers hold each transaction open for up to 50 ms after they have written, so that numbers of a sequence and
the order of the commits differ; readers follow over HTTP meanwhile, each with its own pages. Beside them runs
one who follows the plain sequence, as a feed without the guard would: what that one misses shows that the
run could have found a gap.
"""

from __future__ import annotations

import random
import threading
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field

from django.db import connection, transaction
from django.utils import timezone

from orchard.farms import journal
from orchard.farms.actors import SYSTEM
from orchard.farms.models import Change, Farm
from tests import factories as made
from tests.callers import Caller
from tests.faults.promises import Promise

LONGEST_DELAY_MS = 50
PATIENCE_S = 60
"""So long a reader waits for the last changes: what runs elsewhere on the server holds the feed back."""
BLOCKS_EACH = 5
Step = tuple[str, str]
"""What the feed tells of a thing: `created`, `updated` … and its id, here with the entity tag behind it."""


@dataclass(slots=True)
class Written:
    """What one writer committed, in its order: each with the seconds at which it began and was over."""

    steps: list[tuple[Step, float, float]] = field(default_factory=list)


def main(*, changes: int, writers: int, readers: int, seed: int) -> int:
    """Run, print one line a promise, and return the exit status."""
    began = time.monotonic()
    promises, missed = kept(changes=changes, writers=writers, readers=readers, seed=seed)
    print("\n".join(promise.line() for promise in promises))
    print(f"a reader of the plain sequence misses {missed} of {changes}")
    print(f"{writers} writers, {readers} readers, seed {seed}, {time.monotonic() - began:.0f} s")
    return 1 if any(promise.violations for promise in promises) else 0


def kept(*, changes: int, writers: int, readers: int, seed: int) -> tuple[list[Promise], int]:
    """Write, read at the same time, and return the promises and how many a plain sequence would miss."""
    farm = made.FarmFactory()
    callers = [Caller(farm, "manager") for _ in range(readers)]
    written = [Written() for _ in range(writers)]
    writing, fed, plain = threading.Event(), [list[Step]() for _ in callers], set[int]()
    before = Change.objects.for_farm(farm).count()
    wanted = before + changes
    chance = random.Random(seed)
    share = [changes // writers + (at < changes % writers) for at in range(writers)]
    write = [
        _writer(farm, one, count=count, chance=random.Random(chance.random()))
        for one, count in zip(written, share, strict=True)
    ]
    read = [
        _reader(caller, seen, wanted=wanted, limit=limit)
        for caller, seen, limit in zip(callers, fed, _limits(readers), strict=True)
    ]
    follow = [*read, _plain_reader(farm, plain, until=writing)]
    following, at_work = _started(follow), _started(write)
    for thread in at_work:
        thread.join()
    writing.set()
    for thread in following:
        thread.join()
    missed = set(Change.objects.for_farm(farm).values_list("seq", flat=True)) - plain
    return _promises(farm, written, fed, before=before), len(missed)


def _limits(readers: int) -> list[int]:
    return [(500, 100, 7)[at % 3] for at in range(readers)]


def _started(works: list[Callable[[], None]]) -> list[threading.Thread]:
    def closing(work: Callable[[], None]) -> Callable[[], None]:
        def run() -> None:
            try:
                work()
            finally:
                connection.close()

        return run

    threads = [threading.Thread(target=closing(work)) for work in works]
    for thread in threads:
        thread.start()
    return threads


def _writer(farm: Farm, told: Written, *, count: int, chance: random.Random) -> Callable[[], None]:
    """Plant blocks, rename them and grub them up again, one transaction each."""

    def write() -> None:
        blocks = []
        for number in range(count):
            began = time.monotonic()
            with transaction.atomic():
                if len(blocks) < BLOCKS_EACH:
                    block = made.BlockFactory.build(farm=farm)
                    block.save(force_insert=True)
                    journal.created(block, by=SYSTEM, now=timezone.now())
                    blocks.append(block)
                    change = "created"
                elif chance.random() < 0.2:
                    block = blocks.pop(chance.randrange(len(blocks)))
                    kept_key = block.pk
                    journal.delete(block, by=SYSTEM, now=timezone.now())
                    block.pk = kept_key
                    change = "deleted"
                else:
                    block = chance.choice(blocks)
                    journal.change(block, by=SYSTEM, now=timezone.now(), name=f"row {number}")
                    change = "updated"
                time.sleep(chance.uniform(0, LONGEST_DELAY_MS) / 1000)
            step = (change, f"{block.id} {block.etag}")
            told.steps.append((step, began, time.monotonic()))

    return write


def _reader(caller: Caller, seen: list[Step], *, wanted: int, limit: int) -> Callable[[], None]:
    """Follow the feed over HTTP, keeping nothing but the cursor."""

    def read() -> None:
        cursor, heard = "", time.monotonic()
        while len(seen) < wanted and time.monotonic() - heard < PATIENCE_S:
            after = f"&after={cursor}" if cursor else ""
            page = caller.get(f"changes?limit={limit}&wait=1{after}").json()
            seen.extend((one["change"], f"{one['id']} {one['etag']}") for one in page["items"])
            if page["items"]:
                cursor, heard = page["cursor"], time.monotonic()
        rest = caller.get(f"changes?limit=500&after={cursor}").json()
        seen.extend((one["change"], f"{one['id']} {one['etag']}") for one in rest["items"])

    return read


def _plain_reader(farm: Farm, seen: set[int], *, until: threading.Event) -> Callable[[], None]:
    """Follow the sequence alone: the feed as it must not be."""

    def read() -> None:
        last = 0
        while True:
            over = until.is_set()
            found = Change.objects.for_farm(farm).filter(seq__gt=last).order_by("seq")
            numbers = list(found.values_list("seq", flat=True))
            seen.update(numbers)
            last = max(numbers, default=last)
            if over:
                return
            time.sleep(0.01)

    return read


def _promises(farm: Farm, written: list[Written], fed: list[list[Step]], *, before: int) -> list[Promise]:
    missed = Promise("the feed misses no change")
    repeated = Promise("the feed repeats no change")
    order = Promise("what was over before another began is told before it")
    same = Promise("all readers are told the same, in the same order")
    gone = Promise("what is deleted is told as deleted, and nothing of it after")
    happened = {step: (began, over) for one in written for step, began, over in one.steps}
    deleted = {step[1].split()[0] for step in happened if step[0] == "deleted"}
    for seen in fed:
        told = Counter(seen)
        for step in happened:
            missed.look(step in told, f"{step} was not told")
        for step, times in told.items():
            repeated.look(times == 1, f"{step} was told {times} times")
        missed.look(len(seen) == before + len(happened), f"{len(seen)} of {before + len(happened)} told")
        _look_at_order(order, seen, happened)
        _look_at_deleted(gone, seen, deleted)
        same.look(seen == fed[0], "one reader was told otherwise than the first")
    return [missed, repeated, order, same, gone]


def _look_at_order(order: Promise, seen: list[Step], happened: dict[Step, tuple[float, float]]) -> None:
    latest = 0.0
    for step in (one for one in seen if one in happened):
        began, over = happened[step]
        order.look(over >= latest, f"{step} came after one that began when it was over")
        latest = max(latest, began)


def _look_at_deleted(gone: Promise, seen: list[Step], deleted: set[str]) -> None:
    last = {what.split()[0]: change for change, what in seen}
    for id in deleted:
        gone.look(last.get(id) == "deleted", f"the last word of {id} was {last.get(id, 'none')}")
