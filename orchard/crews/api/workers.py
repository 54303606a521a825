"""The addresses of workers and what proves that they may be sent."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from typing import Any

from django.db.models import QuerySet
from django.urls import path
from django.utils.translation import gettext as _
from rest_framework import serializers

from orchard.api.fields import (
    ArchivedQuery,
    Day,
    Id,
    Input,
    Shown,
    Text,
    Word,
    YesNo,
)
from orchard.api.refusals import Fault, NotThere
from orchard.crews import queries, services
from orchard.crews.models import Qualification, Worker
from orchard.farms.actors import Role
from orchard.farms.endpoint import Endpoint
from orchard.farms.resources import Changing, Making, PutAway, Removing


class WorkerShown(Shown):
    name = serializers.CharField()
    adult = serializers.BooleanField()
    language = serializers.CharField()
    phone = serializers.SerializerMethodField(help_text="left out for crew members who look at others")
    may_handle = serializers.SerializerMethodField(help_text="adult, and handler training valid today")
    archived = serializers.BooleanField()

    def get_phone(self, row: Worker) -> str | None:
        return row.phone if _may_see(self.context["by"], row) else None

    def get_may_handle(self, row: Worker) -> bool:
        return row.adult and not row.archived and bool(row.trained)  # type: ignore[attr-defined]


def _may_see(by: Any, worker: Worker) -> bool:
    return by.role != Role.CREW_MEMBER or by.worker == worker.id


class WorkerInput(Input):
    id = Id(made_here=True, required=False)
    name = Text(max_length=200)
    adult = YesNo()
    language = Word(["en", "es"], required=False)
    phone = Text(max_length=40, required=False, allow_null=True)


class WorkerChange(WorkerInput):
    id = None  # type: ignore[assignment]
    archived = YesNo(required=False)


class WorkerQuery(ArchivedQuery):
    name = Text(required=False)
    qualification_expires_before = Day(
        required=False, help_text="those with one that runs out before this day"
    )


class _Workers(Endpoint):
    resource = "worker"
    shown = WorkerShown

    def today(self) -> dt.date:
        """Return the day it is on the farm."""
        return self.now.astimezone(zoneinfo.ZoneInfo(self.farm.zone)).date()

    def trained(self) -> QuerySet[Worker]:
        """Return the farm's workers with whether their training is valid today."""
        return queries.with_training(queries.workers(farm=self.farm), on=self.today())


class Workers(_Workers, PutAway):
    """Who works on the farm."""

    asked = WorkerInput
    query = WorkerQuery

    def all_rows(self) -> QuerySet[Worker]:
        return self.trained()

    def rows(
        self, *, qualification_expires_before: dt.date | None = None, **filters: Any
    ) -> QuerySet[Worker]:
        rows = super().rows(**filters)
        if qualification_expires_before is not None:
            rows = rows.filter(qualifications__expires_on__lt=qualification_expires_before).distinct()
        return rows

    def create(self, **values: Any) -> Worker:
        made = services.add_worker(farm=self.farm, by=self.by, now=self.now, **values)
        return self.trained().get(key=made.key)


class WorkerHere(_Workers, Changing):
    """One worker."""

    asked = WorkerChange

    def rows(self) -> QuerySet[Worker]:
        return self.trained()

    def change(self, row: Worker, **values: Any) -> Worker:
        return services.change_worker(worker=row, by=self.by, now=self.now, **values)


class QualificationShown(Shown):
    worker = Id()
    kind = serializers.ChoiceField(choices=["handler_training", "respirator_fit_test", "licence"])
    obtained_on = serializers.DateField()
    expires_on = serializers.DateField(help_text="valid through this day")
    number = serializers.CharField(allow_null=True)
    given_by = serializers.CharField(allow_null=True)


class QualificationInput(Input):
    id = Id(made_here=True, required=False)
    kind = Word(["handler_training", "respirator_fit_test", "licence"])
    obtained_on = Day()
    expires_on = Day()
    number = Text(max_length=60, required=False, allow_null=True)
    given_by = Text(max_length=200, required=False, allow_null=True)


class QualificationChange(QualificationInput):
    id = None  # type: ignore[assignment]


class BelowWorker(Endpoint):
    """What stands below one worker. A crew member sees their own only."""

    resource = "qualification"
    shown = QualificationShown

    def find(self, **kwargs: Any) -> None:
        found = queries.workers(farm=self.farm).filter(id=kwargs["worker"]).first()
        if found is None or not _may_see(self.by, found):
            raise NotThere(Fault("not_found", _("there is no such worker for you")))
        self.worker = found
        super().find(**kwargs)

    def rows(self, **filters: Any) -> QuerySet[Qualification]:
        """Return the worker's qualifications."""
        return queries.qualifications(worker=self.worker).filter(**filters)


class Qualifications(BelowWorker, Making):
    """A worker's trainings, tests and licences."""

    asked = QualificationInput

    def create(self, **values: Any) -> Qualification:
        return services.add_qualification(worker=self.worker, by=self.by, now=self.now, **values)


class QualificationHere(BelowWorker, Changing, Removing):
    """One training, test or licence."""

    asked = QualificationChange

    def change(self, row: Qualification, **values: Any) -> Qualification:
        return services.change_qualification(qualification=row, by=self.by, now=self.now, **values)


_AT = "farms/<uuid:farm>/"
urlpatterns = [
    path(f"{_AT}workers", Workers.as_view()),
    path(f"{_AT}workers/<uuid:id>", WorkerHere.as_view()),
    path(f"{_AT}workers/<uuid:worker>/qualifications", Qualifications.as_view()),
    path(f"{_AT}workers/<uuid:worker>/qualifications/<uuid:id>", QualificationHere.as_view()),
]
