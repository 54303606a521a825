"""The addresses of application records: what the law asks for, frozen, corrected openly."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.urls import path
from rest_framework.request import Request
from rest_framework.response import Response

from orchard.api.fields import Id, Input, Text
from orchard.farms.resources import Making, Single
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


class RecordAction(RecordHere):
    """What is done with a record; the answer is the new one."""

    http_method_names = ["post", "options"]

    def post(self, request: Request, **kwargs: Any) -> Response:
        """Do it."""
        return self.once(self._act)

    def _act(self) -> Response:
        self.match(self.thing)
        return self.answer(self.do(self.thing, **self.asked_for()), 201)

    def do(self, record: ApplicationRecord, **values: Any) -> ApplicationRecord:
        """Do it with one call down; return the new record."""
        raise NotImplementedError


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

    verbs = {"POST": "correct"}
    asked = CorrectInput

    @property
    def responses(self) -> Any:
        return {201: RecordShown}

    def do(self, record: ApplicationRecord, **values: Any) -> ApplicationRecord:
        values["changes"] = as_told(values["changes"])
        return records.correct(record=record, by=self.by, now=self.now, **values)


class VoidInput(Input):
    id = Id(made_here=True, required=False, help_text="the new record's")
    reason = Text()


class Void(RecordAction):
    """Take back a record that should never have been: lots go back, dates are worked out again."""

    verbs = {"POST": "void"}
    asked = VoidInput

    @property
    def responses(self) -> Any:
        return {201: RecordShown}

    def do(self, record: ApplicationRecord, **values: Any) -> ApplicationRecord:
        return records.void(record=record, by=self.by, now=self.now, **values)


AT = "farms/<uuid:farm>/application-records"
urlpatterns = [
    path(AT, Records.as_view()),
    path(f"{AT}/<uuid:id>", RecordHere.as_view()),
    path(f"{AT}/<uuid:id>/actions/correct", Correct.as_view()),
    path(f"{AT}/<uuid:id>/actions/void", Void.as_view()),
]
