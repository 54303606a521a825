"""The newest migrations on a large store while others write: `python -m tests.faults migrate`.

The store of `tests.bench.farms_rows` and as many audit entries are taken back to the tables of the first
release; then the database is prepared as the containers do it, in a process of its own: migrations are much
work for Python, and writers in the same process would wait for that. Meanwhile others write into the tables
that migrations change, by the columns that the release before knew. How long one of them waits at most is
told beside what it waits at most while nothing is changed.
"""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from typing import Any

import psycopg
from django.conf import settings
from django.core.management import call_command
from django.db import connections
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.loader import MigrationLoader
from django.utils import timezone

from tests import database
from tests.bench import farms_rows
from tests.faults.promises import Promise

FIRST_RELEASE = {"farms": "0007", "tasks": "0005"}
"""The last migrations of the tables that a release had when there were no farms yet."""
STALL_MS = 100
QUIET_S = 20
WRITES = {
    "an entry of the audit": """
        INSERT INTO farms_auditentry
            (id, farm_id, at, by_kind, by_name, by_role, action, resource, outcome, codes)
        SELECT gen_random_uuid(), id, now(), 'system', 'test', 'owner', 'update', 'farm', 'done', '[]'
        FROM farms_farm LIMIT 1
    """,
    "a farm": """
        UPDATE farms_farm SET version = version + 1 WHERE id = (SELECT id FROM farms_farm ORDER BY id LIMIT 1)
    """,
    "a work order": """
        UPDATE tasks_workorder SET version = version + 1 WHERE key = (SELECT key FROM tasks_workorder LIMIT 1)
    """,
    "a lot": """
        UPDATE inventory_lot SET version = version + 1 WHERE key = (SELECT key FROM inventory_lot LIMIT 1)
    """,
}
AUDIT = """
    INSERT INTO farms_auditentry
        (id, farm_id, at, by_kind, by_name, by_role, action, resource, outcome, codes)
    SELECT gen_random_uuid(), farm_id, created_at, created_by_kind, created_by_name, 'owner', 'create',
        'stock_movement', 'done', '[]'
    FROM inventory_movement
"""


class Writer(threading.Thread):
    """Somebody who writes one kind of row over and over."""

    def __init__(self, statement: str) -> None:
        super().__init__()
        self.statement, self.over = statement, threading.Event()
        self.longest, self.written = 0.0, 0

    def run(self) -> None:
        address = connections["owner"].get_connection_params()
        with psycopg.connect(**address, autocommit=True) as connection:
            while not self.over.wait(0.01):
                began = time.monotonic()
                connection.execute(self.statement)
                self.longest = max(self.longest, time.monotonic() - began)
                self.written += 1


def main(*, movements: int) -> int:
    """Run, print one line a promise and the waits, and return the exit status."""
    farms = farms_rows.make_farms()
    farms_rows.fill(farms, orders=movements // 5, movements=movements, now=timezone.now())
    with psycopg.connect(**connections["owner"].get_connection_params(), autocommit=True) as owner:
        owner.execute(AUDIT)
        owner.execute("VACUUM (ANALYZE) farms_auditentry")
    for app, first in FIRST_RELEASE.items():
        call_command("migrate", app, first, database="owner", interactive=False, verbosity=0)
    _, quiet = _writing(lambda: time.sleep(QUIET_S))
    took, changing = _writing(_prepared)
    behind = MigrationExecutor(connections["owner"])
    assert not behind.migration_plan(behind.loader.graph.leaf_nodes()), "the tables were not changed"
    promise = Promise(f"no writer waits more than {STALL_MS} ms while tables are changed")
    for what, one in changing.items():
        promise.look(one.longest * 1000 <= STALL_MS, f"{what} waited {one.longest * 1000:.0f} ms")
        print(
            f"{what:<24} {one.written:>6} written, the longest wait {one.longest * 1000:>6.0f} ms; while"
            f" nothing was changed {quiet[what].longest * 1000:.0f} ms"
        )
    made = [
        f"{app}.{name}" for app, name in sorted(MigrationLoader(None).disk_migrations)
        if app in FIRST_RELEASE and name[:4] > FIRST_RELEASE[app]
    ]  # fmt: skip
    print(f"{len(made)} migrations beside {movements} lines and as many audit entries in {took:.1f} s")
    print(promise.line())
    return 1 if promise.violations else 0


def _prepared() -> None:
    command = [sys.executable, "manage.py", "prepare_database"]
    subprocess.run(
        command, cwd=settings.BASE_DIR, env=database.environment(), stdout=subprocess.DEVNULL, check=True
    )


def _writing(do: Any) -> tuple[float, dict[str, Writer]]:
    """Do something while others write; return how long it took [s], and the writers."""
    writers = {what: Writer(statement) for what, statement in WRITES.items()}
    for writer in writers.values():
        writer.start()
    time.sleep(1)
    began = time.monotonic()
    try:
        do()
    finally:
        took = time.monotonic() - began
        for writer in writers.values():
            writer.over.set()
            writer.join()
    return took, writers
