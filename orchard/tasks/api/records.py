"""The addresses of application records: what the law asks for, frozen, corrected openly."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.urls import path

from orchard.api.fields import Id, Input, Text
from orchard.farms.resources import Acting, Making, Single
from orchard.tasks import queries
from orchard.tasks.api.record_fields import RecordFields, RecordInput, RecordQuery, RecordShown, as_told
from orchard.tasks.models import ApplicationRecord
from orchard.tasks.services import records


class Records(Making):
    """What was put on which block; those written on paper are entered here."""

    resource = "application_record"
    shown = RecordShown
    asked = RecordInput
    query = RecordQuery

    def rows(self, **filters: Any) -> QuerySet[ApplicationRecord]:
        rows = queries.records(farm=self.farm, **filters)
        return rows.distinct() if any(name.startswith("applied") for name in filters) else rows

    def create(self, **values: Any) -> ApplicationRecord:
        told = as_told(values)
        block = told["block"]
        spray = told.setdefault("spray", {"total": None, "area": None, "trees": None})
        spray["area"] = spray["area"] or (block.area.as_json() if block.area else None)
        return records.add_from_paper(farm=self.farm, by=self.by, now=self.now, **told)


class RecordHere(Single):
    """One record."""

    resource = "application_record"
    shown = RecordShown

    def rows(self) -> QuerySet[ApplicationRecord]:
        return queries.records(farm=self.farm)


class RecordAction(Acting, RecordHere):
    """What is done with a record; the answer is the new one."""

    made_status = 201

    @property
    def responses(self) -> Any:
        return {201: RecordShown}


class Changes(RecordFields):
    """The fields that were wrong."""

    def get_fields(self) -> Any:
        fields = super().get_fields()
        for field in fields.values():
            field.required = False
        return fields


class CorrectInput(Input):
    id = Id(made_here=True, required=False, help_text="the new record's")
    reason = Text()
    changes = Changes()


class Correct(RecordAction):
    """Write a new record in place of one that was wrong; the old one stays."""

    action = "correct"
    asked = CorrectInput

    def do(self, row: ApplicationRecord, **values: Any) -> ApplicationRecord:
        values["changes"] = as_told(values["changes"])
        return records.correct(record=row, by=self.by, now=self.now, **values)


class VoidInput(Input):
    id = Id(made_here=True, required=False, help_text="the new record's")
    reason = Text()


class Void(RecordAction):
    """Take back a record that should never have been: lots go back, dates are worked out again."""

    action = "void"
    asked = VoidInput

    def do(self, row: ApplicationRecord, **values: Any) -> ApplicationRecord:
        return records.void(record=row, by=self.by, now=self.now, **values)


AT = "farms/<uuid:farm>/application-records"
urlpatterns = [
    path(AT, Records.as_view()),
    path(f"{AT}/<uuid:id>", RecordHere.as_view()),
    path(f"{AT}/<uuid:id>/actions/correct", Correct.as_view()),
    path(f"{AT}/<uuid:id>/actions/void", Void.as_view()),
]
