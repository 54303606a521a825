"""Make the database ready: made if missing, tables up to date, and to the web role no more than it needs."""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import Any

import psycopg
from django.apps import apps
from django.core.management import call_command
from django.db import OperationalError, ProgrammingError, connections
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.migrations.executor import MigrationExecutor
from psycopg import errors, sql

from orchard.config.postgres.roles import WEB_ROLE
from orchard.farms import fence

LOCK = 5_170_311  # any number, the same in every process that prepares this database
LOCK_MS = 2_000
"""So long a change of a table waits for those who use it, and others for the change."""
LONGEST_S = 120
ROWS = frozenset({"SELECT", "INSERT", "UPDATE", "DELETE"})
APPEND = frozenset({"SELECT", "INSERT"})
READ = frozenset({"SELECT"})


class CannotPrepare(Exception):
    """The database cannot be made ready; the text is a sentence for the person at the terminal."""


def prepare(*, verbosity: int = 0) -> bool:
    """Bring the database up to date and return whether tables had to change. Safe twice and side by side."""
    owner = connections["owner"]
    ensure_database(owner)
    with _alone(owner):
        _ensure_web_role(owner)
        behind = _is_behind(owner)
        if behind:
            in_short_waits(
                owner,
                lambda: call_command("migrate", database="owner", interactive=False, verbosity=verbosity),
            )
        grant_rows()
        in_short_waits(owner, lambda: fence.fence(owner))
    return behind


def in_short_waits(owner: BaseDatabaseWrapper, change: Callable[[], object]) -> None:
    """Change tables that others use, waiting for them in short pieces only.

    A change that waits for a table keeps all waiting who come after it. So it gives up after `LOCK_MS`, lets
    them pass, and is tried again; what was changed before is not done again, since each migration is kept.

    :raises CannotPrepare: where somebody holds a table for too long
    """
    with owner.cursor() as cursor:
        cursor.execute(f"SET lock_timeout = {LOCK_MS}")
    end = time.monotonic() + LONGEST_S
    try:
        while True:
            try:
                change()
                return
            except OperationalError as failure:
                if not isinstance(failure.__cause__, errors.LockNotAvailable):
                    raise
                if time.monotonic() > end:
                    raise CannotPrepare(
                        f"A table has been in use for {LONGEST_S} s, so that it could not be changed: end the"
                        " long transaction (pg_stat_activity shows it) and start again."
                    ) from failure
            time.sleep(LOCK_MS / 1000)
    finally:
        with owner.cursor() as cursor:
            cursor.execute("RESET lock_timeout")


def grant_rows() -> None:
    """Give the web role the rows of every table; where a model says `append_only`, to read and add alone."""
    owner = connections["owner"]
    wanted = _wanted_rights()
    with owner.cursor() as cursor:
        for table, has in _rights_by_table(cursor).items():
            wants = wanted.get(table, ROWS)
            for verb, rights, word in (("GRANT", wants - has, "TO"), ("REVOKE", has - wants, "FROM")):
                if rights:
                    names = ", ".join(sorted(rights))
                    cursor.execute(f"{verb} {names} ON {owner.ops.quote_name(table)} {word} {WEB_ROLE}")
        cursor.execute(f"GRANT USAGE, SELECT ON ALL SEQUENCES IN SCHEMA public TO {WEB_ROLE}")


def create_database(owner: BaseDatabaseWrapper, *, name: str, template: str | None = None) -> None:
    """Make a database of the owner's; one that another process makes meanwhile will do."""
    statement = sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name))
    if template:
        statement += sql.SQL(" TEMPLATE {}").format(sql.Identifier(template))
    with administration(owner) as connection, suppress(errors.DuplicateDatabase, errors.UniqueViolation):
        connection.execute(statement)


def database_exists(owner: BaseDatabaseWrapper, *, name: str) -> bool:
    with administration(owner) as connection:
        return bool(connection.execute("SELECT 1 FROM pg_database WHERE datname = %s", [name]).fetchone())


def administration(owner: BaseDatabaseWrapper) -> "psycopg.Connection[Any]":
    """Return a connection of the owner's to the server's own database, from where others are made."""
    address = owner.get_connection_params() | {"dbname": "postgres"}
    return psycopg.connect(**address, autocommit=True)


def ensure_database(owner: BaseDatabaseWrapper) -> None:
    """Make the owner's database where it is missing; its tables come after."""
    try:
        owner.ensure_connection()
    except OperationalError as failure:
        name = str(owner.settings_dict["NAME"])
        try:
            exists = database_exists(owner, name=name)
        except psycopg.OperationalError:
            raise failure from failure.__cause__
        if exists:
            raise
        create_database(owner, name=name)


@contextmanager
def _alone(owner: BaseDatabaseWrapper) -> Iterator[None]:
    """Let one process prepare at a time.

    We ask again and again instead of waiting in the server: a statement that waits holds a snapshot, and an
    index that is built concurrently would wait for that in turn.
    """
    with owner.cursor() as cursor:
        while not _value(cursor, "SELECT pg_try_advisory_lock(%s)", [LOCK]):
            time.sleep(0.05)
        try:
            yield
        finally:
            cursor.execute("SELECT pg_advisory_unlock(%s)", [LOCK])


def _ensure_web_role(owner: BaseDatabaseWrapper) -> None:
    user = str(connections["default"].settings_dict["USER"])
    with owner.cursor() as cursor:
        try:
            if not _value(cursor, "SELECT count(*) FROM pg_roles WHERE rolname = %s", [WEB_ROLE]):
                cursor.execute(f"CREATE ROLE {WEB_ROLE} NOLOGIN NOSUPERUSER NOBYPASSRLS")
            if not _value(cursor, "SELECT pg_has_role(%s, %s, 'MEMBER')", [user, WEB_ROLE]):
                cursor.execute(f"GRANT {WEB_ROLE} TO {owner.ops.quote_name(user)}")
        except ProgrammingError as failure:
            raise CannotPrepare(
                f"The owner of the tables may not set up the role {WEB_ROLE} ({_first_line(failure)}): let an"
                f" administrator run `CREATE ROLE {WEB_ROLE}; GRANT {WEB_ROLE} TO {user}`."
            ) from failure
        if user != owner.settings_dict["USER"] and _value(
            cursor, "SELECT rolsuper OR rolbypassrls FROM pg_roles WHERE rolname = %s", [user]
        ):
            raise CannotPrepare(
                f"The role {user} of DATABASE_URL is above row-level security: name one that is neither"
                " SUPERUSER nor BYPASSRLS."
            )


def _is_behind(owner: BaseDatabaseWrapper) -> bool:
    executor = MigrationExecutor(owner)
    return bool(executor.migration_plan(executor.loader.graph.leaf_nodes()))


def _wanted_rights() -> dict[str, frozenset[str]]:
    models = apps.get_models(include_auto_created=True)
    append_only = {model._meta.db_table: APPEND for model in models if getattr(model, "append_only", False)}
    return append_only | {"django_migrations": READ}


def _rights_by_table(cursor: Any) -> dict[str, frozenset[str]]:
    cursor.execute(
        """
        SELECT relation.relname, "right"
        FROM pg_class AS relation
        JOIN pg_namespace AS schema ON schema.oid = relation.relnamespace AND schema.nspname = 'public'
        LEFT JOIN unnest(ARRAY['SELECT', 'INSERT', 'UPDATE', 'DELETE', 'TRUNCATE']) AS "right"
            ON has_table_privilege(%s, relation.oid, "right")
        WHERE relation.relkind IN ('r', 'p')
        ORDER BY relation.relname
        """,
        [WEB_ROLE],
    )
    found: dict[str, set[str]] = {}
    for table, right in cursor.fetchall():
        found.setdefault(table, set()).update({right} - {None})
    return {table: frozenset(rights) for table, rights in found.items()}


def _first_line(failure: Exception) -> str:
    return str(failure).strip().splitlines()[0]


def _value(cursor: Any, statement: str, parameters: list[Any]) -> Any:
    cursor.execute(statement, parameters)
    return cursor.fetchone()[0]
