"""Blocks of trees, what was seen in them, and the weather over them."""

from __future__ import annotations

from typing import Any

from django.db import models

from orchard.farms.columns import QuantityColumn
from orchard.farms.models import Farm
from orchard.farms.rows import FarmRow, FarmRows, may_be_archived, new_id


class Block(FarmRow):
    """A piece of ground with one crop on it, treated as one."""

    resource = "block"
    collection = "blocks"

    name = models.CharField(max_length=200)
    crop = models.CharField(max_length=60)
    cultivars = models.JSONField(default=list)
    outline = models.JSONField(null=True)
    area = QuantityColumn(null=True)
    row_spacing = QuantityColumn(null=True)
    tree_spacing = QuantityColumn(null=True)
    trees = models.PositiveIntegerField(null=True)
    height = QuantityColumn(null=True)
    canopy_width = QuantityColumn(null=True)
    planted_year = models.PositiveSmallIntegerField(null=True)
    harvest_from = models.DateField(null=True)
    computed = models.JSONField(default=list)
    archived = may_be_archived()
    re_entry_until = models.DateTimeField(null=True)
    harvest_not_before = models.DateField(null=True)
    last_application = models.UUIDField(null=True)
    """Public id of the application record; the record knows its block, not the other way round."""


class StageObservation(FarmRow):
    """The stage that somebody saw in a block on a day. A wrong one is answered by a new one."""

    resource = "stage_observation"
    collection = "stages"

    append_only = True

    block = models.ForeignKey(Block, on_delete=models.PROTECT, related_name="stages")
    bbch = models.PositiveSmallIntegerField()
    observed_on = models.DateField()
    leaf_drop_percent = models.DecimalField(max_digits=6, decimal_places=3, null=True)
    cultivar = models.CharField(max_length=100, null=True)
    observer = models.ForeignKey("crews.Worker", null=True, on_delete=models.PROTECT, related_name="+")
    note = models.TextField(null=True)

    class Meta(FarmRow.Meta):
        indexes = [models.Index(fields=("block", "-observed_on", "-created_at"), name="stages_latest_first")]
        constraints = [
            *FarmRow.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(bbch__gte=0, bbch__lte=99), name="a_stage_is_a_bbch_code_of_two_digits"
            ),
            models.CheckConstraint(
                condition=models.Q(leaf_drop_percent=None)
                | models.Q(leaf_drop_percent__gte=0, leaf_drop_percent__lte=100),
                name="leaf_drop_is_a_percentage",
            ),
        ]

    @property
    def path(self) -> str:
        """Where it is read, below its block."""
        return f"{self.block.path}/{self.collection}/{self.id}"


class ScoutingCount(FarmRow):
    """What a look for a pest or a disease found; nothing found is a result."""

    resource = "scouting_count"
    collection = "scouting"

    append_only = True

    block = models.ForeignKey(Block, on_delete=models.PROTECT, related_name="scouting")
    target = models.CharField(max_length=100)
    method = models.CharField(max_length=20)
    sample_size = models.PositiveIntegerField()
    count = models.PositiveIntegerField()
    untreated = models.BooleanField(default=False)
    """True for trees that were left untreated to compare with."""
    classes = models.JSONField(null=True)
    """`[{"rating", "count"}]` on a scale whose 0 is healthy, where they were rated."""
    observed_at = models.DateTimeField()
    cultivar = models.CharField(max_length=100, null=True)
    observer = models.ForeignKey("crews.Worker", null=True, on_delete=models.PROTECT, related_name="+")
    note = models.TextField(null=True)

    class Meta(FarmRow.Meta):
        constraints = [
            *FarmRow.Meta.constraints,
            models.CheckConstraint(condition=models.Q(sample_size__gte=1), name="a_sample_is_of_one_or_more"),
            models.CheckConstraint(
                condition=models.Q(method__in=["visual", "trap", "shoot_strikes", "beat_tray"]),
                name="a_scouting_method_is_known",
            ),
        ]

    @property
    def path(self) -> str:
        """Where it is read, below its block."""
        return f"{self.block.path}/{self.collection}/{self.id}"


class WeatherHour(models.Model):
    """One hour of weather at a station of the farm, observed or forecast; a later post replaces it."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    farm = models.ForeignKey(Farm, on_delete=models.PROTECT, related_name="+")
    station = models.CharField(max_length=60, default="")
    at = models.DateTimeField()
    kind = models.CharField(max_length=8)
    temperature = QuantityColumn(null=True)
    humidity_percent = models.DecimalField(max_digits=6, decimal_places=3, null=True)
    wind = QuantityColumn(null=True)
    gust = QuantityColumn(null=True)
    wind_direction = models.PositiveSmallIntegerField(null=True)
    rain = QuantityColumn(null=True)
    leaf_wet = models.BooleanField(null=True)
    received_at = models.DateTimeField()
    doubts = models.JSONField(default=list)
    """Names of columns that are likely wrong; `sure` does not give them."""

    objects = FarmRows.as_manager()

    class Meta:
        ordering = ("at", "station", "kind", "id")
        constraints = [
            models.UniqueConstraint(
                fields=("farm", "station", "at", "kind"), name="one_row_per_station_hour_and_kind"
            ),
            models.CheckConstraint(
                condition=models.Q(kind__in=["observed", "forecast"]), name="an_hour_is_observed_or_forecast"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.at} {self.kind}"

    def sure(self, name: str) -> Any:
        """Return a value, None where it is doubted."""
        return None if name in self.doubts else getattr(self, name)


class WeatherDay(models.Model):
    """One day of weather at a station of the farm, in the farm's zone."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    farm = models.ForeignKey(Farm, on_delete=models.PROTECT, related_name="+")
    station = models.CharField(max_length=60, default="")
    on = models.DateField()
    kind = models.CharField(max_length=8)
    minimum = QuantityColumn(null=True)
    maximum = QuantityColumn(null=True)
    mean = QuantityColumn(null=True)
    humidity_percent = models.DecimalField(max_digits=6, decimal_places=3, null=True)
    wind = QuantityColumn(null=True)
    gust = QuantityColumn(null=True)
    wind_direction = models.PositiveSmallIntegerField(null=True)
    rain = QuantityColumn(null=True)
    received_at = models.DateTimeField()
    doubts = models.JSONField(default=list)
    """Names of columns that are likely wrong; `sure` does not give them."""

    objects = FarmRows.as_manager()

    class Meta:
        ordering = ("on", "station", "kind", "id")
        constraints = [
            models.UniqueConstraint(
                fields=("farm", "station", "on", "kind"), name="one_row_per_station_day_and_kind"
            ),
            models.CheckConstraint(
                condition=models.Q(kind__in=["observed", "forecast"]), name="a_day_is_observed_or_forecast"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.on} {self.kind}"

    def sure(self, name: str) -> Any:
        """Return a value, None where it is doubted."""
        return None if name in self.doubts else getattr(self, name)


class StageForecast(FarmRow):
    """When a block is expected to reach an event, as of a day; written by the workers, read by the API."""

    resource = "forecast"
    collection = "forecast"

    block = models.ForeignKey(Block, on_delete=models.PROTECT, related_name="forecasts")
    event = models.CharField(max_length=20)
    bbch = models.PositiveSmallIntegerField()
    predicted = models.DateField()
    low80 = models.DateField()
    high80 = models.DateField()
    issued_on = models.DateField()
    model = models.CharField(max_length=100)

    class Meta(FarmRow.Meta):
        constraints = [
            *FarmRow.Meta.constraints,
            models.UniqueConstraint(
                fields=("block", "event", "issued_on"), name="one_forecast_per_block_event_and_day"
            ),
            models.CheckConstraint(
                condition=models.Q(low80__lte=models.F("high80")), name="a_forecast_runs_from_low_to_high"
            ),
        ]

    @property
    def path(self) -> str:
        """Where it is read, below its block."""
        return f"{self.block.path}/{self.collection}/{self.id}"


class BlockOutlook(models.Model):
    """What stands beside a block's latest forecasts: what a person must be told, or why there is no date.

    Remarks are `{"code", "facts"}`; `outlook_words` says them.
    """

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    block = models.OneToOneField(Block, on_delete=models.PROTECT, related_name="outlook")
    farm = models.ForeignKey(Farm, on_delete=models.PROTECT, related_name="+")
    issued_on = models.DateField()
    last_safe_day = models.DateField(null=True)
    """The last day before bud colour in nine springs of ten; None where there is no date."""
    remarks = models.JSONField(default=list)
    refused = models.JSONField(null=True)

    objects = FarmRows.as_manager()

    def __str__(self) -> str:
        return f"{self.block_id} {self.issued_on}"
