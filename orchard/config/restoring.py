"""Putting a backup back: into an empty database alone, whole or not at all, and proven before it is kept.

A backup of an older release is put into the tables of that release, which are then brought up to date; one
of a newer release is refused.
"""

from __future__ import annotations

import hashlib
import json
import zipfile
import zlib
from pathlib import Path
from typing import Any, BinaryIO

import psycopg
from django.db import connections
from django.db.migrations.executor import MigrationExecutor
from psycopg import errors, sql

from orchard.config import backup, bare_tables, preparation
from orchard.config.two_threads import made_ahead
from orchard.farms import audit_chain, numbering
from orchard.inventory import proof

MADE_BY_PREPARING = ("django_content_type", "auth_permission")  # rows that every prepared database has
JUMP = 1 << 40
"""Numbers of transactions left out after a restore: whoever read changes that are lost with the old database
holds a cursor from among them, and the next change must come after it."""


class CannotRestore(Exception):
    """The backup was not put back and nothing was changed; the text is a sentence for a person."""


def restore(*, source: Path) -> dict[str, Any]:
    """Put a backup back and return its manifest.

    :raises CannotRestore: with the reason
    :raises preparation.CannotPrepare: where the database cannot be set up
    """
    try:
        with zipfile.ZipFile(source) as archive:
            manifest = _manifest(archive)
            _shape_tables(manifest)
            with psycopg.connect(**connections["owner"].get_connection_params()) as connection:
                _refuse_what_is_not_empty(connection)
                _fill(connection, archive, manifest)
                _go_on_counting(connection)
                connection.execute("ANALYZE")
    except (zipfile.BadZipFile, EOFError, zlib.error) as failure:
        raise CannotRestore(f"{source} is damaged: {failure}.") from failure
    except errors.Error as failure:
        raise CannotRestore(f"The database refused the rows: {str(failure).splitlines()[0]}.") from failure
    preparation.prepare()
    _prove()
    return manifest


def _manifest(archive: zipfile.ZipFile) -> dict[str, Any]:
    try:
        manifest: dict[str, Any] = json.loads(archive.read(backup.MANIFEST))
        if manifest["format"] != backup.FORMAT:
            raise CannotRestore(f"The backup has the form {manifest['format']}, we read {backup.FORMAT}.")
        manifest["migrations"] = [tuple(one) for one in manifest["migrations"]]
    except (KeyError, ValueError, TypeError) as failure:
        raise CannotRestore("This is no backup of ours: it has no manifest that can be read.") from failure
    return manifest


def _shape_tables(manifest: dict[str, Any]) -> None:
    """Make the tables as they were when the backup was made."""
    owner, then = connections["owner"], set(manifest["migrations"])
    preparation.ensure_database(owner)
    executor = MigrationExecutor(owner)
    ours, now = set(executor.loader.disk_migrations or ()), set(executor.loader.applied_migrations)
    if newer := sorted(then - ours):
        raise CannotRestore(f"The backup is of a newer release: it knows {'.'.join(newer[0])}.")
    if then == ours:
        preparation.prepare()
    elif not now:
        graph = executor.loader.graph
        ends = [one for one in then if not any(child.key in then for child in graph.node_map[one].children)]
        executor.migrate(ends)
    elif now != then:
        raise CannotRestore("The backup is of an older release: name a database that is not there yet.")


def _refuse_what_is_not_empty(connection: psycopg.Connection[Any]) -> None:
    kept = {*MADE_BY_PREPARING, *backup.NOT_ROWS}
    for table in sorted(backup.columns_of_tables(connection).keys() - kept):
        if connection.execute(sql.SQL("SELECT 1 FROM {} LIMIT 1").format(sql.Identifier(table))).fetchone():
            raise CannotRestore(f"The database is not empty: there are rows in {table}. Name an empty one.")


def _fill(connection: psycopg.Connection[Any], archive: zipfile.ZipFile, manifest: dict[str, Any]) -> None:
    there = backup.columns_of_tables(connection)
    for table in manifest["tables"]:
        if sorted(table["columns"]) != sorted(there.get(table["name"], [])):
            raise CannotRestore(f"The backup has other columns of {table['name']} than its migrations make.")
    with bare_tables.stripped(connection, sorted(there.keys() - backup.NOT_ROWS)):
        for table in manifest["tables"]:
            _copy(connection, archive, table)


def _copy(connection: psycopg.Connection[Any], archive: zipfile.ZipFile, table: dict[str, Any]) -> None:
    name, seen = table["name"], hashlib.sha256()
    statement = sql.SQL("COPY {} FROM STDIN WITH (FREEZE)").format(backup.table_with(name, table["columns"]))
    with connection.cursor() as cursor, _opened(archive, name) as file:
        with cursor.copy(statement) as copy:
            for piece in made_ahead(iter(lambda: file.read(backup.PIECE), b"")):
                seen.update(piece)
                copy.write(piece)
        rows = cursor.rowcount
    if (rows, seen.hexdigest()) != (table["rows"], table["sha256"]):
        raise CannotRestore(f"The rows of {name} are not those that were backed up.")


def _opened(archive: zipfile.ZipFile, table: str) -> BinaryIO:
    try:
        return archive.open(backup.member(table))  # type: ignore[return-value]
    except KeyError:
        raise CannotRestore(f"The rows of {table} are missing in the backup.") from None


def _go_on_counting(connection: psycopg.Connection[Any]) -> None:
    """Let sequences go on behind their rows, and transactions behind every number that was ever told."""
    found = connection.execute(
        "SELECT table_name, column_name FROM information_schema.columns"
        " WHERE table_schema = 'public' AND is_identity = 'YES'"
    ).fetchall()
    for table, column in found:
        connection.execute(
            sql.SQL("SELECT setval(pg_get_serial_sequence({}, {}), coalesce(max({}), 0) + 1, false) FROM {}")
            .format(sql.Literal(table), sql.Literal(column), sql.Identifier(column), sql.Identifier(table))
        )  # fmt: skip
    told = connection.execute(
        "SELECT greatest((SELECT max(transaction_number) FROM farms_change),"
        " (SELECT max(seq) FROM farms_outboxevent), 0), pg_current_xact_id()::text::bigint"
    ).fetchone()
    assert told is not None
    connection.execute(numbering.OFFSET.format(max(0, told[0] - told[1]) + JUMP))


def _prove() -> None:
    """Follow every ledger and every audit from its first line."""
    for broken in audit_chain.broken():
        raise CannotRestore(f"It was put back as it was, but the audit does not hold: {broken}")
    for lot in proof.broken_lots():
        [fault] = [read.fault for read in proof.ledgers(lot=lot)]
        raise CannotRestore(f"It was put back as it was, but the ledger does not hold: lot {lot}: {fault}.")
