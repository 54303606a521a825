"""Who does the work and with what: workers, crews, sprayers, and what proves that they may be used."""

from __future__ import annotations

from django.db import models

from orchard.farms.columns import QuantityColumn
from orchard.farms.rows import FarmRow, may_be_archived

SPRAYER_KINDS = ("hand_pump", "backpack", "handgun", "airblast", "boom", "hose_end_dial", "hose_end_ratio")

DROPLETS = ("fine", "medium_or_larger")


class Worker(FarmRow):
    """Somebody who works on the farm, with or without a sign-in."""

    resource = "worker"
    collection = "workers"

    name = models.CharField(max_length=200)
    adult = models.BooleanField()
    language = models.CharField(max_length=8, default="en")
    phone = models.CharField(max_length=40, null=True)
    archived = may_be_archived()


class Qualification(FarmRow):
    """A training, a fit test or a licence that is valid from a day to a day, both included."""

    resource = "qualification"
    collection = "qualifications"

    worker = models.ForeignKey(Worker, on_delete=models.PROTECT, related_name="qualifications")
    kind = models.CharField(max_length=20)
    obtained_on = models.DateField()
    expires_on = models.DateField()
    number = models.CharField(max_length=60, null=True)
    given_by = models.CharField(max_length=200, null=True)

    class Meta(FarmRow.Meta):
        constraints = [
            *FarmRow.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(kind__in=["handler_training", "respirator_fit_test", "licence"]),
                name="a_qualification_is_of_a_known_kind",
            ),
            models.CheckConstraint(
                condition=models.Q(expires_on__gte=models.F("obtained_on")),
                name="a_qualification_expires_after_it_was_obtained",
            ),
        ]

    @property
    def path(self) -> str:
        """Where it is read, below its worker."""
        return f"{self.worker.path}/{self.collection}/{self.id}"


class Crew(FarmRow):
    """People who go out together."""

    resource = "crew"
    collection = "crews"

    name = models.CharField(max_length=200)
    members = models.ManyToManyField(Worker, related_name="crews")
    lead = models.ForeignKey(Worker, null=True, on_delete=models.PROTECT, related_name="+")
    archived = may_be_archived()


class Sprayer(FarmRow):
    """A sprayer and what its last load left in it."""

    resource = "sprayer"
    collection = "sprayers"

    name = models.CharField(max_length=200)
    kind = models.CharField(max_length=20)
    tank = QuantityColumn(null=True)
    dial_max = QuantityColumn(null=True)
    dial_step = QuantityColumn(null=True)
    jar = QuantityColumn(null=True)
    ratio = models.DecimalField(max_digits=20, decimal_places=6, null=True)
    materials = models.JSONField(default=list)
    dedicated_to = models.CharField(max_length=20, null=True)
    residue = models.JSONField(default=list)
    last_load_at = models.DateTimeField(null=True)
    cleaned_at = models.DateTimeField(null=True)
    nozzle = models.CharField(max_length=100, null=True)
    """What is fitted now: a calibration with another one does not hold."""
    droplets = models.CharField(max_length=20, null=True)
    archived = may_be_archived()

    class Meta(FarmRow.Meta):
        constraints = [
            *FarmRow.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(kind__in=SPRAYER_KINDS), name="a_sprayer_is_of_a_known_kind"
            ),
            models.CheckConstraint(
                condition=models.Q(droplets=None) | models.Q(droplets__in=DROPLETS),
                name="a_sprayer_makes_droplets_of_a_known_size",
            ),
            models.CheckConstraint(
                condition=models.Q(kind__startswith="hose_end") | models.Q(tank__isnull=False),
                name="a_sprayer_has_a_tank_unless_it_hangs_on_a_hose",
            ),
        ]


class Calibration(FarmRow):
    """What a sprayer gave when it was measured, and until when that may be relied on."""

    resource = "calibration"
    collection = "calibrations"

    append_only = True

    sprayer = models.ForeignKey(Sprayer, on_delete=models.PROTECT, related_name="calibrations")
    on = models.DateField()
    due_on = models.DateField()
    operator = models.ForeignKey(Worker, null=True, on_delete=models.PROTECT, related_name="+")
    nozzle = models.CharField(max_length=100, null=True)
    pressure = QuantityColumn(null=True)
    flow = QuantityColumn(null=True)
    volume_per_tree = QuantityColumn(null=True)
    volume_per_area = QuantityColumn(null=True)
    note = models.TextField(null=True)

    class Meta(FarmRow.Meta):
        constraints = [
            *FarmRow.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(due_on__gte=models.F("on")), name="a_calibration_is_due_after_it_was_done"
            ),
        ]

    @property
    def path(self) -> str:
        """Where it is read, below its sprayer."""
        return f"{self.sprayer.path}/{self.collection}/{self.id}"
