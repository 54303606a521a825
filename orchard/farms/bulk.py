"""Many rows of a farm at once: one statement a table, with the same audit entries and changes as one by one.

For work that makes hundreds of rows in one transaction, such as a plan. What `save` would fill in by itself
is filled in here; columns that the database fills in are left to it. PostgreSQL takes no COPY where row-level
security stands, so the rows go in as one array a column, in the driver's binary form.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Any

import orjson
from django.db import connection, models

from orchard.api import statements
from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.farms.models import AuditEntry, Change
from orchard.farms.rows import FarmRow, new_id

Columns = Mapping[str, Any]


def create(rows: Sequence[FarmRow], *, by: Actor, now: dt.datetime) -> None:
    """Write new rows of one model with their audit entries and changes. The caller is in a transaction."""
    if not rows:
        return
    for row in rows:
        row.created_at, row.updated_at = now, now
        row.created_by_kind, row.created_by_id, row.created_by_name = by.kind, by.id, by.name
    insert(type(rows[0]), [columns(row) for row in rows])
    entry = journal.audit_columns(rows[0], by=by, now=now, action="create")  # alike but for the row
    insert(
        AuditEntry,
        [{**entry, "id": new_id(), "resource_id": row.id, "after": journal.snapshot(row)} for row in rows],
    )
    change = journal.change_columns(rows[0], "created", now=now)
    insert(Change, [{**change, "resource_id": row.id, "etag": row.etag, "path": row.path} for row in rows])


def insert(model: type[models.Model], rows: Sequence[Columns]) -> None:
    """Write rows of one model, by the names of their columns, in one statement, without a word."""
    of_json, text = _written(model, tuple(rows[0]))
    statements.execute_arrays(
        text,
        [
            [_as_json(row[name]) for row in rows] if is_json else [row[name] for row in rows]
            for name, is_json in zip(rows[0], of_json, strict=True)
        ],
    )


def _as_json(value: Any) -> str | None:
    return value if value is None else orjson.dumps(value, default=str).decode()


@lru_cache(maxsize=64)
def _written(model: type[models.Model], names: tuple[str, ...]) -> tuple[tuple[bool, ...], str]:
    """Return which columns are JSON, which goes as text, and the statement that takes an array a column."""
    types = {str(field.column): str(field.db_type(connection)) for field in model._meta.concrete_fields}
    of_json = tuple(types[name] == "jsonb" for name in names)
    table, listed = model._meta.db_table, ", ".join(f'"{name}"' for name in names)
    arrays = [
        f"%b::{'text' if is_json else types[name]}[]" for name, is_json in zip(names, of_json, strict=True)
    ]
    read = [
        f'"{name}"::jsonb' if is_json else f'"{name}"' for name, is_json in zip(names, of_json, strict=True)
    ]
    given = f"unnest({', '.join(arrays)}) AS given ({listed})"
    return of_json, f'INSERT INTO "{table}" ({listed}) SELECT {", ".join(read)} FROM {given}'


def columns(row: models.Model) -> dict[str, Any]:
    """Return the columns of a row, as the driver or JSON takes them."""
    return {name: _prepared(field, row) for name, field in _fields(type(row))}


@lru_cache(maxsize=64)
def _fields(model: type[models.Model]) -> tuple[tuple[str, Any], ...]:
    fields = model._meta.concrete_fields
    return tuple((str(field.column), field) for field in fields if not by_database(field))


def by_database(field: Any) -> bool:
    """Say whether the database fills a column in."""
    return isinstance(field, models.AutoField) or field.has_db_default()


AS_THEY_ARE = frozenset({str, int, bool, type(None), uuid.UUID, dt.datetime, dt.date, dict, list})
"""What is taken as it is."""


def _prepared(field: Any, row: models.Model) -> Any:
    value = getattr(row, field.attname)
    return value if type(value) in AS_THEY_ARE else field.get_prep_value(value)
