"""Posting and reserving by our services, beside a row lock, an insert and an update written by hand.

Ours is the whole of what a request leaves: the kept answer of its Idempotency-Key, the line of the ledger in
its chain, the audit entry, the changes, and an event in the outbox. The floor is as bare as it can be: tables
of three and four columns with one check, prepared statements, no reasons. Both run on a PostgreSQL of their
own that keeps what it commits, by the same writers, in turns.
"""

from __future__ import annotations

import dataclasses
import json
import multiprocessing
import os
import queue
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from multiprocessing.connection import Connection
from typing import Any

from tests.bench.measure import BLOCKS, Result

WRITERS = (1, 8, 32)
SECONDS = 0.8
"""How long one block lets all writers write."""
MOST_RATIO = 3.0
"""A third of the raw throughput."""
LEAST_HOT = 0.6
"""So much of the throughput of many lots one lot must bear."""
PLENTY = 10**12


def results() -> list[Result]:
    """Return the rows of the ledger family, measured by a process of its own on a server of its own."""
    with tempfile.TemporaryDirectory(prefix="orchard-bench-", ignore_cleanup_errors=True) as folder:
        environment = {k: v for k, v in os.environ.items() if not k.startswith(("DATABASE_", "REDIS_"))}
        environment |= {"ORCHARD_FOLDER": folder, "DJANGO_SETTINGS_MODULE": "orchard.config.settings"}
        told = subprocess.run(
            [sys.executable, "-m", "tests.bench.ledger"], env=environment, stdout=subprocess.PIPE, check=True
        )
    return [
        Result(**{**row, "ratios": row["ratios"] and tuple(row["ratios"])}) for row in json.loads(told.stdout)
    ]


@dataclasses.dataclass(frozen=True, slots=True)
class Ran:
    """One block: how many were done in how long [s], how long each took [ms], and how many were refused."""

    done: int
    seconds: float
    times: tuple[float, ...]
    errors: int

    @property
    def ms(self) -> float:
        """Wall time for each [ms], all writers together."""
        return self.seconds / max(self.done, 1) * 1000


def measured() -> list[Result]:
    """Measure everything, in this process and its children."""
    prepare()
    found: list[Result] = []
    for writers in WRITERS:
        team = Team(writers)
        for work in ("post", "reserve"):
            rows = {place: _row(team, work, place, writers) for place in ("spread", "hot")}
            found += [row.result for row in rows.values()]
            if writers > 1:
                found.append(_hot(work, writers, rows["spread"], rows["hot"]))
        team.end()
    found.append(_errors(found))
    return found


ERRORS: list[int] = []


@dataclasses.dataclass(frozen=True, slots=True)
class Row:
    """One row of the table, with the blocks that it is made of."""

    result: Result
    floors: list[Ran]
    ours: list[Ran]


def _row(team: Team, work: str, place: str, writers: int) -> Row:
    team.run(f"floor_{work}", place, SECONDS / 4)
    team.run(f"ours_{work}", place, SECONDS / 4)
    floors, ours = [], []
    for _ in range(BLOCKS):
        floors.append(team.run(f"floor_{work}", place, SECONDS))
        ours.append(team.run(f"ours_{work}", place, SECONDS))
    ratios = [mine.ms / floor.ms for mine, floor in zip(ours, floors, strict=True)]
    times = sorted(time for ran in ours for time in ran.times)
    ERRORS.append(sum(ran.errors for ran in (*ours, *floors)))
    result = Result(
        work=f"{work}, {writers} writer{'s' * (writers > 1)}",
        size="one lot" if place == "hot" else f"{max(WRITERS)} lots",
        floor_ms=_median(floors),
        ours_ms=_median(ours),
        ratios=(min(ratios), max(ratios)),
        spread=statistics.quantiles(times, n=20)[-1] / statistics.median(times),
        queries=team.queries(f"ours_{work}", place),
        goal=f"<= {MOST_RATIO:g} x",
        met=statistics.median(ratios) <= MOST_RATIO,
    )
    return Row(result, floors, ours)


def _median(rans: list[Ran]) -> float:
    return statistics.median(ran.ms for ran in rans)


def _hot(work: str, writers: int, spread: Row, hot: Row) -> Result:
    """Compare one lot with many: the floor of this row is our own time on many lots.

    How much of it the floor loses by itself, whose writers wait for each other no less, stands in the size.
    """
    ratios = [one.ms / other.ms for one, other in zip(hot.ours, spread.ours, strict=True)]
    return Result(
        work=f"{work}, {writers} writers: one lot",
        size=f"beside many (by hand {_median(hot.floors) / _median(spread.floors):.2f} x)",
        floor_ms=_median(spread.ours),
        ours_ms=_median(hot.ours),
        ratios=(min(ratios), max(ratios)),
        spread=1.0,
        goal=f"<= {1 / LEAST_HOT:.2f} x",
        met=_median(spread.ours) / _median(hot.ours) >= LEAST_HOT,
    )


def _errors(found: list[Result]) -> Result:
    """Return the row of what went wrong in all blocks, and of the books afterwards."""
    from orchard.inventory import proof  # noqa: PLC0415  # after the settings are read

    wrong = sum(ERRORS) + deadlocks() + sum(1 for _ in proof.differences())
    return Result(
        work="errors, deadlocks, broken ledgers",
        size="all of the above",
        floor_ms=None,
        ours_ms=float(wrong),
        ratios=None,
        spread=1.0,
        goal="0",
        met=wrong == 0,
    )


# the writers


class Team:
    """So many writers at the same time, each a thread with connections of its own.

    They are spread over as many processes as there are cores, as a server for many farms runs the service.
    """

    def __init__(self, writers: int) -> None:
        from django.db import connections  # noqa: PLC0415

        connections.close_all()  # no child may share ours
        context = multiprocessing.get_context("fork")
        self._ends: list[Connection] = []
        self._processes = []
        cores = len(os.sched_getaffinity(0))
        for numbers in (range(first, writers, cores) for first in range(min(cores, writers))):
            here, there = context.Pipe()
            process = context.Process(target=_process, args=(there, numbers), daemon=True)
            process.start()
            self._ends.append(here)
            self._processes.append(process)

    def run(self, work: str, place: str, seconds: float) -> Ran:
        """Let all do a work for so long."""
        until = time.perf_counter() + seconds + 0.02
        began = time.perf_counter()
        for end in self._ends:
            end.send((work, place, until))
        told = [one for end in self._ends for one in end.recv()]
        ended = max(last for *_, last in told)
        times = tuple(one for times, *_ in told for one in times)
        return Ran(len(times), ended - began, times, sum(errors for _, errors, _ in told))

    def queries(self, work: str, place: str) -> int:
        """Return how many statements one call sends, counted outside the measured blocks."""
        self._ends[0].send((f"count {work}", place, 0.0))
        return int(self._ends[0].recv()[0])

    def end(self) -> None:
        """Let all go."""
        for end in self._ends:
            end.send(None)
        for process in self._processes:
            process.join(10)


def _process(end: Connection, numbers: Sequence[int]) -> None:
    """Let the writers of one process do what is asked, until nothing is."""
    asked = [queue.SimpleQueue[Any]() for _ in numbers]
    answers = [queue.SimpleQueue[Any]() for _ in numbers]
    for writer in zip(numbers, asked, answers, strict=True):
        threading.Thread(target=_write, args=writer, daemon=True).start()
    while (task := end.recv()) is not None:
        counts = task[0].startswith("count ")
        for one in asked[:1] if counts else asked:
            one.put(task)
        end.send([one.get() for one in (answers[:1] if counts else answers)])


def _write(number: int, asked: queue.SimpleQueue[Any], answers: queue.SimpleQueue[Any]) -> None:
    from tests.bench import ledger_work as works  # noqa: PLC0415

    writer = works.Writer(number)
    while True:
        work, place, until = asked.get()
        if work.startswith("count "):
            answers.put(writer.count(work.removeprefix("count "), place))
        else:
            answers.put(_until(writer.work(work, place), until))


def _until(do: Callable[[], object], until: float) -> tuple[list[float], int, float]:
    times, errors = [], 0
    began = time.perf_counter()
    while began < until:
        try:
            do()
        except Exception:
            errors += 1
        ended = time.perf_counter()
        times.append((ended - began) * 1000)
        began = ended
    return times, errors, began


def prepare() -> None:
    """Make the tables and rows that both write to."""
    from tests.bench import ledger_work as works  # noqa: PLC0415

    works.prepare(lots=max(WRITERS))


def deadlocks() -> int:
    """Return how many deadlocks the server has seen."""
    from django.db import connection  # noqa: PLC0415

    with connection.cursor() as cursor:
        cursor.execute("SELECT deadlocks FROM pg_stat_database WHERE datname = current_database()")
        return int(cursor.fetchone()[0])


def _rows() -> Iterator[dict[str, Any]]:
    for result in measured():
        yield {field.name: getattr(result, field.name) for field in dataclasses.fields(result)}


if __name__ == "__main__":
    import django

    django.setup()
    said = list(_rows())
    json.dump(said, sys.stdout)
