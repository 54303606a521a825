"""What keeps people out of harm's way: briefings, and notices to neighbours, schools and keepers of bees."""

from __future__ import annotations

from django.db import models

from orchard.blocks.models import Block
from orchard.farms.columns import QuantityColumn
from orchard.farms.rows import FarmRow, may_be_archived

TOLD_TO = ("school", "neighbour", "beekeeper", "public", "other")
STEPS = ("told", "sign_up", "sign_down")
WAYS = ("letter", "phone", "email", "text_message", "in_person", "sign", "other")


class NoticeRule(FarmRow):
    """Whom the farm tells before it sprays, and how long before: an order waits until it was done."""

    resource = "notice_rule"
    collection = "notice-rules"

    name = models.CharField(max_length=200)
    to = models.CharField(max_length=20)
    blocks = models.ManyToManyField(Block, related_name="+")
    """Where it holds; none named: on the whole farm."""
    told_before = QuantityColumn()
    sign_before = QuantityColumn(null=True)
    sign_after = QuantityColumn(null=True)
    source = models.TextField(null=True)
    archived = may_be_archived()

    class Meta(FarmRow.Meta):
        constraints = [
            *FarmRow.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(to__in=TOLD_TO), name="a_notice_rule_says_whom_it_is_for"
            ),
        ]


class Notice(FarmRow):
    """Who was told of a spray, when and how; or that a sign was put up or taken down. Never changed."""

    resource = "notice"
    collection = "notices"

    append_only = True

    work_order = models.ForeignKey("tasks.WorkOrder", on_delete=models.PROTECT, related_name="notices")
    rule = models.ForeignKey(NoticeRule, null=True, on_delete=models.PROTECT, related_name="notices")
    step = models.CharField(max_length=10, default="told")
    who = models.CharField(max_length=300)
    how = models.CharField(max_length=20)
    at = models.DateTimeField()
    for_start_at = models.DateTimeField()
    """The planned start that was told: of another day they have to be told anew."""
    note = models.TextField(null=True)

    class Meta(FarmRow.Meta):
        constraints = [
            *FarmRow.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(step__in=STEPS), name="a_notice_is_one_of_the_known_steps"
            ),
            models.CheckConstraint(condition=models.Q(how__in=WAYS), name="a_notice_is_given_in_a_known_way"),
        ]


class Briefing(FarmRow):
    """What was talked through with whom before the work, and who said that they understood. Never changed."""

    resource = "briefing"
    collection = "briefings"

    append_only = True

    work_order = models.ForeignKey(
        "tasks.WorkOrder", null=True, on_delete=models.PROTECT, related_name="briefings"
    )
    held_at = models.DateTimeField()
    language = models.CharField(max_length=8)
    topics = models.JSONField()
    present = models.JSONField()
    """Ids of workers."""
    acknowledged = models.JSONField(default=list)
    """Ids of those of them who said that they understood."""
    heat = models.JSONField(null=True)
    """The heat advice of that day as it stood then; null where no weather was stored."""
    note = models.TextField(null=True)
