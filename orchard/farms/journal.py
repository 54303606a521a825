"""How a row of a farm is written: made, changed or deleted, with its audit entry and its change.

Everything here runs in the caller's transaction, so that data, audit, change feed and outbox agree.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable
from decimal import Decimal
from functools import lru_cache
from typing import Any, TypeVar

from django.db import models
from django.utils.translation import gettext as _

from mixing.quantities import Quantity, plain
from orchard.api import statements
from orchard.api.refusals import Conflict, Fault
from orchard.api.statements import Statement
from orchard.farms import request_ids
from orchard.farms.actors import Actor
from orchard.farms.models import AuditEntry, Change, Farm, OutboxEvent
from orchard.farms.rows import FarmRow, new_id

Row = TypeVar("Row", bound=FarmRow)
BOOKKEEPING = frozenset(
    {
        "key",
        "farm",
        "created_at",
        "updated_at",
        "created_by_kind",
        "created_by_id",
        "created_by_name",
        "version",
    }
)
SECRETS = frozenset({"digest", "password", "secret", "old_secret"})


def create(
    model: type[Row],
    /,
    *,
    farm: Farm,
    by: Actor,
    now: dt.datetime,
    id: uuid.UUID | None = None,
    seal: Callable[[Row], None] | None = None,
    **values: Any,
) -> Row:
    """Make a row with its audit entry and its change.

    :param id: the id that a client made for it; a fresh UUIDv7 if absent
    :param seal: sets what follows from all other columns, just before the row is written
    :raises Conflict: `id_taken`
    """
    row = _made(model, farm=farm, by=by, now=now, id=id, **values)
    if seal is not None:
        seal(row)
    statements.run(statements.insert(row), *_of_created(row, by=by, now=now))
    return row


def insert(
    model: type[Row],
    /,
    *,
    farm: Farm,
    by: Actor,
    now: dt.datetime,
    id: uuid.UUID | None = None,
    **values: Any,
) -> Row:
    """Make a row without a word in the journals; the caller says `created` when it is whole.

    :raises Conflict: `id_taken`
    """
    row = _made(model, farm=farm, by=by, now=now, id=id, **values)
    row.save(force_insert=True)
    return row


def _made(
    model: type[Row],
    /,
    *,
    farm: Farm,
    by: Actor,
    now: dt.datetime,
    id: uuid.UUID | None,
    **values: Any,
) -> Row:
    key = own = id or new_id()
    if id is not None and _is_taken(model, farm=farm, id=id):
        key = new_id()
    return model(
        key=key,
        id=own,
        farm=farm,
        created_at=now,
        updated_at=now,
        created_by_kind=by.kind,
        created_by_id=by.id,
        created_by_name=by.name,
        **values,
    )


def _is_taken(model: type[FarmRow], *, farm: Farm, id: uuid.UUID) -> bool:
    """Return whether another farm has this id as its key.

    :raises Conflict: `id_taken` on this farm
    """
    rows = model._default_manager.filter(models.Q(farm=farm, id=id) | models.Q(key=id))
    found = list(rows.values_list("farm", "id"))
    if (farm.id, id) in found:
        raise Conflict(Fault("id_taken", _("this id is taken: make a new one"), "/id"))
    return bool(found)


def created(row: FarmRow | Farm, *, by: Actor, now: dt.datetime) -> None:
    """Write that a row was made."""
    statements.run(*_of_created(row, by=by, now=now))


def _of_created(row: FarmRow | Farm, *, by: Actor, now: dt.datetime) -> tuple[Statement, Statement]:
    return _audit(row, by=by, now=now, action="create", after=snapshot(row)), _change(row, "created", now=now)


def change(
    row: FarmRow | Farm,
    *,
    by: Actor,
    now: dt.datetime,
    action: str = "update",
    reason: str | None = None,
    as_change: str = "updated",
    **values: Any,
) -> bool:
    """Set columns of a row that the caller has locked; write what changed. Return whether anything did.

    An action is always written; an update that changes nothing is not.
    """
    before = snapshot(row)
    for name, value in values.items():
        setattr(row, name, value)
    after = snapshot(row)
    changed = [name for name in after if before[name] != after[name]]
    if not changed and action == "update":
        return False
    row.version += 1
    row.updated_at = now
    audit = _audit(
        row,
        by=by,
        now=now,
        action=action,
        reason=reason,
        before={name: before[name] for name in changed},
        after={name: after[name] for name in changed},
    )
    written = statements.update(row, ("version", "updated_at", *values))
    statements.run(written, audit, _change(row, as_change, now=now))
    return True


def touch(row: FarmRow, *, now: dt.datetime, **values: Any) -> None:
    """Set what follows from another row (a block's re-entry, a lot's balance): a new version, no audit."""
    for name, value in values.items():
        setattr(row, name, value)
    row.version += 1
    row.updated_at = now
    written = statements.update(row, ("version", "updated_at", *values))
    statements.run(written, _change(row, "updated", now=now))


def delete(row: FarmRow, *, by: Actor, now: dt.datetime) -> None:
    """Delete a row that nothing refers to.

    :raises Conflict: `in_use`
    """
    before = snapshot(row)
    try:
        row.delete()
    except (models.ProtectedError, models.RestrictedError):
        raise Conflict(
            Fault(
                "in_use",
                _("something refers to this: put it away with archived: true instead of deleting it"),
            )
        ) from None
    audit = _audit(row, by=by, now=now, action="delete", before=before)
    statements.run(audit, _change(row, "deleted", now=now))


def refused(
    farm: Farm,
    *,
    by: Actor,
    now: dt.datetime,
    action: str,
    resource: str,
    resource_id: uuid.UUID | None,
    codes: list[str],
    reason: str | None = None,
) -> None:
    """Write that an action was refused, and with which codes."""
    entry = _entry(
        farm,
        by=by,
        now=now,
        action=action,
        resource=resource,
        resource_id=resource_id,
        reason=reason,
        outcome="refused",
        codes=codes,
    )
    statements.run(entry)


def later(kind: str, *, farm: Farm, subject: uuid.UUID, by: Actor, now: dt.datetime) -> uuid.UUID:
    """Leave work for the background: a row in the outbox, seen only if this transaction commits.

    :param kind: what happened, such as `load.recorded`; `scheduling.outbox` knows which job it is for
    :param subject: the public id of the row it is about
    Returns the event's id.
    """
    id = new_id()
    event = {
        "id": id,
        "farm_id": farm.pk,
        "kind": kind,
        "subject": subject,
        "by": {**by.as_json(), "role": by.role, "request_id": request_ids.current.get()},
        "created_at": now,
        "next_at": now,
    }
    statements.run(statements.add(OutboxEvent, event))
    return id


def snapshot(row: models.Model) -> dict[str, Any]:
    """Return the columns of a row as JSON, references by their public id, secrets left out."""
    return {name: as_json(getattr(row, name)) for name in _told(type(row))}


@lru_cache(maxsize=64)
def _told(model: type[models.Model]) -> tuple[str, ...]:
    names = [field.name for field in model._meta.concrete_fields]
    return tuple(name for name in names if name not in BOOKKEEPING and name not in SECRETS)


AS_THEY_ARE = frozenset({str, int, bool, type(None), dict, list})


def as_json(value: Any) -> Any:
    """Return a column's value as JSON writes it."""
    if type(value) in AS_THEY_ARE:
        return value
    if isinstance(value, Quantity):
        return value.as_json()
    if isinstance(value, Decimal):
        return plain(value, 20)
    if isinstance(value, (dt.datetime, dt.date)):
        return value.isoformat()
    if isinstance(value, uuid.UUID):
        return str(value)
    if isinstance(value, models.Model):
        return str(getattr(value, "id", value.pk))
    return value


def _audit(row: FarmRow | Farm, **entry: Any) -> Statement:
    return statements.add(AuditEntry, audit_columns(row, **entry))


def audit_columns(row: FarmRow | Farm, **entry: Any) -> dict[str, Any]:
    """Return the columns of the audit entry of what is done to a row, not yet written."""
    return _columns(row.farm, resource=row.resource, resource_id=row.id, **entry)


def _entry(farm: Farm, **entry: Any) -> Statement:
    return statements.add(AuditEntry, _columns(farm, **entry))


def _columns(farm: Farm, *, by: Actor, now: dt.datetime, **entry: Any) -> dict[str, Any]:
    return {
        "id": new_id(),
        "farm_id": farm.pk,
        "at": now,
        "by_kind": by.kind,
        "by_id": by.id,
        "by_name": by.name,
        "by_role": str(by.role),
        "before": None,
        "after": None,
        "reason": None,
        "outcome": "done",
        "codes": [],
        "request_id": request_ids.current.get(),
        **entry,
    }


def _change(row: FarmRow | Farm, kind: str, *, now: dt.datetime) -> Statement:
    return statements.add(Change, change_columns(row, kind, now=now))


def change_columns(row: FarmRow | Farm, kind: str, *, now: dt.datetime) -> dict[str, Any]:
    """Return the columns of the line of the change feed for a row, not yet written."""
    return {
        "farm_id": row.farm.pk,
        "at": now,
        "resource": row.resource,
        "resource_id": row.id,
        "change": kind,
        "etag": row.etag,
        "path": row.path,
    }
