"""Several rows written in one round trip, as prepared statements.

The ORM builds and sends one statement for each row and has it planned anew each time. Here the text of a
statement is made once for a table, and what belongs together goes as one statement of several parts: all
that is written in a block of `together`, up to the next read. What the ORM does besides (defaults, preparing
what a column needs prepared) is done all the same.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
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
    given = {
        field.attname: value
        for field in row._meta.concrete_fields
        if not isinstance(value := getattr(row, field.attname), DatabaseDefault)
        and not (value is None and isinstance(field, models.AutoField))
    }
    row._state.adding, row._state.db = False, DEFAULT_DB_ALIAS
    return add(type(row), given)


def add(model: type[models.Model], values: Mapping[str, Any]) -> Statement:
    """Return the part that adds a row which nobody reads back: by column, without making the row in Python.

    :param values: by attribute (`farm_id`); what is left out is the column's default
    """
    values = {**values, **{name: own() for name, own in _defaults(model) if name not in values}}
    row = (model._meta.db_table, values.get(_key_of(model)[0]))
    return Statement(row, _columns(model, tuple(values)), _prepared(model, values))


def update(row: models.Model, names: Iterable[str]) -> Statement:
    """Return the part that writes these columns of a row that the caller has locked."""
    fields: list[Any] = [row._meta.get_field(name) for name in names]
    values = {field.attname: getattr(row, field.attname) for field in fields}
    model = type(row)
    prepared = _prepared(model, values)
    return Statement(
        (model._meta.db_table, row.pk), _columns(model, tuple(values)), prepared, _key_of(model)[1]
    )


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
    here.ensure_connection()
    here.validate_no_broken_transaction()
    if here.queries_logged:
        here.queries_log.append({"sql": text, "time": ""})
    with here.wrap_database_errors:
        here.connection.prepare_threshold = PREPARED_AFTER  # Django has it off: its own are never prepared
        cursor = kind(here.connection)
        cursor.execute(text, values, binary=binary)
        return [] if cursor.rownumber is None else cursor.fetchall()


def execute_arrays(text: str, arrays: Sequence[Sequence[Any]]) -> None:
    """Send a statement with an array at each `%b`: in the driver's binary form, which escapes nothing."""
    _sent(psycopg.Cursor, text, arrays)


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


def _prepared(model: type[models.Model], values: Mapping[str, Any]) -> tuple[Any, ...]:
    by_attribute = _by_attribute(model)
    return tuple(
        value if value is None or (prepare := by_attribute[name][1]) is None else prepare(value)
        for name, value in values.items()
    )


@cache
def _readers(model: type[models.Model]) -> tuple[list[str], list[tuple[int, Any]]]:
    fields = model._meta.concrete_fields
    readers = [
        (at, field.from_db_value) for at, field in enumerate(fields) if hasattr(field, "from_db_value")
    ]
    return [field.attname for field in fields], readers


@cache
def _by_attribute(model: type[models.Model]) -> dict[str, tuple[str, Any]]:
    """Return the column of each attribute, and what prepares its values; None where nothing has to."""
    return {
        field.attname: (str(field.column), None if isinstance(field, AS_THEY_ARE) else _preparer(field))
        for field in model._meta.concrete_fields
    }


def _preparer(field: Any) -> Callable[[Any], Any]:
    is_text = isinstance(field, (models.CharField, models.TextField))

    def prepare(value: Any) -> Any:
        if is_text and type(value) is str:
            return value
        return field.get_db_prep_save(value, connection)

    return prepare


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
def _columns(model: type[models.Model], names: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(_by_attribute(model)[name][0] for name in names)


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
