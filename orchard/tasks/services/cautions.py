"""What refuses nothing and is good to know before the work begins."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterator
from decimal import Decimal

from django.utils.translation import gettext as _

from mixing.quantities import EXACT, plain
from orchard.api.refusals import Fault
from orchard.api.remembered import remembered
from orchard.crews.models import Sprayer
from orchard.farms.models import Farm
from orchard.inventory import amounts as stock_amounts
from orchard.tasks import amounts, safety_queries
from orchard.tasks.models import Load, WorkOrder
from orchard.tasks.services import checking, demands, equipment, follow_up
from orchard.tasks.states import WITH_A_SPRAYER

BEFORE_WORK = ("draft", "issued", "accepted", "held")


def of_order(order: WorkOrder, *, now: dt.datetime) -> Iterator[Fault]:
    """Yield what is to be known of an order before it begins, and of its loads while it goes on."""
    yield from _too_little(order)
    if order.status == "under_way":
        yield from _loads_left_out(order)
    if order.status not in BEFORE_WORK or order.held_from == "under_way":
        return
    day = checking.local_day(order.farm, max(order.starts_at, now))
    if order.sprayer is not None and order.kind in WITH_A_SPRAYER:
        yield from worn_nozzle(order.sprayer, on=day)
    if order.kind == "calibration" and order.sprayer is not None and order.sprayer.residue:
        detail = _("%(sprayer)s still holds %(residue)s: wash it, calibrate with water") % {
            "sprayer": order.sprayer,
            "residue": ", ".join(order.sprayer.residue),
        }
        yield Fault("sprayer_not_clean", detail, refers_to=("sprayer", str(order.sprayer.id)))
    if order.kind == "spray" and order.status != "draft" and not _briefed(order):
        yield Fault(
            "not_briefed", _("no briefing of this order is on file: talk it through with the crew first")
        )


def _too_little(order: WorkOrder) -> Iterator[Fault]:
    """Yield lots that are promised to the order and hold less than is promised of them.

    It refuses no start: the book may be wrong, and what is used is taken as it happened.
    """
    for row in demands.promised(farm=order.farm).get(order.id, []):
        lot, missing = row.lot, EXACT.subtract(row.lot.reserved_base, row.lot.on_hand_base)
        if missing <= 0:
            continue
        held, promised, mine = (
            stock_amounts.in_stock_unit(base, row.product)
            for base in (lot.on_hand_base, lot.reserved_base, row.open_base)
        )
        detail = _(
            "by the book lot %(lot)s of %(product)s holds %(held)s, and %(promised)s are promised, %(mine)s "
            "of it to this work: look whether there is enough before you mix, and tell the store"
        ) % {
            "lot": lot.number,
            "product": row.product.name,
            "held": amounts.words(held),
            "promised": amounts.words(promised),
            "mine": amounts.words(mine),
        }
        short = stock_amounts.shown_stock(missing, row.product)
        yield Fault("stock_short", detail, refers_to=("lot", str(lot.id)), short=short)


def _loads_left_out(order: WorkOrder) -> Iterator[Fault]:
    """Yield that a later load is on record and an earlier one is not."""
    told = loads_told(farm=order.farm).get(order.key, set())
    left_out = [one["number"] for one in order.loads_planned if one["number"] not in told]
    before = [number for number in left_out if told and number < max(told)]
    if before:
        numbers = ", ".join(map(str, before))
        detail = _("load %(max)s is on record and load %(numbers)s is not: was it mixed, or left out?") % {
            "max": max(told),
            "numbers": numbers,
        }
        yield Fault("loads_out_of_order", detail)


@remembered
def loads_told(*, farm: Farm) -> dict[uuid.UUID, set[int]]:
    """Return which loads of the orders that are under way are on record."""
    found: dict[uuid.UUID, set[int]] = {}
    rows = Load.objects.for_farm(farm).filter(work_order__status="under_way")
    for order, number in rows.values_list("work_order", "number"):
        found.setdefault(order, set()).add(number)
    return found


def worn_nozzle(sprayer: Sprayer, *, on: dt.date) -> Iterator[Fault]:
    """Yield that a nozzle gives more than a tenth off what it gave when it was first measured.

    Source: The 10 percent rule, United States Golf Association, 2016; others allow 20 % off the mean.
    """
    rows = [row for row in equipment.calibrations(sprayer=sprayer, on=on) if row.flow is not None]
    latest = rows[0] if rows else None
    if latest is None or latest.flow is None:
        return
    alike = [row for row in rows if (row.nozzle, row.pressure) == (latest.nozzle, latest.pressure)]
    first = alike[-1].flow
    assert first is not None
    ratio = EXACT.divide(latest.flow.in_base(), first.in_base())
    off = EXACT.multiply(EXACT.subtract(ratio, Decimal(1)), Decimal(100))
    if abs(off) > follow_up.MOST_OFF:
        detail = _(
            "the nozzle of %(sprayer)s gave %(off)s %% off what it gave on %(on)s: replace it and "
            "calibrate anew"
        ) % {"sprayer": sprayer, "off": plain(off, 1), "on": alike[-1].on}
        yield Fault("nozzle_worn", detail, refers_to=("calibration", str(latest.id)))


def _briefed(order: WorkOrder) -> bool:
    return order.key in safety_queries.briefed(farm=order.farm)
