"""Several rows written in one round trip, as prepared statements.

The ORM builds and sends one statement for each row and has it planned anew each time. Here the text of a
statement is made once for a table, and what belongs together goes as one statement of several parts: all
that is written in a block of `together`, up to the next read. What the ORM does besides (defaults, preparing
what a column needs prepared) is done all the same.
"""

from __future__ import annotations

import datetime as dt
import json
import threading
import uuid
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from decimal import Decimal
from functools import cache, lru_cache
from typing import Any, TypeVar

import orjson
import psycopg
from django.core.exceptions import EmptyResultSet
from django.db import DEFAULT_DB_ALIAS, DatabaseError, connection, connections, models, transaction
from django.db.models.expressions import DatabaseDefault
from psycopg.types.json import set_json_loads

set_json_loads(orjson.loads)  # of what is read in the driver's own form; Django takes JSON as text
Row = TypeVar("Row", bound=models.Model)
PREPARED_AFTER = 3
"""So many times a statement is sent on a connection before it is planned once for all."""
MOST_VALUES = 2000
"""So many wait at most; PostgreSQL takes 65,535 in a statement."""
MOST_KEPT = 64
"""So many statements a thread keeps ready, with what the driver found out about their values."""
MOST_ROWS_KEPT = 200
"""Of one that gave more rows nothing is kept: it would hold them until it is sent again."""
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
OF_PYTHON: frozenset[type] = frozenset({type(None), uuid.UUID, dt.datetime, dt.date, bool, int, Decimal})
TEXT: frozenset[type] = frozenset({type(None), str})


@dataclass(frozen=True, slots=True)
class Statement:
    """One part: a row that is added, or columns of one that is changed.

    :ivar row: its table and primary key; the key is None where the database gives it
    :ivar key_column: by which the row is found that is changed; None for one that is added
    """

    row: tuple[str, Any]
    columns: tuple[str, ...]
    values: tuple[Any, ...]
    key_column: str | None = None


def insert(row: models.Model) -> Statement:
    """Return the part that adds a new row; what the database fills in by itself is left to it."""
    model = type(row)
    given = {name: getattr(row, name) for name in _attributes(model)}
    for name, kind in _filled_in(model):
        if isinstance(given[name], kind):
            del given[name]
    row._state.adding, row._state.db = False, DEFAULT_DB_ALIAS
    return _added(model, given)


def add(model: type[models.Model], values: Mapping[str, Any]) -> Statement:
    """Return the part that adds a row which nobody reads back: by column, without making the row in Python.

    :param values: by attribute (`farm_id`); what is left out is the column's default
    """
    return _added(model, {**values, **{name: own() for name, own in _defaults(model) if name not in values}})


def _added(model: type[models.Model], values: Mapping[str, Any]) -> Statement:
    columns, prepared = _prepared(model, values)
    return Statement((model._meta.db_table, values.get(_key_of(model)[0])), columns, prepared)


def update(row: models.Model, names: Iterable[str]) -> Statement:
    """Return the part that writes these columns of a row that the caller has locked."""
    fields: list[Any] = [row._meta.get_field(name) for name in names]
    values = {field.attname: getattr(row, field.attname) for field in fields}
    model = type(row)
    columns, prepared = _prepared(model, values)
    return Statement((model._meta.db_table, row.pk), columns, prepared, _key_of(model)[1])


def run(*parts: Statement) -> None:
    """Do all parts at once, in the caller's transaction; within `together`, with what else waits there."""
    waiting = _open.get()
    batch = waiting or _Batch()
    for part in parts:
        batch.take(part)
    if waiting is None:
        batch.send()


@contextmanager
def together() -> Iterator[None]:
    """Let what is written wait for the next read, or the end of the block, and go in one round trip.

    For the caller's transaction. Where the block fails, what waits is written all the same, as if it had not
    waited: whoever catches that decides what becomes of it. After an error of the database nothing can be.
    """
    if _open.get() is not None:
        yield
        return
    if not connection.in_atomic_block:
        raise transaction.TransactionManagementError("what waits together needs a transaction to wait in")
    batch = _Batch()
    before = _open.set(batch)
    try:
        with connection.execute_wrapper(batch.before):
            yield
        batch.send()
    except DatabaseError:
        transaction.set_rollback(True)
        raise
    except Exception:
        if not connection.needs_rollback:
            batch.send()
        raise
    finally:
        _open.reset(before)


class _Batch:
    """What waits to be written: rows of one table and form as one part, and one part for each changed row."""

    def __init__(self) -> None:
        self._forget()

    def _forget(self) -> None:
        self._added: dict[tuple[str, tuple[str, ...]], list[tuple[Any, ...]]] = {}
        self._new: set[tuple[str, Any]] = set()
        self._changed: dict[tuple[str, Any], tuple[str, dict[str, Any]]] = {}
        self._size = 0

    def take(self, part: Statement) -> None:
        """Let a part wait. What changes a row that waits to be added must find it there: that goes first."""
        if part.row in self._new or self._size > MOST_VALUES:
            self.send()
        self._size += len(part.values)
        table, key = part.row
        if part.key_column is None:
            self._added.setdefault((table, part.columns), []).append(part.values)
            if key is not None:
                self._new.add(part.row)
        else:
            _, values = self._changed.setdefault(part.row, (part.key_column, {}))
            values.update(zip(part.columns, part.values, strict=True))

    def send(self) -> None:
        """Write what waits."""
        texts = [_insert_text(table, names, len(rows)) for (table, names), rows in self._added.items()]
        values = [value for rows in self._added.values() for row in rows for value in row]
        for (table, key), (column, changed) in self._changed.items():
            texts.append(_update_text(table, column, tuple(changed)))
            values += [*changed.values(), key]
        self._forget()
        if texts:
            _sent(psycopg.RawCursor, _joined(tuple(texts)), values)

    def before(self, execute: Callable[..., Any], sql: Any, *rest: Any) -> Any:
        """Write what waits before the ORM asks for anything.

        What waits when a savepoint is given up was written after it, since setting one goes through here too.
        """
        if isinstance(sql, str) and sql.startswith("ROLLBACK TO SAVEPOINT"):
            self._forget()
        self.send()
        return execute(sql, *rest)


_open: ContextVar[_Batch | None] = ContextVar("open", default=None)


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
    """Send a statement, after what waits to be written, and return its rows."""
    if (batch := _open.get()) is not None:
        batch.send()
    here = connections[DEFAULT_DB_ALIAS]
    if here.connection is None:
        here.ensure_connection()
    here.validate_no_broken_transaction()
    if here.queries_logged:
        here.queries_log.append({"sql": text, "time": ""})
    with here.wrap_database_errors:
        return _ready.send(here.connection, kind, text, values, binary=binary)


class _Ready(threading.local):
    """The statements that a thread sends again and again, each with its cursor.

    A cursor that gets the very same text keeps what it found out about the types of what goes in and out,
    a quarter of the driver's time for a statement.
    """

    def __init__(self) -> None:
        self._cursors: dict[tuple[type[Any], str, bool], tuple[Any, str]] = {}

    def send(
        self, connection: Any, kind: type[Any], text: str, values: Sequence[Any], *, binary: bool
    ) -> list[tuple[Any, ...]]:
        """Send a statement with its cursor of before, if it has one at this connection."""
        key = (kind, text, binary)
        cursor, same = self._cursors.pop(key, (None, text))
        if cursor is None or cursor.connection is not connection:
            connection.prepare_threshold = PREPARED_AFTER  # Django has it off: its own are never prepared
            cursor = kind(connection)
        cursor.execute(same, values, binary=binary)
        rows = [] if cursor.rownumber is None else cursor.fetchall()
        if len(rows) <= MOST_ROWS_KEPT:
            if len(self._cursors) >= MOST_KEPT:
                del self._cursors[next(iter(self._cursors))]  # the one sent longest ago
            self._cursors[key] = (cursor, same)
        return rows


_ready = _Ready()


def execute_arrays(text: str, arrays: Sequence[Sequence[Any]]) -> None:
    """Send a statement with an array at each `%b`: in the driver's binary form, which escapes nothing."""
    _sent(psycopg.Cursor, text, arrays)


def columns(model: type[models.Model], alias: str) -> str:
    """Return all columns of a table for a SELECT."""
    return ", ".join(f'{alias}."{field.column}"' for field in model._meta.concrete_fields)


def load(model: type[Row], values: Sequence[Any]) -> Row:
    """Return a row of the values of `columns`, as `read` gives them."""
    names, readers = _readers(model)
    read = list(values)
    for at, reader in readers:
        read[at] = reader(read[at], None, connection)
    return model.from_db("default", names, read)


def _prepared(
    model: type[models.Model], values: Mapping[str, Any]
) -> tuple[tuple[str, ...], tuple[Any, ...]]:
    """Return the columns of attributes, and their values as the driver takes them."""
    columns, plain = _form(model, tuple(values))
    prepared = [
        value if value.__class__ in types else prepare(value)
        for value, (types, prepare) in zip(values.values(), plain, strict=True)
    ]
    return columns, tuple(prepared)


@lru_cache(maxsize=512)
def _form(
    model: type[models.Model], names: tuple[str, ...]
) -> tuple[tuple[str, ...], tuple[tuple[frozenset[type], Callable[[Any], Any]], ...]]:
    """Return columns, and of each which types the driver takes as they are and what prepares others."""
    by_attribute = {field.attname: field for field in model._meta.concrete_fields}
    fields = [by_attribute[name] for name in names]
    return tuple(str(field.column) for field in fields), tuple(_preparer(field) for field in fields)


def _preparer(field: Any) -> tuple[frozenset[type], Callable[[Any], Any]]:
    if isinstance(field, AS_THEY_ARE):
        return OF_PYTHON, lambda value: value
    if isinstance(field, models.JSONField):
        return frozenset({type(None)}), _json
    text = isinstance(field, (models.CharField, models.TextField))
    return TEXT if text else frozenset(), lambda value: field.get_db_prep_save(value, connection)


def _json(value: Any) -> str:
    try:
        return orjson.dumps(value).decode()
    except TypeError:  # numbers of more than 64 bits, keys that are no text
        return json.dumps(value)


@cache
def _readers(model: type[models.Model]) -> tuple[list[str], list[tuple[int, Any]]]:
    fields = model._meta.concrete_fields
    readers = [
        (at, field.from_db_value)
        for at, field in enumerate(fields)
        if hasattr(field, "from_db_value") and not isinstance(field, models.JSONField)
    ]
    return [field.attname for field in fields], readers


@cache
def _attributes(model: type[models.Model]) -> list[str]:
    return [field.attname for field in model._meta.concrete_fields]


@cache
def _filled_in(model: type[models.Model]) -> list[tuple[str, type]]:
    """Return what the database fills in by itself, and what stands there in Python where it shall."""
    fields = model._meta.concrete_fields
    return [(field.attname, type(None)) for field in fields if isinstance(field, models.AutoField)] + [
        (field.attname, DatabaseDefault) for field in fields if field.has_db_default()
    ]


@cache
def _defaults(model: type[models.Model]) -> list[tuple[str, Callable[[], Any]]]:
    return [
        (field.attname, field.get_default) for field in model._meta.concrete_fields if field.has_default()
    ]


@cache
def _key_of(model: type[models.Model]) -> tuple[str, str]:
    """Return attribute and column of the primary key."""
    key = model._meta.pk
    assert key is not None
    return key.attname, str(key.column)


@lru_cache(maxsize=512)
def _insert_text(table: str, names: tuple[str, ...], rows: int) -> str:
    listed = ", ".join(f'"{name}"' for name in names)
    row = f"({', '.join(['{}'] * len(names))})"
    return f'INSERT INTO "{table}" ({listed}) VALUES {", ".join([row] * rows)}'


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
