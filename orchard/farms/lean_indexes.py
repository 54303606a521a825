"""Steps of a migration that take away the index of `farm` alone, where another one begins with it.

Django's own step would not do: it takes away every index of that one column, a unique one of few rows too.
"""

from __future__ import annotations

from typing import Any

from django.db import migrations, models

LONE = """
    SELECT index.indexrelid::regclass::text FROM pg_index AS index
    JOIN pg_attribute AS named ON named.attrelid = index.indrelid AND named.attnum = index.indkey[0]
    WHERE index.indrelid = %s::regclass AND named.attname = %s
        AND index.indnkeyatts = 1 AND index.indpred IS NULL AND NOT index.indisunique
"""


def without_farm_index(app: str, *names: str) -> list[migrations.SeparateDatabaseAndState]:
    """Return the steps for these models, for a migration with `atomic = False`: nobody is kept waiting."""
    return [_without(app, name) for name in names]


def _without(app: str, name: str) -> migrations.SeparateDatabaseAndState:
    def drop(apps: Any, editor: Any) -> None:
        model = apps.get_model(app, name)
        with editor.connection.cursor() as cursor:
            cursor.execute(LONE, [model._meta.db_table, "farm_id"])
            for (index,) in cursor.fetchall():
                cursor.execute(f"DROP INDEX CONCURRENTLY IF EXISTS {index}")

    return migrations.SeparateDatabaseAndState(
        state_operations=[migrations.AlterField(name, "farm", _farm())],
        database_operations=[migrations.RunPython(drop, migrations.RunPython.noop, atomic=False)],
    )


def _farm() -> models.ForeignKey[Any, Any]:
    return models.ForeignKey(to="farms.farm", on_delete=models.PROTECT, related_name="+", db_index=False)
