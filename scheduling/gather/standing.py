"""Orders that a plan leaves where they are, and when each of them closes its block to a job."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from orchard.api.refusals import Unprocessable
from orchard.farms.actors import Actor
from orchard.tasks.models import MixCheck, WorkOrder
from orchard.tasks.services import checking
from scheduling.assignment.problem import Span
from scheduling.gather.between import Waits
from scheduling.gather.bookings import Frame, span_of
from scheduling.gather.mixes import Mix, re_entry_of

MINUTE = dt.timedelta(minutes=1)
A_DAY = dt.timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Standing:
    """An order that stays, with the check of its mix: the one it was issued by, else one made now."""

    order: WorkOrder
    check: MixCheck | None

    @property
    def re_entry(self) -> dt.timedelta:
        """How long nobody enters its block after it."""
        return dt.timedelta(0) if self.check is None else re_entry_of(self.check)


def standing(
    orders: Iterable[WorkOrder], *, blocks: Iterable[str], by: Actor, now: dt.datetime
) -> list[Standing]:
    """Return the orders that stay on some blocks."""
    ids = set(blocks)
    return [
        Standing(one, _check(one, by=by, now=now))
        for one in orders
        if one.block is not None and str(one.block.id) in ids
    ]


def _check(order: WorkOrder, *, by: Actor, now: dt.datetime) -> MixCheck | None:
    if order.kind != "spray" or order.mix_check is not None:
        return order.mix_check
    if order.sprayer is None:
        return None
    try:
        return checking.check_order(order=order, at=order.starts_at, dry_run=True, by=by, now=now)
    except Unprocessable:
        return None  # its own page says what is wrong with it


def closed_by(one: Standing, mix: Mix | None, *, frame: Frame, waits: Waits) -> Iterator[Span]:
    """Yield when an order closes its block to a job: itself, re-entry on both sides, and days by the labels.

    :param mix: what the job would put on, None for work without spray
    """
    start, end = span_of(one.order, frame)
    before = dt.timedelta(0) if mix is None else mix.re_entry
    yield start - -(-before // MINUTE), end + -(-one.re_entry // MINUTE)
    if mix is None or one.check is None:
        return
    began, over = frame.moment(start).date(), frame.moment(end).date()
    ahead, behind = waits.days(mix.check, one.check), waits.days(one.check, mix.check)
    if ahead:
        yield frame.midnight(began - ahead * A_DAY + A_DAY), start
    if behind:
        yield end, frame.midnight(over + behind * A_DAY)
