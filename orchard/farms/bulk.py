"""Many rows of a farm at once: one statement a table, with the same audit entries and changes as one by one.

For work that makes hundreds of rows in one transaction, such as a plan. What `save` would fill in by itself
is filled in here; columns that the database fills in are left to it. PostgreSQL takes no COPY where row-level
security stands, so the columns go in as arrays: `INSERT … SELECT * FROM unnest(…)`.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Sequence
from typing import Any

from django.db import connection, models
from psycopg import sql

from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.farms.rows import FarmRow


def create(rows: Sequence[FarmRow], *, by: Actor, now: dt.datetime) -> None:
    """Write new rows of one model with their audit entries and changes. The caller is in a transaction."""
    for row in rows:
        row.created_at, row.updated_at = now, now
        row.created_by_kind, row.created_by_id, row.created_by_name = by.kind, by.id, by.name
    insert(rows)
    insert(
        [
            journal.audit_entry(row, by=by, now=now, action="create", after=journal.snapshot(row))
            for row in rows
        ]
    )
    insert([journal.change_of(row, "created", now=now) for row in rows])


def insert(rows: Sequence[models.Model]) -> None:
    """Write rows of one model in one statement, without a word anywhere."""
    if not rows:
        return
    fields = [field for field in rows[0]._meta.concrete_fields if not _by_database(field)]
    names = sql.SQL(", ").join(sql.Identifier(str(field.column)) for field in fields)
    arrays = sql.SQL(", ").join(sql.SQL(f"%s::{_type(field)}[]") for field in fields)  # type: ignore[arg-type]
    statement = sql.SQL("INSERT INTO {} ({}) SELECT * FROM unnest({})").format(
        sql.Identifier(rows[0]._meta.db_table), names, arrays
    )
    with connection.cursor() as cursor:
        cursor.execute(statement, [[_prepared(field, row) for row in rows] for field in fields])


def _by_database(field: Any) -> bool:
    return isinstance(field, models.AutoField) or field.has_db_default()


def _type(field: Any) -> str:
    return str(field.rel_db_type(connection) if field.is_relation else field.db_type(connection))


def _prepared(field: Any, row: models.Model) -> Any:
    value = getattr(row, field.attname)
    if isinstance(field, models.JSONField):
        return None if value is None else json.dumps(value)
    return field.get_db_prep_save(value, connection)
