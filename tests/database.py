"""A database for each test process, copied from one that was prepared once for this state of the migrations.

The tests speak to it as the web role, as requests do. With DATABASE_URL set that server is used, not ours.
"""

import functools
import hashlib
import importlib.util
import os
import re
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import quote

import django
import psycopg
from django.apps import apps
from django.conf import settings
from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper
from psycopg import sql
from psycopg.pq import TransactionStatus

from orchard.config import preparation
from orchard.farms import fence

LOCK = 5_170_312  # any number, the same in every test process
KEPT = {"django_migrations", "django_content_type", "auth_permission"}  # rows that migrations made
NOT_BEGUN = "pg_snapshot_xmax(pg_current_snapshot())::text::bigint"
STILL_OPEN = "pg_snapshot_xmin(pg_current_snapshot())::text::bigint"
LONGEST_TEST = 120  # seconds that a test beside this one may keep a transaction open
SETTLED = 10_000  # milliseconds a leftover connection has to let go of its rows


def use_throw_away_server() -> None:
    """Let the settings speak of the tests' own server, which starts at the first connection."""
    for address in settings.DATABASES.values():
        if "EMBEDDED" in address:
            folder = settings.STATE_DIR / "postgres-test"
            address["EMBEDDED"] = {"base": folder, "durable": False}


def make() -> str:
    """Make this process's database, let all connections use it, and return its name."""
    owner = connections["owner"]
    template_ = template()
    name = f"test_{os.getpid()}_{os.environ.get('PYTEST_XDIST_WORKER', 'alone')}"
    with preparation.administration(owner) as server:
        server.execute("SELECT pg_advisory_lock(%s)", [LOCK])
        _drop_leftovers(server, but=template_)
        if not preparation.database_exists(owner, name=template_):
            _make_template(server, template_)
        preparation.create_database(owner, name=name, template=template_)
    _use(name)
    return name


def template() -> str:
    """Return the name of the database that others are copied from: prepared, and without a farm."""
    return f"template_{_state_of_tables()}"


def drop(name: str) -> None:
    for connection in connections.all():
        connection.close()
    with preparation.administration(connections["owner"]) as server:
        _drop(server, name)


def empty_tables() -> None:
    """Delete every row but those that migrations made, as the owner, since the web role may not."""
    with psycopg.connect(**connections["owner"].get_connection_params()) as connection:
        found = connection.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public'").fetchall()
        tables = {table for (table,) in found} - KEPT
        connection.execute(f"SET lock_timeout = {SETTLED}")
        names = sql.SQL(", ").join(sql.Identifier(table) for table in sorted(tables))
        connection.execute(sql.SQL("TRUNCATE {} RESTART IDENTITY").format(names))


def until_all_is_final() -> None:
    """Wait until the change feed shows all that is committed by now, in whichever database of the server.

    PostgreSQL counts transactions a server: a test that runs beside this one, in a database of its own, keeps
    a transaction open from its beginning to its end, and until then the feed of no database goes beyond it.
    """
    connections["default"].ensure_connection()
    session = connections["default"].connection
    begun, end = session.execute(f"SELECT {NOT_BEGUN}").fetchone()[0], time.monotonic() + LONGEST_TEST
    while session.execute(f"SELECT {STILL_OPEN}").fetchone()[0] < begun:
        if time.monotonic() > end:
            raise TimeoutError(f"a transaction on this server is open for more than {LONGEST_TEST} s")
        time.sleep(0.05)


def with_no_farm_open(answer: Callable[..., Any]) -> Callable[..., Any]:
    """Return `answer` so that it runs with no farm open, and the tests see every farm again after it."""

    @functools.wraps(answer)
    def fenced(*args: Any, **kwargs: Any) -> Any:
        _open("")
        try:
            return answer(*args, **kwargs)
        finally:
            _open(fence.EVERY_FARM)

    return fenced


def _open(farm: str) -> None:
    session = connections["default"].connection  # beneath Django, whose queries tests count
    if session is not None and session.info.transaction_status != TransactionStatus.INERROR:
        session.execute("SELECT set_config(%s, %s, false)", [fence.SETTING, farm])


def environment() -> dict[str, str]:
    """Return what a process of its own needs to use this database: our environment and its two addresses."""
    urls = {"DATABASE_URL": _url(connections["default"]), "DATABASE_OWNER_URL": _url(connections["owner"])}
    return {**os.environ, **urls}


def _url(connection: BaseDatabaseWrapper) -> str:
    connection.get_connection_params()  # our own server tells its port and password when it is asked
    address: dict[str, Any] = connection.settings_dict
    user, password = quote(str(address["USER"]), safe=""), quote(str(address["PASSWORD"] or ""), safe="")
    return f"postgres://{user}:{password}@{address['HOST']}:{address['PORT'] or 5432}/{address['NAME']}"


def _make_template(server: "psycopg.Connection[Any]", template: str) -> None:
    """Prepare under another name and rename: what has the template's name is whole."""
    owner, unfinished = connections["owner"], f"{template}_new"
    _drop(server, unfinished)
    preparation.create_database(owner, name=unfinished)
    _use(unfinished)
    preparation.prepare()
    for connection in connections.all():
        connection.close()
    statement = sql.SQL("ALTER DATABASE {} RENAME TO {}")
    server.execute(statement.format(sql.Identifier(unfinished), sql.Identifier(template)))


def _use(name: str) -> None:
    for connection in connections.all():
        connection.close()
        connection.settings_dict["NAME"] = name


def _drop_leftovers(server: "psycopg.Connection[Any]", *, but: str) -> None:
    """Drop the databases of processes that were killed, and older templates; on our own server only."""
    if "EMBEDDED" not in connections["owner"].settings_dict:
        return
    for (name,) in server.execute("SELECT datname FROM pg_database").fetchall():
        process = re.match(r"test_(\d+)_", name)
        ended = process and not Path(f"/proc/{process[1]}").exists()
        if ended or (name.startswith("template_") and name != but):
            _drop(server, name)


def _drop(server: "psycopg.Connection[Any]", name: str) -> None:
    gone = sql.SQL("DROP DATABASE IF EXISTS {}").format(sql.Identifier(name))
    try:
        server.execute(sql.SQL("{} WITH (FORCE)").format(gone))
    except psycopg.errors.InsufficientPrivilege:
        server.execute(gone)  # a vacuum of the server's own is at work: only without force does it give way


def _state_of_tables() -> str:
    """Return a short hash of all that shapes a prepared database."""
    owner = connections["owner"].settings_dict["USER"]
    state = hashlib.sha256(f"{owner} {django.get_version()} {sys.version_info[:2]}".encode())
    for path in sorted(_shaping_files()):
        state.update(path.read_bytes())
    return state.hexdigest()[:16]


def _shaping_files() -> Iterator[Path]:
    folders = [
        Path(app.path) for app in apps.get_app_configs() if settings.BASE_DIR in Path(app.path).parents
    ]
    migrations = [path for folder in folders for path in folder.glob("migrations/*.py")]
    models = [path for folder in folders for path in [*folder.glob("models.py"), *folder.glob("models/*.py")]]
    yield from {
        *migrations,
        *models,
        *map(Path, [preparation.__file__, fence.__file__, __file__]),
        *_imported_by(migrations),
    }


def _imported_by(migrations: list[Path]) -> Iterator[Path]:
    for path in migrations:
        for package, module in re.findall(
            r"^from (orchard[\w.]*) import (\w+)", path.read_text(), re.MULTILINE
        ):
            found = importlib.util.find_spec(f"{package}.{module}")
            if found and found.origin:
                yield Path(found.origin)
