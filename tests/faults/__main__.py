"""`python -m tests.faults [--loads N] [--seed S]` kills real servers; `… model` simulates; `… feed` reads on
while others write.

Each prints one line a promise, and ends with status 1 where one was broken.
"""

from __future__ import annotations

import argparse
import os
import random
import sys
import tempfile
from pathlib import Path

from tests.faults.own_database import own_database


def main() -> int:
    """Run one of the two and return the exit status."""
    parser = argparse.ArgumentParser(prog="python -m tests.faults", description=__doc__)
    parser.add_argument("--loads", type=int, default=300, help="how many loads are told (300)")
    parser.add_argument("--writers", type=int, default=16, help="how many phones tell them at once (16)")
    parser.add_argument("--accidents", type=int, help="how many happen (one in 200 loads, seven at least)")
    parser.add_argument("--seed", type=int, help="of loads and accidents; chosen and printed if absent")
    parts = parser.add_subparsers(dest="part")
    model = parts.add_parser("model", help="the simulation, without servers")
    model.add_argument("--seeds", type=int, default=10_000, help="how many runs (10000)")
    model.add_argument("--steps", type=int, default=200, help="steps of each (200)")
    model.add_argument("--seed", type=int, help="replay this one run and print its steps")
    model.add_argument("--break", dest="broken", metavar="STEP", help="leave a step out: it must be found")
    feed = parts.add_parser("feed", help="the change feed, read while others write")
    feed.add_argument("--changes", type=int, default=10_000, help="how many are written (10000)")
    feed.add_argument("--writers", type=int, default=10, help="how many write at once (10)")
    feed.add_argument("--readers", type=int, default=3, help="how many follow meanwhile (3)")
    feed.add_argument("--seed", type=int, default=1, help="of what is written and how late it commits (1)")
    drill = parts.add_parser("backup", help="a backup of a large store, and putting it back")
    drill.add_argument("--movements", type=int, default=1_000_000, help="lines of the ledger (1000000)")
    moving = parts.add_parser("migrate", help="the newest migrations on a large store, while others write")
    moving.add_argument("--movements", type=int, default=1_000_000, help="lines of the ledger (1000000)")
    crowd = parts.add_parser("crowd", help="one sends fifty times what it may, another asks beside it")
    crowd.add_argument("--seconds", type=int, default=120, help="of each half (120)")
    pages = parts.add_parser("paging", help="a list, read page by page while rows are put in")
    pages.add_argument("--rows", type=int, default=10_000, help="that are there before (10000)")
    pages.add_argument("--a-second", type=int, default=100, help="so many are put in a second (100)")
    pages.add_argument("--limit", type=int, default=100, help="rows a page (100)")
    pages.add_argument("--seed", type=int, default=1)
    said = parser.parse_args()
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "orchard.config.settings")
    if said.part == "model":
        from tests.faults import simulation  # noqa: PLC0415  # needs no folder of servers

        return simulation.main(seeds=said.seeds, steps=said.steps, seed=said.seed, broken=said.broken)
    if said.part == "paging":
        with own_database():
            from tests.faults import paging  # noqa: PLC0415

            return paging.main(rows=said.rows, a_second=said.a_second, limit=said.limit, seed=said.seed)
    if said.part == "backup":
        with own_database():
            from tests.faults import backup_drill  # noqa: PLC0415

            return backup_drill.main(movements=said.movements)
    if said.part == "migrate":
        with own_database():
            from tests.faults import migrating  # noqa: PLC0415

            return migrating.main(movements=said.movements)
    if said.part == "crowd":
        with own_database():
            from tests.faults import crowding  # noqa: PLC0415

            return crowding.main(seconds=said.seconds)
    if said.part == "feed":
        with own_database():
            from tests.faults import feed as reading  # noqa: PLC0415

            asked = {name: getattr(said, name) for name in ("changes", "writers", "readers", "seed")}
            return reading.main(**asked)
    seed = random.SystemRandom().randrange(10**9) if said.seed is None else said.seed
    with tempfile.TemporaryDirectory(prefix="orchard-faults-", ignore_cleanup_errors=True) as folder:
        for name in ("DATABASE_URL", "DATABASE_OWNER_URL", "REDIS_URL"):
            os.environ.pop(name, None)
        os.environ["ORCHARD_FOLDER"] = folder  # before the settings are read
        from tests.faults import run  # noqa: PLC0415

        asked = {name: getattr(said, name) for name in ("loads", "writers", "accidents")}
        return run.main(folder=Path(folder), seed=seed, **asked)


if __name__ == "__main__":
    sys.exit(main())
