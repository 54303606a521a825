"""Ask for every operation of the OpenAPI document with made-up requests; hold each answer to the document.

Requests go to the application in this process, of a farm with a thing of every kind, and what each did is
rolled back. The seed is fixed, so that a finding comes back; `--examples` and `--seed` ask for more and for
others, `--only PATTERN` for the operations whose method and path it matches.
"""

from __future__ import annotations

import argparse
import logging
import multiprocessing
import os
import re
import time
from collections import Counter
from typing import Any

CHECKS: dict[str, Any] = {
    # No schema says what a rule of the trade refuses (422), nor which version there is (412, 428).
    "positive_data_acceptance": {
        "expected-statuses": ["2xx", "3xx", "401", "403", "404", "409", "412", "422", "428", "429"]
    },
    "negative_data_rejection": {
        "expected-statuses": ["400", "401", "403", "404", "405", "409", "412", "413", "415", "422", "428"]
    },
    "missing_required_header": {"expected-statuses": ["401", "403", "404", "428"]},
}
LEAST_THAT_SUCCEED = 0.9
"""The share of operations of which at least one request has to be done as asked."""
Found = tuple[str, Counter[int], list[str], float]


def main() -> int:
    """Return 0 where every answer is as the document says."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("--examples", type=int, default=50, help="an operation, besides those at the edges")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--processes", type=int, default=min(2, os.cpu_count() or 1))
    parser.add_argument("--only", default="", metavar="PATTERN")
    asked = parser.parse_args()
    began = time.monotonic()
    context = multiprocessing.get_context("spawn")
    with context.Pool(asked.processes, initializer=_settle) as pool:
        labels = [label for label in pool.apply(_labels) if re.search(asked.only, label)]
        tasks = [(label, asked.examples, asked.seed) for label in labels]
        found = [_shown(one) for one in pool.imap_unordered(_ask, tasks)]
        pool.close()
        pool.join()
    return _summary(found, time.monotonic() - began, whole=not asked.only)


def _shown(found: Found) -> Found:
    label, statuses, wrong, seconds = found
    told = ", ".join(f"{status}: {count}" for status, count in sorted(statuses.items()))
    print(f"{'WRONG' if wrong else 'fine '} {label}  {told}  {seconds:.1f} s", flush=True)
    for one in wrong:
        print("   ", one.replace("\n", "\n    "), flush=True)
    return found


def _summary(found: list[Found], seconds: float, *, whole: bool) -> int:
    wrong = sum(len(one[2]) for one in found)
    asked = sum(sum(one[1].values()) for one in found)
    done = sum(any(status < 300 for status in one[1]) for one in found)
    print(
        f"{len(found)} operations, {asked} requests, {done} operations done at least once, "
        f"{wrong} findings, {seconds:.0f} s"
    )
    if whole and done < LEAST_THAT_SUCCEED * len(found):
        print(f"too few were done as asked: {LEAST_THAT_SUCCEED:.0%} of the operations are to be")
        return 1
    return 1 if wrong else 0


# in each process

_here: dict[str, Any] = {}


def _settle() -> None:
    """Plant a farm in a database of this process alone; the database ends with the next run's leftovers."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "orchard.config.settings")
    os.environ["RATE_LIMIT_PER_MINUTE"] = "0"
    import django  # noqa: PLC0415  (settings are read from the environment above)

    django.setup()
    logging.disable(logging.CRITICAL)
    from multiprocessing import util  # noqa: PLC0415

    import pytest  # noqa: PLC0415
    from django.test.client import ClientHandler  # noqa: PLC0415

    from tests import database  # noqa: PLC0415
    from tests.fuzz import asking, farm  # noqa: PLC0415

    database.use_throw_away_server()
    ClientHandler.__call__ = database.with_no_farm_open(ClientHandler.__call__)
    name = database.make()
    util.Finalize(None, database.drop, args=(name,), exitpriority=1)
    _here["asker"] = asking.Asker(farm.planted(pytest.MonkeyPatch()), checks=CHECKS)


def _labels() -> list[str]:
    return list(_here["asker"].operations)


def _ask(task: tuple[str, int, int]) -> Found:
    label, examples, seed = task
    began = time.monotonic()
    statuses, wrong = _here["asker"].ask(label, examples=examples, seed=seed)
    return label, statuses, wrong, time.monotonic() - began
