"""The addresses of workers, crews, sprayers and what proves that they may be used."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from typing import Any

from django.db.models import QuerySet
from django.urls import path
from rest_framework import serializers

from orchard.api.fields import (
    Amount,
    ArchivedQuery,
    Day,
    DecimalText,
    Id,
    Input,
    Listed,
    Moment,
    Reference,
    Shown,
    Text,
    Word,
    YesNo,
    wrong,
)
from orchard.api.refusals import Fault, NotThere
from orchard.crews import queries, services
from orchard.crews.models import SPRAYER_KINDS, Calibration, Crew, Qualification, Sprayer, Worker
from orchard.farms.actors import Role
from orchard.farms.endpoint import READS, Changing, Endpoint, Making, PutAway, Removing, Single


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
            raise NotThere(Fault("not_found", "there is no such worker for you"))
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


class CrewShown(Shown):
    name = serializers.CharField()
    members = serializers.SerializerMethodField(help_text="worker ids")
    lead = Id(allow_null=True)
    archived = serializers.BooleanField()

    def get_members(self, row: Crew) -> list[str]:
        return sorted(str(worker.id) for worker in row.members.all())


class CrewInput(Input):
    id = Id(made_here=True, required=False)
    name = Text(max_length=200)
    members = Listed(child=Reference(queries.workers), min_length=1, help_text="worker ids, one at least")
    lead = Reference(queries.workers, required=False, allow_null=True)


class CrewChange(CrewInput):
    id = None  # type: ignore[assignment]
    archived = YesNo(required=False)


class Crews(PutAway):
    """People who go out together."""

    resource = "crew"
    shown = CrewShown
    asked = CrewInput

    def all_rows(self) -> QuerySet[Crew]:
        return queries.crews(farm=self.farm)

    def create(self, **values: Any) -> Crew:
        return services.add_crew(farm=self.farm, by=self.by, now=self.now, **values)


class CrewHere(Changing, Removing):
    """One crew."""

    resource = "crew"
    shown = CrewShown
    asked = CrewChange

    def rows(self) -> QuerySet[Crew]:
        return queries.crews(farm=self.farm)

    def change(self, row: Crew, **values: Any) -> Crew:
        changed = services.change_crew(crew=row, by=self.by, now=self.now, **values)
        return queries.crews(farm=self.farm).get(key=changed.key)


RATES = ("volume/volume", "mass/volume")


class SprayerShown(Shown):
    name = serializers.CharField()
    kind = serializers.ChoiceField(choices=SPRAYER_KINDS)
    tank = Amount(allow_null=True)
    dial_max = Amount(allow_null=True)
    dial_step = Amount(allow_null=True)
    jar = Amount(allow_null=True)
    ratio = DecimalText(allow_null=True)
    materials = serializers.ListField(child=serializers.CharField())
    dedicated_to = serializers.ChoiceField(choices=["herbicide"], allow_null=True)
    residue = serializers.ListField(
        child=serializers.CharField(), help_text="active ingredients of the last load"
    )
    last_load_at = Moment(allow_null=True)
    calibration_due = serializers.SerializerMethodField(help_text="until when the latest calibration holds")
    archived = serializers.BooleanField()

    def get_calibration_due(self, row: Sprayer) -> dt.date | None:
        return getattr(row, "due_on", None)


class SprayerInput(Input):
    id = Id(made_here=True, required=False)
    name = Text(max_length=200)
    kind = Word(SPRAYER_KINDS)
    tank = Amount("volume", required=False, allow_null=True)
    dial_max = Amount(*RATES, required=False, allow_null=True)
    dial_step = Amount(*RATES, required=False, allow_null=True)
    jar = Amount("volume", required=False, allow_null=True)
    ratio = DecimalText(least="1", most="100000", required=False, allow_null=True)
    materials = Listed(child=Text(max_length=60), required=False)
    dedicated_to = Word(["herbicide"], required=False, allow_null=True)


class SprayerChange(SprayerInput):
    id = None  # type: ignore[assignment]
    archived = YesNo(required=False)


class SprayerQuery(ArchivedQuery):
    name = Text(required=False)
    kind = Word(SPRAYER_KINDS, required=False)
    calibration_due_before = Day(required=False, source="due_on__lt")


class Sprayers(PutAway):
    """What is sprayed with."""

    resource = "sprayer"
    shown = SprayerShown
    asked = SprayerInput
    query = SprayerQuery

    def all_rows(self) -> QuerySet[Sprayer]:
        return queries.sprayers(farm=self.farm)

    def create(self, **values: Any) -> Sprayer:
        return services.add_sprayer(farm=self.farm, by=self.by, now=self.now, **values)


class SprayerHere(Changing):
    """One sprayer."""

    resource = "sprayer"
    shown = SprayerShown
    asked = SprayerChange

    def rows(self) -> QuerySet[Sprayer]:
        if self.request.method in READS:
            return queries.sprayers(farm=self.farm)
        return queries.plain_sprayers(farm=self.farm)

    def change(self, row: Sprayer, **values: Any) -> Sprayer:
        changed = services.change_sprayer(sprayer=row, by=self.by, now=self.now, **values)
        return queries.sprayers(farm=self.farm).get(key=changed.key)


class CalibrationShown(Shown):
    sprayer = Id()
    on = serializers.DateField()
    due_on = serializers.DateField(help_text="may be relied on through this day")
    operator = Id(allow_null=True)
    nozzle = serializers.CharField(allow_null=True)
    pressure = Amount(allow_null=True)
    flow = Amount(allow_null=True)
    volume_per_tree = Amount(allow_null=True)
    volume_per_area = Amount(allow_null=True)
    note = serializers.CharField(allow_null=True)


class CalibrationInput(Input):
    id = Id(made_here=True, required=False)
    on = Day()
    due_on = Day()
    operator = Reference(queries.workers, required=False, allow_null=True)
    nozzle = Text(max_length=100, required=False, allow_null=True)
    pressure = Amount("pressure", required=False, allow_null=True)
    flow = Amount("volume/time", required=False, allow_null=True)
    volume_per_tree = Amount("volume", "volume/tree", required=False, allow_null=True)
    volume_per_area = Amount("volume/area", required=False, allow_null=True)
    note = Text(required=False, allow_null=True)

    def validate_on(self, value: dt.date) -> dt.date:
        if value > self.context["now"].astimezone(self.context["zone"]).date():
            raise wrong("this lies in the future: say when it was done", "time_in_future")
        return value


class BelowSprayer(Endpoint):
    """What stands below one sprayer."""

    resource = "calibration"
    shown = CalibrationShown

    def find(self, **kwargs: Any) -> None:
        found = queries.plain_sprayers(farm=self.farm).filter(id=kwargs["sprayer"]).first()
        if found is None:
            raise NotThere(Fault("not_found", "there is no such sprayer on this farm"))
        self.sprayer = found
        super().find(**kwargs)

    def rows(self, **filters: Any) -> QuerySet[Calibration]:
        """Return the sprayer's calibrations."""
        return queries.calibrations(sprayer=self.sprayer).filter(**filters)


class Calibrations(BelowSprayer, Making):
    """What a sprayer gave when it was measured; never changed."""

    asked = CalibrationInput

    def create(self, **values: Any) -> Calibration:
        return services.add_calibration(sprayer=self.sprayer, by=self.by, now=self.now, **values)


class CalibrationHere(BelowSprayer, Single):
    """One calibration."""


_AT = "farms/<uuid:farm>/"
urlpatterns = [
    path(f"{_AT}workers", Workers.as_view()),
    path(f"{_AT}workers/<uuid:id>", WorkerHere.as_view()),
    path(f"{_AT}workers/<uuid:worker>/qualifications", Qualifications.as_view()),
    path(f"{_AT}workers/<uuid:worker>/qualifications/<uuid:id>", QualificationHere.as_view()),
    path(f"{_AT}crews", Crews.as_view()),
    path(f"{_AT}crews/<uuid:id>", CrewHere.as_view()),
    path(f"{_AT}sprayers", Sprayers.as_view()),
    path(f"{_AT}sprayers/<uuid:id>", SprayerHere.as_view()),
    path(f"{_AT}sprayers/<uuid:sprayer>/calibrations", Calibrations.as_view()),
    path(f"{_AT}sprayers/<uuid:sprayer>/calibrations/<uuid:id>", CalibrationHere.as_view()),
]
