"""A backup of a large store, made while others write, and put back into a database of its own:
`python -m tests.faults backup`.

The farms are those of `tests.bench.farms_rows`. What was put back is backed up once more: two files with the
same rows and checksums of every table tell that nothing was lost on the way.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import threading
import time
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from django.db import connection, connections
from django.utils import timezone

from orchard.config import backup, preparation
from tests import database
from tests.bench import farms_rows
from tests.callers import Caller
from tests.faults.promises import Promise

CHECKOUT = Path(__file__).resolve().parents[2]
BACKUP_S, RESTORE_S = 30, 60
"""What is promised for a million lines of the ledger."""


class Writer(threading.Thread):
    """Somebody who goes on receiving product while the backup is made."""

    def __init__(self, filled: farms_rows.Filled) -> None:
        super().__init__()
        self.caller = Caller(filled.farm, "storekeeper")
        self.body = {
            "kind": "receive",
            "lot": str(filled.books[0].lot.id),
            "quantity": {"value": "1", "unit": "lb"},
            "reason": "a delivery",
        }
        self.over = threading.Event()
        self.statuses: list[int] = []
        self.longest = 0.0

    def run(self) -> None:
        while not self.over.is_set():
            began = time.monotonic()
            self.statuses.append(self.caller.post("stock-movements", self.body).status_code)
            self.longest = max(self.longest, time.monotonic() - began)
            time.sleep(0.02)
        connection.close()


def main(*, movements: int) -> int:
    """Run, print one line a promise and the times, and return the exit status."""
    farms = farms_rows.make_farms()
    began = time.monotonic()
    farms_rows.fill(farms, orders=movements // 50, movements=movements, now=timezone.now())
    print(f"filled {movements} lines of the ledger in {time.monotonic() - began:.0f} s", flush=True)
    with tempfile.TemporaryDirectory(prefix="orchard-backup-") as folder:
        promises = list(_drill(Path(folder), farms[0]))
    print("\n".join(promise.line() for promise in promises))
    return 1 if any(promise.violations for promise in promises) else 0


def _drill(folder: Path, filled: farms_rows.Filled) -> list[Promise]:
    equal = Promise("every table is put back with every row as it was")
    writes = Promise("who writes meanwhile is never refused")
    quick = Promise(f"a backup takes {BACKUP_S} s, putting it back {RESTORE_S} s, at most")
    first, again = folder / "first", folder / "again"
    writer = Writer(filled)
    writer.start()
    try:
        took = _run(database.environment(), "backup", "--to", str(first))
    finally:
        writer.over.set()
        writer.join()
    for status in writer.statuses:
        writes.look(status == 201, f"a receipt was answered with {status}")
    quick.look(took <= BACKUP_S, f"the backup took {took:.1f} s")
    with _elsewhere() as environment:
        put_back = _run(environment, "restore", "--from", str(first))
        quick.look(put_back <= RESTORE_S, f"putting it back took {put_back:.1f} s")
        _run(environment, "backup", "--to", str(again))
    before, after = _tables(first), _tables(again)
    for name, told in before.items():
        equal.look(after.get(name) == told, f"{name}: {told} became {after.get(name)}")
    rows = sum(told[0] for told in before.values())
    print(
        f"{rows} rows in {first.stat().st_size / 1e6:.0f} MB; backup {took:.1f} s, restore with the proof of"
        f" every ledger {put_back:.1f} s; {len(writer.statuses)} receipts meanwhile, the longest"
        f" {writer.longest * 1000:.0f} ms"
    )
    return [equal, writes, quick]


@contextmanager
def _elsewhere() -> Iterator[dict[str, str]]:
    """Give the environment of a database that is not there yet, on the same server; drop it at the end."""
    here, owner = database.environment(), connections["owner"]
    name = f"{owner.settings_dict['NAME']}_elsewhere"
    urls = ("DATABASE_URL", "DATABASE_OWNER_URL")
    try:
        yield {**here, **{url: f"{here[url].rpartition('/')[0]}/{name}" for url in urls}}
    finally:
        with preparation.administration(owner) as server:
            # not by force: a vacuum there is not ours to end, and gives way
            server.execute(f'DROP DATABASE IF EXISTS "{name}"')


def _run(environment: dict[str, str], *command: str) -> float:
    """Run a command of ours and return how long it took [s]."""
    began = time.monotonic()
    subprocess.run(
        [sys.executable, "manage.py", *command],
        cwd=CHECKOUT, env=environment, check=True, stdout=subprocess.DEVNULL,
    )  # fmt: skip
    return time.monotonic() - began


def _tables(file: Path) -> dict[str, tuple[int, str]]:
    with zipfile.ZipFile(file) as archive:
        manifest: dict[str, Any] = json.loads(archive.read(backup.MANIFEST))
    return {one["name"]: (one["rows"], one["sha256"]) for one in manifest["tables"]}
