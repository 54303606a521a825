"""Telling neighbours, schools and keepers of bees before a spray, and what is still to be told."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from mixing.quantities import Quantity
from orchard.api.refusals import Fault, Unprocessable
from orchard.blocks.models import Block
from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.farms.models import Farm
from orchard.tasks import amounts, safety_queries
from orchard.tasks.models import Notice, NoticeRule, WorkOrder
from orchard.tasks.services import checking


def add_rule(
    *,
    farm: Farm,
    by: Actor,
    now: dt.datetime,
    id: uuid.UUID | None = None,
    blocks: Sequence[Block] = (),
    **values: Any,
) -> NoticeRule:
    """Write down whom the farm tells, and how long before."""
    with transaction.atomic():
        rule = journal.insert(NoticeRule, farm=farm, by=by, now=now, id=id, **values)
        rule.blocks.set(blocks)
        journal.created(rule, by=by, now=now)
    return rule


def change_rule(*, rule: NoticeRule, by: Actor, now: dt.datetime, **values: Any) -> NoticeRule:
    """Change a rule. The caller holds its lock."""
    blocks = values.pop("blocks", None)
    if blocks is not None:
        rule.blocks.set(blocks)
    if not journal.change(rule, by=by, now=now, **values) and blocks is not None:
        journal.touch(rule, now=now)
    return rule


def add_notice(
    *,
    farm: Farm,
    work_order: WorkOrder,
    by: Actor,
    now: dt.datetime,
    id: uuid.UUID | None = None,
    at: dt.datetime | None = None,
    **told: Any,
) -> Notice:
    """Write down that somebody was told of a spray, or that a sign went up or came down.

    :raises Unprocessable: `invalid` for work that is no spray
    """
    if work_order.kind != "spray":
        raise Unprocessable(Fault("invalid", _("only a spray is told of"), "/work_order"))
    with transaction.atomic():
        return journal.create(
            Notice,
            farm=farm,
            by=by,
            now=now,
            id=id,
            work_order=work_order,
            at=at or now,
            for_start_at=work_order.starts_at,
            **told,
        )


@dataclass(frozen=True, slots=True)
class Duty:
    """One thing that a rule asks for, by when, and when it was done.

    :ivar by: the latest moment; None for a sign that comes down
    :ivar not_before: the earliest moment, for a sign that comes down
    """

    rule: NoticeRule
    step: str
    by: dt.datetime | None
    not_before: dt.datetime | None
    done_at: dt.datetime | None


def duties(*, order: WorkOrder) -> list[Duty]:
    """Return what is to be told and put up for an order, in the order of time."""
    start, end = order.started_at or order.starts_at, order.finished_at or order.ends_at
    found = []
    for rule in safety_queries.rules_for(order=order):
        done = _done(order, rule)
        found.append(Duty(rule, "told", start - seconds(rule.told_before), None, done.get("told")))
        if rule.sign_before is not None:
            up_by = start - seconds(rule.sign_before)
            found.append(Duty(rule, "sign_up", up_by, None, done.get("sign_up")))
        if rule.sign_after is not None:
            down = end + seconds(rule.sign_after) if end else None
            found.append(Duty(rule, "sign_down", None, down, done.get("sign_down")))
    return found


def seconds(wait: Quantity) -> dt.timedelta:
    """Return a wait as elapsed time."""
    return dt.timedelta(microseconds=int(wait.in_base() * 1_000_000))


def _done(order: WorkOrder, rule: NoticeRule) -> dict[str, dt.datetime]:
    """Return when each step was done first, of what was told of the day that the order is planned for."""
    day = checking.local_day(order.farm, order.starts_at)
    found: dict[str, dt.datetime] = {}
    rows = safety_queries.notices(farm=order.farm, work_order=order, rule=rule)
    for row in rows.order_by("at", "id"):
        if row.step == "sign_down" or checking.local_day(order.farm, row.for_start_at) == day:
            found.setdefault(row.step, row.at)
    return found


def missing(*, order: WorkOrder, at: dt.datetime, now: dt.datetime, step: str) -> Iterator[Fault]:
    """Yield which rules of the farm stand against beginning at a moment, since nobody was told in time.

    :param step: `told` (asked before issue and start) or `sign_up` (before start)
    """
    for duty in duties(order=order):
        wait = {"told": duty.rule.told_before, "sign_up": duty.rule.sign_before}.get(duty.step)
        if duty.step != step or wait is None:
            continue
        if duty.done_at is None or duty.done_at + seconds(wait) > at:
            yield _fault(order, duty, wait, now=now)


def _fault(order: WorkOrder, duty: Duty, wait: Quantity, *, now: dt.datetime) -> Fault:
    earliest = (duty.done_at or now) + seconds(wait)
    shown = earliest.astimezone(checking.zone(order.farm)).isoformat(timespec="seconds")
    facts = {
        "rule": duty.rule.name,
        "wait": amounts.words(wait),
        "since": duty.done_at.isoformat() if duty.done_at else _("never"),
        "shown": shown,
    }
    if duty.step == "told":
        detail = _(
            "%(rule)s are to be told %(wait)s before the spray begins; on file: %(since)s. Tell them and "
            "write "
            "the notice down, then begin at %(shown)s or later"
        )
    else:
        detail = _(
            "%(rule)s are to be shown by a sign %(wait)s before the spray begins; on file: %(since)s. Put it "
            "up and write the notice down, then begin at %(shown)s or later"
        )
    return Fault(
        "notice_missing", detail % facts, refers_to=("notice_rule", str(duty.rule.id)), earliest=shown
    )
