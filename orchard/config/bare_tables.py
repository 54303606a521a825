"""Tables without indexes, references and triggers while all their rows are put in, and with them again after.

An index that is built over all rows, and a reference that is looked up for all of them at once, cost a
fraction of what they cost row by row. What stood there is taken from the database's own words for it, so it
comes back as it was, by the same names.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import psycopg
from psycopg import sql

MEMORY = "256MB"
CONSTRAINTS = """
    SELECT conrelid::regclass::text, conname, pg_get_constraintdef(oid), contype = 'f'
    FROM pg_constraint
    WHERE contype IN ('p', 'u', 'x', 'f') AND conrelid = ANY(%(tables)s::regclass[])
    ORDER BY contype = 'f' DESC, contype, conname
"""
"""References first: they stand on the keys."""
INDEXES = """
    SELECT indexrelid::regclass::text, pg_get_indexdef(indexrelid) FROM pg_index
    WHERE indrelid = ANY(%(tables)s::regclass[])
        AND NOT EXISTS (SELECT 1 FROM pg_constraint WHERE conindid = indexrelid AND conrelid = indrelid)
    ORDER BY 1
"""


@contextmanager
def stripped(connection: psycopg.Connection[Any], tables: Sequence[str]) -> Iterator[None]:
    """Empty tables and take indexes, keys, references and triggers from them until the block ends.

    All of it happens in the transaction of a connection that owns them. The block puts rows in; after an
    error of the database within the block or after it the transaction has to be rolled back.
    """
    names = {"tables": [sql.Identifier(name).as_string(connection) for name in tables]}
    constraints = connection.execute(CONSTRAINTS, names).fetchall()
    indexes = connection.execute(INDEXES, names).fetchall()
    connection.execute(f"SET LOCAL maintenance_work_mem = '{MEMORY}'")
    connection.execute(f"SET LOCAL work_mem = '{MEMORY}'")  # references are looked up by joining the tables
    for table, name, _, _ in constraints:
        connection.execute(_altered(table, sql.SQL("DROP CONSTRAINT {}").format(sql.Identifier(name))))
    for index, _ in indexes:
        connection.execute(sql.SQL("DROP INDEX {}").format(sql.SQL(index)))
    connection.execute(sql.SQL("TRUNCATE {}").format(sql.SQL(", ").join(map(sql.SQL, names["tables"]))))
    for table in names["tables"]:
        connection.execute(_altered(table, sql.SQL("DISABLE TRIGGER USER")))
    yield
    for _, made in indexes:
        connection.execute(sql.SQL(made))
    for table, name, made, _ in reversed(constraints):
        add = sql.SQL("ADD CONSTRAINT {} {}").format(sql.Identifier(name), sql.SQL(made))
        connection.execute(_altered(table, add))
    for table in names["tables"]:
        connection.execute(_altered(table, sql.SQL("ENABLE TRIGGER USER")))


def _altered(table: str, what: sql.Composable) -> sql.Composed:
    return sql.SQL("ALTER TABLE {} {}").format(sql.SQL(table), what)
