"""What follows from the end of a spray: a wash the same day, a sprayer to calibrate anew. As drafts."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from typing import Any

from mixing.quantities import EXACT, Quantity, QuantityError, plain
from orchard.farms.actors import SYSTEM
from orchard.tasks import amounts, queries
from orchard.tasks.models import WorkOrder
from orchard.tasks.services import equipment, mixed, orders
from orchard.tasks.states import OPEN

MOST_OFF = Decimal(10)
"""Percent that what was used may be off what was planned. Common practice; the same for nozzle wear:
Nozzle maintenance, the 10 percent rule, United States Golf Association, 2016."""


def after(order: WorkOrder, *, sprayed: Quantity | None, at: dt.datetime, now: dt.datetime) -> None:
    """Draft what is to be done after a spray, once for each sprayer. The caller holds the order's lock."""
    if order.kind != "spray" or order.sprayer is None:
        return
    eaten = equipment.copper_against(order.sprayer)
    if eaten:
        why = f"Copper was sprayed and eats {', '.join(eaten)}: wash the sprayer the same day."
        _draft(order, "equipment_wash", why, at=at, now=now)
    off = deviation(order, sprayed=sprayed)
    if off is not None and abs(off) > MOST_OFF:
        sign = "more" if off > 0 else "less"
        why = (
            f"Order {order.number} used {plain(abs(off), 1)} % {sign} than was planned: calibrate the "
            "sprayer with clean water before it goes out again."
        )
        _draft(order, "calibration", why, at=at, now=now)


def _draft(order: WorkOrder, kind: str, why: str, *, at: dt.datetime, now: dt.datetime) -> None:
    same = queries.work_orders(farm=order.farm, kind=kind, sprayer=order.sprayer, status__in=OPEN)
    if not same.exists():
        orders.add_order(
            farm=order.farm,
            kind=kind,
            sprayer=order.sprayer,
            crew=order.crew,
            starts_at=at,
            instructions=why,
            by=SYSTEM,
            now=now,
        )


def deviation(order: WorkOrder, *, sprayed: Quantity | None) -> Decimal | None:
    """Return how far what was used is off the plan [%]; None where the job is not known to be whole.

    The spray for a sprayer with a tank; the concentrate for one that draws it by a dial or a ratio.
    """
    rows = list(queries.loads(order=order))
    planned = {one["number"] for one in order.loads_planned}
    if not rows or not planned <= {row.number for row in rows} or any(row.trees_skipped for row in rows):
        return None
    if order.sprayer is not None and order.sprayer.kind.startswith("hose_end"):
        return _of_concentrate(order, rows)
    meant = amounts.total(amounts.read(one["spray"]) for one in order.loads_planned)
    used = sprayed or mixed.volume(rows)
    return _percent(used, meant)


def _of_concentrate(order: WorkOrder, rows: list[Any]) -> Decimal | None:
    """Return the largest deviation of any product from its total."""
    lots = mixed.of_loads(rows).lots
    found = [
        _percent(_sum(lots.get(one["id"], ())), amounts.read(one["exact"]))
        for one in order.totals
        if one["id"] in lots
    ]
    return max((one for one in found if one is not None), key=abs, default=None)


def _sum(parts: Any) -> Quantity | None:
    try:
        return amounts.total(amount for _, amount in parts)
    except QuantityError:
        return None


def _percent(used: Quantity | None, meant: Quantity | None) -> Decimal | None:
    if used is None or meant is None or used.dimension != meant.dimension or meant.value == 0:
        return None
    ratio = EXACT.divide(used.in_base(), meant.in_base())
    return EXACT.multiply(EXACT.subtract(ratio, Decimal(1)), Decimal(100))
