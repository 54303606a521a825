"""Steps of a migration that take away the index of `farm` alone, where another one begins with it.

Django's own step would not do: it takes away every index of that one column, a unique one of few rows too.
"""

from __future__ import annotations

from typing import Any

from django.db import migrations, models
from django.db.backends.utils import names_digest


def without_farm_index(app: str, *names: str) -> list[migrations.SeparateDatabaseAndState]:
    """Return the steps for these models, for a migration with `atomic = False`: nobody is kept waiting."""
    return [_without(f"{app}_{name}", name) for name in names]


def _without(table: str, name: str) -> migrations.SeparateDatabaseAndState:
    index = f"{table}_farm_id_{names_digest(table, 'farm_id', length=8)}"  # as Django called it
    return migrations.SeparateDatabaseAndState(
        state_operations=[migrations.AlterField(name, "farm", _farm())],
        database_operations=[
            migrations.RunSQL(
                f'DROP INDEX CONCURRENTLY IF EXISTS "{index}"',
                f'CREATE INDEX CONCURRENTLY IF NOT EXISTS "{index}" ON "{table}" (farm_id)',
            )
        ],
    )


def _farm() -> models.ForeignKey[Any, Any]:
    return models.ForeignKey(to="farms.farm", on_delete=models.PROTECT, related_name="+", db_index=False)
