"""The whole database in one file: every table's rows as one moment saw them, with counts and checksums.

A zip of `tables/NAME.copy` (PostgreSQL's own text form, so that it goes from one version to another) and a
`manifest.json` that says which migrations shaped the tables, and of each its columns, rows and SHA-256. It
needs no program beside the database and may run while others write.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import os
import zipfile
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import psycopg
from django.db import connections
from psycopg import sql

from orchard.config.two_threads import made_ahead

PIECE = 1 << 18  # bytes
FORMAT = 1
MANIFEST = "manifest.json"
NOT_ROWS = frozenset({"django_migrations"})  # what shaped the tables stands in the manifest
MIGRATIONS = "SELECT app, name FROM django_migrations ORDER BY app, name"
COLUMNS = """
SELECT relation.relname, array_agg(attribute.attname::text ORDER BY attribute.attnum)
FROM pg_class AS relation
JOIN pg_namespace AS schema ON schema.oid = relation.relnamespace AND schema.nspname = 'public'
JOIN pg_attribute AS attribute ON attribute.attrelid = relation.oid
    AND attribute.attnum > 0 AND NOT attribute.attisdropped AND attribute.attgenerated = ''
WHERE relation.relkind = 'r'
GROUP BY relation.relname
ORDER BY relation.relname
"""


def write(*, to: Path, now: dt.datetime) -> dict[str, Any]:
    """Write the backup and return its manifest. The file is whole or not there.

    :raises OSError: where it cannot be written
    """
    unfinished = to.with_name(f"{to.name}.unfinished")
    try:
        with open(unfinished, "xb", opener=_for_us_alone) as file:
            with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
                manifest = _fill(archive, now=now)
            file.flush()
            os.fsync(file.fileno())
        unfinished.rename(to)
    except FileExistsError:
        raise
    except BaseException:
        unfinished.unlink(missing_ok=True)
        raise
    return manifest


def _fill(archive: zipfile.ZipFile, *, now: dt.datetime) -> dict[str, Any]:
    with psycopg.connect(**connections["owner"].get_connection_params()) as connection:
        connection.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        # Unless said otherwise, a large table is read from where another reader is: in another order.
        connection.execute("SET LOCAL synchronize_seqscans = off")
        tables = columns_of_tables(connection)
        manifest = {
            "format": FORMAT,
            "made_at": now.isoformat(),
            "server": connection.info.server_version,
            "migrations": connection.execute(MIGRATIONS).fetchall(),
            "tables": [
                _table(archive, connection, name, columns)
                for name, columns in tables.items()
                if name not in NOT_ROWS
            ],
        }
    archive.writestr(MANIFEST, json.dumps(manifest, indent=1))
    return manifest


def columns_of_tables(connection: psycopg.Connection[Any]) -> dict[str, list[str]]:
    """Return the tables, each with the columns that are not worked out by the database itself."""
    return dict(connection.execute(COLUMNS).fetchall())


def _table(
    archive: zipfile.ZipFile, connection: psycopg.Connection[Any], name: str, columns: list[str]
) -> dict[str, Any]:
    seen, rows = hashlib.sha256(), 0
    statement = sql.SQL("COPY {} TO STDOUT").format(table_with(name, columns))
    with connection.cursor() as cursor, archive.open(member(name), "w", force_zip64=True) as file:
        with cursor.copy(statement) as copied:
            for piece in made_ahead(_in_pieces(copied)):
                file.write(piece)
                seen.update(piece)
        rows = cursor.rowcount
    return {"name": name, "columns": columns, "rows": rows, "sha256": seen.hexdigest()}


def _in_pieces(rows: Iterable[bytes | bytearray | memoryview]) -> Iterator[bytes]:
    """Yield what comes row by row in pieces that are worth a call."""
    piece = bytearray()
    for row in rows:
        piece += row
        if len(piece) >= PIECE:
            yield bytes(piece)
            piece.clear()
    if piece:
        yield bytes(piece)


def table_with(name: str, columns: list[str]) -> sql.Composed:
    """Return a table and its columns as COPY names them."""
    return sql.SQL("{} ({})").format(sql.Identifier(name), sql.SQL(", ").join(map(sql.Identifier, columns)))


def member(table: str) -> str:
    """Return the name of a table's rows in the file."""
    return f"tables/{table}.copy"


def _for_us_alone(path: str, flags: int) -> int:
    """Open a file that nobody else may read: it holds all that the database holds."""
    return os.open(path, flags, 0o600)
