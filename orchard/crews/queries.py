"""Reading workers, crews, sprayers, and whether they may be used."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

from django.db.models import Exists, Max, OuterRef, QuerySet

from orchard.crews.models import Calibration, Crew, Qualification, Sprayer, Worker
from orchard.farms.models import Farm

HANDLER_TRAINING, FIT_TEST, LICENCE = "handler_training", "respirator_fit_test", "licence"


def workers(*, farm: Farm) -> QuerySet[Worker]:
    """Return the farm's workers."""
    return Worker.objects.for_farm(farm).select_related("farm")


def with_training(rows: QuerySet[Worker], *, on: dt.date) -> QuerySet[Worker]:
    """Return the same workers, each with `trained`: whether handler training is valid on a day."""
    return rows.annotate(trained=Exists(_valid(on).filter(worker=OuterRef("pk"))))


def _valid(on: dt.date, kind: str = HANDLER_TRAINING) -> QuerySet[Qualification]:
    return Qualification.objects.filter(kind=kind, obtained_on__lte=on, expires_on__gte=on)


def has(*, worker: Worker, kind: str, on: dt.date) -> bool:
    """Return whether a qualification of a kind is valid for a worker on a day, both its ends included."""
    return _valid(on, kind).filter(worker=worker).exists()


def may_handle(*, worker: Worker, on: dt.date, also: Iterable[str] = ()) -> bool:
    """Return whether a worker may mix and spray on a day: an adult, with handler training valid that day.

    :param also: kinds of qualification that are wanted besides
    Source: Worker Protection Standard, 40 CFR 170.309(c) and 170.501, US EPA, 2024.
    """
    if not worker.adult or worker.archived:
        return False
    return all(has(worker=worker, kind=kind, on=on) for kind in (HANDLER_TRAINING, *also))


def qualifications(*, worker: Worker) -> QuerySet[Qualification]:
    """Return a worker's trainings, tests and licences."""
    return (
        Qualification.objects.for_farm(worker.farm)
        .filter(worker=worker)
        .select_related("farm", "worker__farm")
    )


def crews(*, farm: Farm) -> QuerySet[Crew]:
    """Return the farm's crews with their people."""
    return Crew.objects.for_farm(farm).select_related("farm", "lead").prefetch_related("members")


def sprayers(*, farm: Farm) -> QuerySet[Sprayer]:
    """Return the farm's sprayers, each with `due_on`: until when its latest calibration holds."""
    return Sprayer.objects.for_farm(farm).select_related("farm").annotate(due_on=Max("calibrations__due_on"))


def plain_sprayers(*, farm: Farm) -> QuerySet[Sprayer]:
    """Return the farm's sprayers without what is summed over their calibrations, to lock."""
    return Sprayer.objects.for_farm(farm).select_related("farm")


def calibrations(*, sprayer: Sprayer) -> QuerySet[Calibration]:
    """Return what a sprayer gave when it was measured."""
    return (
        Calibration.objects.for_farm(sprayer.farm)
        .filter(sprayer=sprayer)
        .select_related("farm", "sprayer__farm", "operator")
    )


def calibration_in_force(*, sprayer: Sprayer, on: dt.date) -> Calibration | None:
    """Return the latest calibration that may be relied on that day; None where it is missing or due."""
    rows = calibrations(sprayer=sprayer).filter(on__lte=on, due_on__gte=on)
    return rows.order_by("-on", "-created_at", "-id").first()
