"""Reading notices, the rules that ask for them, and briefings."""

from __future__ import annotations

import uuid
from typing import Any

from django.db.models import QuerySet

from orchard.api.remembered import remembered
from orchard.farms.models import Farm
from orchard.tasks.models import Briefing, Notice, NoticeRule, WorkOrder


def notice_rules(*, farm: Farm, **filters: Any) -> QuerySet[NoticeRule]:
    """Return whom the farm tells before it sprays."""
    rows = NoticeRule.objects.for_farm(farm).filter(**filters)
    return rows.select_related("farm").prefetch_related("blocks")


def rules_for(*, order: WorkOrder) -> list[NoticeRule]:
    """Return the rules that hold for an order: only sprays are told of."""
    if order.kind != "spray" or order.block is None:
        return []
    rows = _in_force(farm=order.farm)
    return [rule for rule in rows if not rule.blocks.all() or order.block in rule.blocks.all()]


@remembered
def _in_force(*, farm: Farm) -> list[NoticeRule]:
    return list(notice_rules(farm=farm, archived=False).order_by("id"))


def notices(*, farm: Farm, **filters: Any) -> QuerySet[Notice]:
    """Return who was told of what, and when."""
    rows = Notice.objects.for_farm(farm).filter(**filters)
    return rows.select_related("farm", "work_order__farm", "rule")


@remembered
def briefed(*, farm: Farm) -> set[uuid.UUID]:
    """Return the keys of the orders that a briefing was held for."""
    rows = Briefing.objects.for_farm(farm).filter(work_order__isnull=False)
    return set(rows.values_list("work_order", flat=True))


def briefings(*, farm: Farm, **filters: Any) -> QuerySet[Briefing]:
    """Return what was talked through with whom."""
    return Briefing.objects.for_farm(farm).filter(**filters).select_related("farm", "work_order")
