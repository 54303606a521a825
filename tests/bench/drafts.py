"""A thousand drafts with their loads and journals, beside a bare COPY of the same rows.

The floor is COPY into tables of the same columns, keys and indexes, with no foreign keys and no policies, of
values that are ready to be sent: what nobody can do without. Ours makes the rows, their titles and numbers,
checks them, writes them down in the audit and the change feed, and has their foreign keys looked up. Both
are rolled back each time.
"""

from __future__ import annotations

import dataclasses
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from statistics import median
from typing import Any

from tests.bench.measure import Result

DRAFTS, BLOCKS = 1000, 7
MOST_RATIO = 3.0


def results() -> list[Result]:
    """Return the row, measured by a process of its own on a server of its own."""
    with tempfile.TemporaryDirectory(prefix="orchard-bench-", ignore_cleanup_errors=True) as folder:
        environment = {k: v for k, v in os.environ.items() if not k.startswith(("DATABASE_", "REDIS_"))}
        environment |= {"ORCHARD_FOLDER": folder, "DJANGO_SETTINGS_MODULE": "orchard.config.settings"}
        told = subprocess.run(
            [sys.executable, "-m", "tests.bench.drafts"], env=environment, stdout=subprocess.PIPE, check=True
        )
    row = json.loads(told.stdout)
    return [Result(**{**row, "ratios": tuple(row["ratios"])})]


def measured() -> Result:
    """Measure both in turns, in this process."""
    from tests.bench import drafts_work  # noqa: PLC0415  # after the settings are read

    ours, floor = drafts_work.prepare(DRAFTS)
    ours(), floor()
    pairs = [(_seconds(floor), _seconds(ours)) for _ in range(BLOCKS)]
    ratios = [mine / bare for bare, mine in pairs]
    times = [mine for _, mine in pairs]
    return Result(
        work="drafts with loads, audit and changes, beside COPY of the same rows",
        size=f"{DRAFTS} work orders",
        floor_ms=median(bare for bare, _ in pairs) * 1000,
        ours_ms=median(times) * 1000,
        ratios=(min(ratios), max(ratios)),
        spread=max(times) / median(times),
        goal=f"<= {MOST_RATIO:g} x",
        met=median(ratios) <= MOST_RATIO,
    )


def _seconds(work: Callable[[], Any]) -> float:
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


if __name__ == "__main__":
    import django

    django.setup()
    found = measured()
    json.dump({field.name: getattr(found, field.name) for field in dataclasses.fields(found)}, sys.stdout)
