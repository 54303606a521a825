"""Several rows written in one round trip, as prepared statements.

The ORM builds and sends one statement for each row and has it planned anew each time. Here the text of a
statement is made once for a table, and all that belongs together goes as one statement of several parts. What
the ORM does besides (defaults, preparing what a column needs prepared) is done all the same.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Any, TypeVar

import orjson
import psycopg
from django.core.exceptions import EmptyResultSet
from django.db import connection, models
from django.db.models.expressions import DatabaseDefault
from psycopg.types.json import set_json_loads

set_json_loads(orjson.loads)  # of what is read in the driver's own form; Django takes JSON as text
Row = TypeVar("Row", bound=models.Model)
PREPARED_AFTER = 3
"""So many times a statement is sent on a connection before it is planned once for all."""
AS_THEY_ARE = (
    models.UUIDField,
    models.ForeignKey,
    models.DateTimeField,
    models.DateField,
    models.BooleanField,
    models.IntegerField,
    models.DecimalField,
)
"""Columns whose values the driver takes as Python has them."""


@dataclass(frozen=True, slots=True)
class Statement:
    """One part: its text with `{}` where a value stands, the values, and the row that it writes."""

    text: str
    values: tuple[Any, ...]
    row: models.Model | None
    """The row that it changes; None where it adds one."""


def insert(row: models.Model) -> Statement:
    """Return the part that adds a new row; what the database fills in by itself is left to it."""
    given, values = [], []
    for field in row._meta.concrete_fields:
        value = getattr(row, field.attname)
        if isinstance(value, DatabaseDefault) or (value is None and isinstance(field, models.AutoField)):
            continue
        given.append(field.column)
        values.append(_prepared(field, value))
    row._state.adding, row._state.db = False, "default"
    return Statement(_insert_text(row._meta.db_table, tuple(given)), tuple(values), None)


def add(model: type[models.Model], values: Mapping[str, Any]) -> Statement:
    """Return the part that adds a row which nobody reads back: by column, without making the row in Python.

    :param values: by attribute (`farm_id`); what is left out is left to the database
    """
    fields = _by_attribute(model)
    prepared = tuple(_prepared(fields[name], value) for name, value in values.items())
    return Statement(_insert_text(model._meta.db_table, _columns(model, tuple(values))), prepared, None)


def update(row: models.Model, names: Iterable[str]) -> Statement:
    """Return the part that writes these columns of a row that the caller has locked."""
    fields: list[Any] = [row._meta.get_field(name) for name in names]
    assert row._meta.pk is not None
    columns = tuple(str(field.column) for field in fields)
    values = [_prepared(field, getattr(row, field.attname)) for field in fields]
    text = _update_text(row._meta.db_table, str(row._meta.pk.column), columns)
    return Statement(text, (*values, row.pk), row)


def run(*parts: Statement) -> None:
    """Do all parts at once, in the caller's transaction. Each row may be updated by one part only."""
    updated = [(part.row._meta.db_table, part.row.pk) for part in parts if part.row is not None]
    if len(set(updated)) < len(updated):
        raise ValueError("a row is updated by one part of a statement only")
    execute(_joined(tuple(part.text for part in parts)), [one for part in parts for one in part.values])


def execute(text: str, values: Sequence[Any]) -> list[tuple[Any, ...]]:
    """Send a statement with `$1`, `$2` … and return its rows; prepared once it was sent a few times."""
    return _sent(psycopg.RawCursor, text, values)


def read(text: str, values: Sequence[Any]) -> list[tuple[Any, ...]]:
    """Send one that reads much: its values come in the driver's own form, moments in UTC and JSON read."""
    return _sent(psycopg.RawCursor, text, values, binary=True)


def read_rows(rows: models.QuerySet[Any, Any]) -> list[tuple[Any, ...]]:
    """Return the rows of a `values_list` in the same form; what a column makes of its values is not done."""
    try:
        text, values = rows.query.sql_with_params()
    except EmptyResultSet:  # nothing can be among them
        return []
    return _sent(psycopg.Cursor, text, values, binary=True)


def _sent(
    kind: type[Any], text: str, values: Sequence[Any], *, binary: bool = False
) -> list[tuple[Any, ...]]:
    connection.ensure_connection()
    connection.validate_no_broken_transaction()
    if connection.queries_logged:
        connection.queries_log.append({"sql": text, "time": ""})
    with connection.wrap_database_errors:
        connection.connection.prepare_threshold = (
            PREPARED_AFTER  # Django has it off: its own are never prepared
        )
        cursor = kind(connection.connection)
        cursor.execute(text, values, binary=binary)
        return [] if cursor.rownumber is None else cursor.fetchall()


def columns(model: type[models.Model], alias: str) -> str:
    """Return all columns of a table for a SELECT."""
    return ", ".join(f'{alias}."{field.column}"' for field in model._meta.concrete_fields)


def load(model: type[Row], values: Sequence[Any]) -> Row:
    """Return a row of the values of `columns`."""
    names, readers = _readers(model)
    read = list(values)
    for at, reader in readers:
        read[at] = reader(read[at], None, connection)
    return model.from_db("default", names, read)


def _prepared(field: Any, value: Any) -> Any:
    if value is None or isinstance(field, AS_THEY_ARE):
        return value
    return field.get_db_prep_save(value, connection)


@cache
def _readers(model: type[models.Model]) -> tuple[list[str], list[tuple[int, Any]]]:
    fields = model._meta.concrete_fields
    readers = [
        (at, field.from_db_value) for at, field in enumerate(fields) if hasattr(field, "from_db_value")
    ]
    return [field.attname for field in fields], readers


@cache
def _by_attribute(model: type[models.Model]) -> dict[str, Any]:
    return {field.attname: field for field in model._meta.concrete_fields}


@lru_cache(maxsize=512)
def _columns(model: type[models.Model], names: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(str(_by_attribute(model)[name].column) for name in names)


@lru_cache(maxsize=512)
def _insert_text(table: str, names: tuple[str, ...]) -> str:
    listed = ", ".join(f'"{name}"' for name in names)
    return f'INSERT INTO "{table}" ({listed}) VALUES ({", ".join(["{}"] * len(names))})'


@lru_cache(maxsize=512)
def _update_text(table: str, key: str, names: tuple[str, ...]) -> str:
    listed = ", ".join(f'"{name}" = {{}}' for name in names)
    return f'UPDATE "{table}" SET {listed} WHERE "{key}" = {{}}'


@lru_cache(maxsize=512)
def _joined(texts: tuple[str, ...]) -> str:
    *first, last = texts
    named = ", ".join(f"part_{at} AS ({text})" for at, text in enumerate(first))
    whole = f"WITH {named} {last}" if first else last
    return whole.format(*(f"${at}" for at in range(1, whole.count("{}") + 1)))
