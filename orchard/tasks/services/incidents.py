"""Telling of a danger or a mishap: everybody may, at once, and nobody can take it away."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django.db import transaction

from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.farms.models import Farm
from orchard.tasks.models import Incident


def add_incident(
    *,
    farm: Farm,
    by: Actor,
    now: dt.datetime,
    id: uuid.UUID | None = None,
    at: dt.datetime | None = None,
    **told: Any,
) -> Incident:
    """Write down what went wrong, whatever state its work order is in."""
    with transaction.atomic():
        made = journal.create(Incident, farm=farm, by=by, now=now, id=id, at=at or now, **told)
        journal.later("incident.created", farm=farm, subject=made.id, by=by, now=now)
    return made
