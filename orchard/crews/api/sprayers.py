"""The addresses of sprayers and their calibrations."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.db.models import QuerySet
from django.urls import path
from django.utils.translation import gettext as _
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
from orchard.crews.models import DROPLETS, SPRAYER_KINDS, Calibration, Sprayer
from orchard.farms.endpoint import READS, Endpoint
from orchard.farms.resources import Changing, Making, PutAway, Single

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
    cleaned_at = Moment(allow_null=True, help_text="end of the last wash that is on file")
    nozzle = serializers.CharField(
        allow_null=True, help_text="what is fitted now: a calibration with another one does not hold"
    )
    droplets = serializers.ChoiceField(
        choices=DROPLETS,
        allow_null=True,
        help_text="how large; others stay further away from fine ones, and where nobody said",
    )
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
    nozzle = Text(max_length=100, required=False, allow_null=True)
    droplets = Word(DROPLETS, required=False, allow_null=True)


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
            raise wrong(_("this lies in the future: say when it was done"), "time_in_future")
        return value


class BelowSprayer(Endpoint):
    """What stands below one sprayer."""

    resource = "calibration"
    shown = CalibrationShown

    def find(self, **kwargs: Any) -> None:
        found = queries.plain_sprayers(farm=self.farm).filter(id=kwargs["sprayer"]).first()
        if found is None:
            raise NotThere(Fault("not_found", _("there is no such sprayer on this farm")))
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
    path(f"{_AT}sprayers", Sprayers.as_view()),
    path(f"{_AT}sprayers/<uuid:id>", SprayerHere.as_view()),
    path(f"{_AT}sprayers/<uuid:sprayer>/calibrations", Calibrations.as_view()),
    path(f"{_AT}sprayers/<uuid:sprayer>/calibrations/<uuid:id>", CalibrationHere.as_view()),
]
