"""The storekeeper's questions: loads that took more than the book had; what was found out is written down."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _
from uuid6 import uuid7

from orchard.inventory import amounts, queries
from orchard.inventory.models import Shortage
from orchard.tasks import queries as tasks
from orchard.tasks.models import ApplicationRecord, Load
from orchard.tasks.papers import wording
from orchard.web.crew.work import Form
from orchard.web.doors import Visit
from orchard.web.fields import Field


@dataclass(frozen=True, slots=True)
class Question:
    """One load or record that took more than the book had, and the form for what was found out.

    :ivar cause: what took it, where it was no load
    :ivar form: None for who may not answer
    """

    row: Shortage
    missing: str
    load: Load | None
    cause: str
    at: str
    form: Form | None


def questions(visit: Visit, *, refused: Form | None = None) -> list[Question]:
    """Return the questions that nobody has answered yet, the oldest first, and one that was just refused."""
    rows = list(queries.shortages(farm=visit.farm).filter(answered_at=None).order_by("created_at", "id"))
    loads, records = _loads(visit, rows), tasks.records_that_took(farm=visit.farm, shortages=rows)
    return [_question(visit, row, loads.get(row.load), records.get(row.load), refused) for row in rows]


def _loads(visit: Visit, rows: Sequence[Shortage]) -> dict[uuid.UUID, Load]:
    found = tasks.all_loads(farm=visit.farm).filter(id__in=[row.load for row in rows])
    return {one.id: one for one in found}


def _question(
    visit: Visit, row: Shortage, load: Load | None, record: ApplicationRecord | None, refused: Form | None
) -> Question:
    form = None
    if visit.may("shortage", "answer"):
        form = refused if refused and refused.action == name_of(row) else _empty(row)
    return Question(
        row=row,
        missing=wording.quantity(amounts.shown_stock(row.missing_base, row.product), 3),
        load=load,
        cause=_cause(record) if record else "",
        at=wording.moment(load.at if load else row.created_at, farm=visit.farm),
        form=form,
    )


def _cause(record: ApplicationRecord) -> str:
    return _("from the correction of a record") if record.kind == "correction" else _("from a record")


def _empty(row: Shortage) -> Form:
    return Form(name_of(row), asked_of(), [], [], str(uuid7()))


def name_of(row: Shortage) -> str:
    """Return the name of the form of one question."""
    return f"answer-{row.id}"


def asked_of() -> list[Field]:
    """Return what an answer tells."""
    return [Field("answer", _("What did you find?"), "long", required=True)]
