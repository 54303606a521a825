"""Which tables a farm takes along when it leaves: everything but keys, logins and what is on its way."""

from __future__ import annotations

from dataclasses import dataclass

from django.apps import apps
from django.db import models

STAYS = frozenset(
    {
        "farms_membership",  # people sign in here; who did what stands in the rows and the audit by name
        "farms_token",
        "farms_calendarfeed",
        "farms_webhook",
        "farms_webhookdelivery",
        "farms_outboxevent",
        "farms_auditlink",  # its seals name the farm: the audit is sealed anew where it arrives
        "farms_change",  # a feed of this place: its cursors mean nothing elsewhere
    }
)
APPS = ("blocks", "crews", "inventory", "tasks", "farms")


@dataclass(frozen=True, slots=True)
class FarmTable:
    """A table with rows of a farm.

    :ivar columns: but for those that a database fills in by itself
    :ivar farm: the column that names the farm; None where rows belong to it through `parent`
    :ivar key: the column that other tables refer to
    :ivar refers: columns that hold keys of the tables that go along
    :ivar parent: column and table through which rows without a farm belong to it
    """

    name: str
    columns: tuple[str, ...]
    farm: str | None
    key: str
    refers: frozenset[str]
    parent: tuple[str, str] | None


def tables() -> tuple[FarmTable, ...]:
    """Return the tables that go along, by name."""
    found = [model for model in apps.get_models(include_auto_created=True) if _goes_along(model)]
    names = {model._meta.db_table for model in found}
    return tuple(sorted((_table(model, names) for model in found), key=lambda one: one.name))


def _goes_along(model: type[models.Model]) -> bool:
    meta = model._meta
    if meta.app_label not in APPS or meta.db_table in STAYS or meta.db_table.startswith("farms_person"):
        return False
    return meta.db_table != "farms_farm"


def _table(model: type[models.Model], names: set[str]) -> FarmTable:
    fields = model._meta.local_concrete_fields
    farm = next((field.attname for field in fields if field.name == "farm"), None)
    refers = [
        (field.attname, field.related_model._meta.db_table)
        for field in fields
        if isinstance(field, models.ForeignKey) and field.name != "farm"
    ]
    inner = [(column, table) for column, table in refers if table in names]
    assert model._meta.pk is not None
    return FarmTable(
        name=model._meta.db_table,
        columns=tuple(field.attname for field in fields if not field.has_db_default()),
        farm=farm,
        key=model._meta.pk.attname,
        refers=frozenset(column for column, _ in inner),
        parent=None if farm else inner[0],
    )
