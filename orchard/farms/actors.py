"""Who is doing something: a person at a page or a token over HTTP, with the role it has on this farm."""

from __future__ import annotations

import uuid
from dataclasses import dataclass, field
from enum import StrEnum


class Role(StrEnum):
    """What a member or a token may be on a farm."""

    OWNER = "owner"
    MANAGER = "manager"
    STOREKEEPER = "storekeeper"
    CREW_LEAD = "crew_lead"
    CREW_MEMBER = "crew_member"
    ADVISER = "adviser"
    INTEGRATION = "integration"


@dataclass(frozen=True, slots=True)
class Actor:
    """The one who acts: kept with what was done.

    :ivar kind: `person`, `token`, or `system` for what the workers find by themselves
    :ivar worker: public id of the worker that this member or token is, where known
    """

    kind: str
    id: uuid.UUID | None
    name: str
    role: Role
    scopes: frozenset[str] = field(default_factory=frozenset)
    language: str = "en"
    worker: uuid.UUID | None = None

    def as_json(self) -> dict[str, str | None]:
        """Return `{"kind", "id", "name"}` as `created_by` shows it."""
        return {"kind": self.kind, "id": str(self.id) if self.id else None, "name": self.name}


SYSTEM = Actor(kind="system", id=None, name="background work", role=Role.OWNER)
