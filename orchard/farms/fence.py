"""Row-level security behind the scoping in code: a connection sees the rows of the farm it is set to.

The setting `orchard.farm` holds a farm's key, `*` for every farm, or nothing, which shows no row at all. A
web process starts each connection with nothing; a request opens its farm for one transaction, so a pooled
connection takes nothing along to the next. Workers and commands, which serve all farms, start with `*`.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from contextlib import contextmanager

from django.apps import apps
from django.db import connection, models, transaction
from django.db.backends.base.base import BaseDatabaseWrapper

SETTING = "orchard.farm"
EVERY_FARM = "*"
POLICY = "rows_of_the_open_farm"
"""Another rule needs another name: whatever has another stands down."""
OPEN = f"current_setting('{SETTING}', true)"


@contextmanager
def opened(farm: uuid.UUID | str) -> Iterator[None]:
    """Let this connection see one farm's rows, in a transaction that ends with the block.

    :param farm: the farm's key, or `EVERY_FARM`
    """
    with as_before(), transaction.atomic():
        open_for_this_transaction(farm)
        yield


@contextmanager
def as_before() -> Iterator[None]:
    """Leave the setting as it was, where a transaction that began before us goes on after us."""
    if not connection.in_atomic_block:  # the setting ends with the transaction
        yield
        return
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT coalesce({OPEN}, '')")
        before = str(cursor.fetchone()[0])
    try:
        yield
    finally:
        if not connection.needs_rollback:
            open_for_this_transaction(before)


def open_for_this_transaction(farm: uuid.UUID | str) -> None:
    """Let the running transaction see the rows of one farm."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT set_config(%s, %s, true)", [SETTING, str(farm)])


def opening(column: str) -> str:
    """Return what does the same within a SELECT, for the farm whose key a column of it holds."""
    return f"set_config('{SETTING}', {column}::text, true)"


def fenced_tables() -> dict[str, str]:
    """Return the tables that belong to one farm, with the column that says which.

    A model says `fenced = False` where a row must be found before the farm is known: a token by its hash, a
    membership by its person.
    """
    found: dict[str, str] = {}
    for model in apps.get_models():
        column = _farm_column(model)
        if column and getattr(model, "fenced", True):
            found[model._meta.db_table] = column
    return found


def _farm_column(model: type[models.Model]) -> str | None:
    for field in model._meta.local_fields:
        if field.name == "farm":
            return field.column
    return None


def fence(owner: BaseDatabaseWrapper) -> None:
    """Stand the policy before each table of `fenced_tables`, in the place of what stood there before it.

    Where it stands and somebody switched row-level security off, it is switched on again.
    """
    with owner.cursor() as cursor:
        cursor.execute("SELECT tablename, policyname FROM pg_policies WHERE schemaname = 'public'")
        standing = cursor.fetchall()
        cursor.execute("SELECT relname FROM pg_class WHERE relrowsecurity")
        closed = {table for (table,) in cursor.fetchall()}
        for table, column in fenced_tables().items():
            if table not in closed or (table, POLICY) not in standing:
                with transaction.atomic(using=owner.alias):
                    cursor.execute(f'ALTER TABLE "{table}" ENABLE ROW LEVEL SECURITY')
                    for earlier in (name for of, name in standing if of == table):
                        cursor.execute(f'DROP POLICY "{earlier}" ON "{table}"')
                    cursor.execute(f'CREATE POLICY {POLICY} ON "{table}" USING ({_rule(column)})')


def _rule(column: str) -> str:
    """Return the condition of a row that may be seen.

    The setting is read once a statement, not once a row. PostgreSQL plans with every second row let through
    by a yes or no that it does not know yet, but with one row of a hundred where an unknown text is compared:
    then it sorts all rows of a farm instead of walking along an index to the first of them.
    """
    every_farm = f"(SELECT {OPEN} = '{EVERY_FARM}')"
    this_farm = f"(SELECT nullif(nullif({OPEN}, ''), '{EVERY_FARM}')::uuid)"
    return f'{every_farm} OR "{column}" = {this_farm}'
