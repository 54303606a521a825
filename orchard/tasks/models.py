"""Season plans, work orders with their loads, mix checks, and the records that the law asks for.

A task is crew work; what the background workers do is called a job.
"""

from __future__ import annotations

from django.db import models

from orchard.blocks.models import Block
from orchard.crews.models import Crew, Sprayer, Worker
from orchard.farms.columns import QuantityColumn
from orchard.farms.rows import FarmRow, new_id
from orchard.inventory.models import Lot, Product
from orchard.tasks import titles
from orchard.tasks.experience import PairNote
from orchard.tasks.safety import Briefing, Notice, NoticeRule
from orchard.tasks.states import KINDS, STATES

__all__ = [
    "ApplicationRecord",
    "AppliedProduct",
    "Briefing",
    "Incident",
    "Load",
    "MixCheck",
    "Notice",
    "NoticeRule",
    "Override",
    "PairNote",
    "PlanningRun",
    "Programme",
    "WorkOrder",
    "one_of",
]


def one_of(field: str, values: tuple[str, ...]) -> models.Q:
    """Return the condition that a column holds one of the words."""
    return models.Q(**{f"{field}__in": list(values)})


class MixCheck(FarmRow):
    """A check with all that it rested on: never changed."""

    resource = "mix_check"
    collection = "mix-checks"

    append_only = True

    block = models.ForeignKey(Block, on_delete=models.PROTECT, related_name="+")
    sprayer = models.ForeignKey(Sprayer, null=True, on_delete=models.PROTECT, related_name="+")
    asked = models.JSONField()
    """The request as it came."""
    request = models.JSONField()
    """The request as resolved: what `mixing.check_mix` was given."""
    report = models.JSONField()
    verdict = models.CharField(max_length=10)
    at = models.DateTimeField()
    fingerprint = models.CharField(max_length=64)
    """Hash of block, products and rates: what an override holds for."""


class Override(FarmRow):
    """A manager takes a published stop upon themselves, with a reason and what it rests on. Kept for ever."""

    resource = "override"
    collection = "overrides"

    append_only = True

    mix_check = models.ForeignKey(MixCheck, on_delete=models.PROTECT, related_name="overrides")
    finding = models.CharField(max_length=120)
    products = models.JSONField(default=list)
    reason = models.TextField()
    reference = models.TextField()
    fingerprint = models.CharField(max_length=64)


class Programme(FarmRow):
    """A season plan: sprays and other work by stage, not by date."""

    resource = "programme"
    collection = "programmes"

    name = models.CharField(max_length=200)
    starts_on = models.DateField()
    ends_on = models.DateField()
    status = models.CharField(max_length=10, default="active")
    lines = models.JSONField(default=list)
    """Each with its own `id`; amounts as they were said."""
    valid_until = models.DateField(null=True)
    """Advice: the last day on which it may be taken."""

    class Meta(FarmRow.Meta):
        constraints = [
            *FarmRow.Meta.constraints,
            models.CheckConstraint(
                condition=one_of("status", ("advice", "active", "closed")),
                name="a_programme_has_a_known_status",
            ),
            models.CheckConstraint(
                condition=models.Q(ends_on__gte=models.F("starts_on")),
                name="a_programme_ends_after_it_begins",
            ),
        ]


class PlanningRun(FarmRow):
    """One request to plan; the workers fill in the result."""

    resource = "planning_run"
    collection = "planning-runs"

    programme = models.ForeignKey(Programme, on_delete=models.PROTECT, related_name="runs")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    blocks = models.JSONField(null=True)
    crews = models.JSONField(null=True)
    sprayers = models.JSONField(null=True)
    status = models.CharField(max_length=10, default="queued")
    progress_percent = models.PositiveSmallIntegerField(default=0)
    result = models.JSONField(null=True)
    taken_until = models.DateTimeField(null=True)
    """Until when a worker holds it without a sign of life."""
    cancel_asked_at = models.DateTimeField(null=True)

    class Meta(FarmRow.Meta):
        constraints = [
            *FarmRow.Meta.constraints,
            models.UniqueConstraint(
                fields=("farm",),
                condition=models.Q(status="running"),
                name="a_farm_has_one_plan_at_work",
            ),
            models.CheckConstraint(
                condition=one_of("status", ("queued", "running", "done", "failed")),
                name="a_planning_run_has_a_known_status",
            ),
        ]


class WorkOrder(FarmRow):
    """Crew work for one day: what, where, who, with what. Its moves stand in `states.MOVES`."""

    resource = "work_order"
    collection = "work-orders"

    number = models.PositiveIntegerField()
    kind = models.CharField(max_length=20)
    status = models.CharField(max_length=10, default="draft")
    revision = models.PositiveIntegerField(default=1)
    title = models.CharField(max_length=300)
    instructions = models.TextField(null=True)
    block = models.ForeignKey(Block, null=True, on_delete=models.PROTECT, related_name="work_orders")
    sprayer = models.ForeignKey(Sprayer, null=True, on_delete=models.PROTECT, related_name="work_orders")
    crew = models.ForeignKey(Crew, null=True, on_delete=models.PROTECT, related_name="work_orders")
    handlers = models.ManyToManyField(Worker, related_name="+")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField(null=True)
    products = models.JSONField(default=list)
    spray = models.JSONField(null=True)
    targets = models.JSONField(default=list)
    water = models.JSONField(null=True)
    measures = models.JSONField(null=True)
    programme = models.ForeignKey(Programme, null=True, on_delete=models.PROTECT, related_name="work_orders")
    line = models.UUIDField(null=True)
    window = models.JSONField(null=True)
    """`{"earliest", "latest", "because"}` where a plan gave one."""
    mix_check = models.ForeignKey(MixCheck, null=True, on_delete=models.PROTECT, related_name="+")
    loads_planned = models.JSONField(default=list)
    totals = models.JSONField(default=list)
    observed = models.JSONField(null=True)
    issued_at = models.DateTimeField(null=True)
    started_at = models.DateTimeField(null=True)
    finished_at = models.DateTimeField(null=True)
    held_from = models.CharField(max_length=10, null=True)
    held_reason = models.CharField(max_length=20, null=True)
    pauses = models.JSONField(default=list)
    """Every hold of it: `{"from_state", "reason", "note", "at", "until"}`, the times as they were told."""
    finish_id = models.UUIDField(null=True)
    """The id that its finish was sent with, so that the same one is known again."""
    re_entry_until = models.DateTimeField(null=True)
    possible_duplicates = models.JSONField(default=list)
    conflicts = models.JSONField(default=list)
    """What was told and does not fit: `{"id", "action", "codes", "happened_at", "received_at", "by", "body",
    "settled_at"}`. A person looks at it; nothing that was told is thrown away."""

    class Meta(FarmRow.Meta):
        indexes = [
            models.Index(fields=("farm", "starts_at", "id"), name="work_orders_by_start"),
            models.Index(fields=("farm", "status"), name="work_orders_by_status"),
        ]
        constraints = [
            *FarmRow.Meta.constraints,
            models.UniqueConstraint(fields=("farm", "number"), name="a_work_order_has_its_own_number"),
            models.CheckConstraint(condition=one_of("kind", KINDS), name="a_work_order_is_of_a_known_kind"),
            models.CheckConstraint(
                condition=one_of("status", STATES), name="a_work_order_is_in_a_known_state"
            ),
            models.CheckConstraint(
                condition=~one_of("kind", ("spray", "leaf_removal", "scouting"))
                | models.Q(block__isnull=False),
                name="work_in_a_block_names_the_block",
            ),
            models.CheckConstraint(
                condition=~one_of("kind", ("spray", "calibration", "equipment_wash"))
                | models.Q(sprayer__isnull=False),
                name="work_with_a_sprayer_names_the_sprayer",
            ),
            models.CheckConstraint(
                condition=models.Q(status="held", held_from__isnull=False)
                | (~models.Q(status="held") & models.Q(held_from=None)),
                name="what_is_held_knows_where_it_came_from",
            ),
            models.CheckConstraint(
                condition=one_of("status", ("draft", "held", "cancelled")) | models.Q(crew__isnull=False),
                name="what_is_issued_has_a_crew",
            ),
            models.CheckConstraint(
                condition=~models.Q(status="done") | models.Q(finished_at__isnull=False),
                name="what_is_done_says_when",
            ),
        ]

    @property
    def called(self) -> str:
        """The title, in the language in use where it is one of ours."""
        return titles.said(self.title)


class Load(FarmRow):
    """One tank as it was mixed, told by the crew: never refused for passing a plan."""

    resource = "load"
    collection = "loads"

    work_order = models.ForeignKey(WorkOrder, on_delete=models.PROTECT, related_name="loads")
    number = models.PositiveIntegerField()
    spray = QuantityColumn()
    products = models.JSONField(default=list)
    """As told: `[{"product", "lots": [{"lot", "amount"}]}]`, lots filled in where the crew left them out."""
    planned = models.JSONField(null=True)
    at = models.DateTimeField()
    received_at = models.DateTimeField()
    mixed_by = models.ForeignKey(Worker, null=True, on_delete=models.PROTECT, related_name="+")
    area_done = QuantityColumn(null=True)
    trees_done = models.PositiveIntegerField(null=True)
    trees_skipped = models.PositiveIntegerField(null=True)
    leftover = QuantityColumn(null=True)
    note = models.TextField(null=True)
    stock = models.CharField(max_length=10, default="pending")
    missing = models.JSONField(null=True)

    class Meta(FarmRow.Meta):
        constraints = [
            *FarmRow.Meta.constraints,
            models.UniqueConstraint(fields=("work_order", "number"), name="a_load_number_is_used_once"),
            models.CheckConstraint(condition=models.Q(number__gte=1), name="loads_are_counted_from_one"),
            models.CheckConstraint(
                condition=one_of("stock", ("pending", "posted", "short")),
                name="a_load_has_a_known_stock_state",
            ),
        ]

    @property
    def path(self) -> str:
        """Where it is read, below its work order."""
        return f"{self.work_order.path}/{self.collection}/{self.id}"


class ApplicationRecord(FarmRow):
    """What was put on a block, complete for the law. Only `status` and `corrected_by` ever change."""

    resource = "application_record"
    collection = "application-records"

    kind = models.CharField(max_length=12, default="application")
    status = models.CharField(max_length=10, default="current")
    corrects = models.ForeignKey("self", null=True, on_delete=models.PROTECT, related_name="+")
    corrected_by = models.ForeignKey("self", null=True, on_delete=models.PROTECT, related_name="+")
    reason = models.TextField(null=True)
    work_order = models.ForeignKey(WorkOrder, null=True, on_delete=models.PROTECT, related_name="records")
    block = models.ForeignKey(Block, on_delete=models.PROTECT, related_name="applications")
    sprayer = models.ForeignKey(Sprayer, null=True, on_delete=models.PROTECT, related_name="+")
    crew = models.ForeignKey(Crew, null=True, on_delete=models.PROTECT, related_name="+")
    mix_check = models.ForeignKey(MixCheck, null=True, on_delete=models.PROTECT, related_name="+")
    started_at = models.DateTimeField()
    finished_at = models.DateTimeField()
    received_at = models.DateTimeField()
    body = models.JSONField(default=dict)
    """The elements as frozen: spray, products, labels, lots, sprayed_by, stage, weather, targets, loads …"""
    re_entry_until = models.DateTimeField(null=True)
    harvest_not_before = models.DateField(null=True)
    flags = models.JSONField(default=list)

    class Meta(FarmRow.Meta):
        indexes = [models.Index(fields=("block", "finished_at"), name="applications_on_a_block")]
        constraints = [
            *FarmRow.Meta.constraints,
            models.CheckConstraint(
                condition=one_of("kind", ("application", "correction", "void")),
                name="a_record_is_of_a_known_kind",
            ),
            models.CheckConstraint(
                condition=one_of("status", ("current", "corrected", "void")),
                name="a_record_has_a_known_status",
            ),
            models.CheckConstraint(
                condition=models.Q(finished_at__gte=models.F("started_at")),
                name="a_record_ends_after_it_begins",
            ),
            models.UniqueConstraint(
                fields=("work_order", "block"),
                condition=models.Q(kind="application"),
                name="an_order_is_recorded_once_per_block",
            ),
        ]


class AppliedProduct(models.Model):
    """How much of which lot went on a block: a record's amounts as rows, to add up and to trace by."""

    append_only = True

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    record = models.ForeignKey(ApplicationRecord, on_delete=models.PROTECT, related_name="applied")
    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="+")
    lot = models.ForeignKey(Lot, null=True, on_delete=models.PROTECT, related_name="+")
    amount = QuantityColumn()

    class Meta:
        ordering = ("id",)

    def __str__(self) -> str:
        return f"{self.amount}"


class Incident(FarmRow):
    """Something that went wrong, told by whoever saw it: append-only."""

    resource = "incident"
    collection = "incidents"

    append_only = True

    kind = models.CharField(max_length=20)
    place = models.CharField(max_length=300)
    at = models.DateTimeField()
    block = models.ForeignKey(Block, null=True, on_delete=models.PROTECT, related_name="+")
    work_order = models.ForeignKey(WorkOrder, null=True, on_delete=models.PROTECT, related_name="incidents")
    product = models.ForeignKey(Product, null=True, on_delete=models.PROTECT, related_name="+")
    amount = QuantityColumn(null=True)
    what = models.TextField(null=True)
    done_about_it = models.TextField(null=True)

    class Meta(FarmRow.Meta):
        constraints = [
            *FarmRow.Meta.constraints,
            models.CheckConstraint(
                condition=one_of(
                    "kind", ("spill", "exposure", "drift", "injury", "plant_damage", "equipment", "other")
                ),
                name="an_incident_is_of_a_known_kind",
            ),
        ]
