"""Reading what lots held at any moment of the past."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from typing import Any

from django.db.models import OuterRef, QuerySet, Subquery, Sum, Window

from mixing.quantities import EXACT
from orchard.farms.columns import BaseAmount
from orchard.farms.models import Farm
from orchard.inventory import queries
from orchard.inventory.models import Lot, Movement


def balances(
    *, farm: Farm, at: dt.datetime, known_at: dt.datetime | None = None, **filters: Any
) -> QuerySet[Any]:
    """Return the lots that had moved by a moment, each with its `balance` then [base unit].

    What was told later of the time before counts too: that is what was on the shelf, as far as is known.

    :param known_at: leave out what was entered after this moment: what the book said then
    """
    moved = Movement.objects.filter(lot=OuterRef("key"), at__lte=at)
    if known_at is not None:
        moved = moved.filter(created_at__lte=known_at)
    total = moved.order_by().values("lot").annotate(sum=Sum("change_base")).values("sum")
    rows = queries.lots(farm=farm).annotate(balance=Subquery(total, output_field=BaseAmount()))
    return rows.filter(balance__isnull=False, **filters)


def lowest_since(lot: Lot, *, at: dt.datetime) -> tuple[Decimal, dt.datetime]:
    """Return the least that a lot held from a moment on, and from when it held that [base unit].

    The caller holds the lot's lock: what it holds now is what all its movements add up to.
    """
    later = Movement.objects.for_farm(lot.farm).filter(lot=lot, at__gt=at).order_by()
    changes = later.values_list("at").annotate(change=Sum("change_base")).order_by("-at")
    lowest, since, held = lot.on_hand_base, at, lot.on_hand_base
    for moment, change in changes:
        if held <= lowest:
            lowest, since = held, moment
        held = EXACT.subtract(held, change)
    return (held, at) if held <= lowest else (lowest, since)


def below_nothing(*, farm: Farm, since: dt.datetime) -> list[Movement]:
    """Return, of each lot that held less than nothing by its book, the movement from which on it did.

    Each has `held`, what the lot had after all of that moment [base unit]. It comes from days told wrong:
    what a crew used is never refused, however much earlier it was than the receipt in the book.
    """
    running = Window(Sum("change_base"), partition_by=["lot"], order_by=["at"])
    rows = Movement.objects.for_farm(farm).filter(lot__archived=False).annotate(held=running)
    first: dict[Any, Movement] = {}
    for row in (
        rows.filter(held__lt=0).select_related("farm", "lot__farm", "lot__product").order_by("at", "id")
    ):
        if row.at >= since:  # a condition of the query would leave out what came in before it
            first.setdefault(row.lot.key, row)
    return list(first.values())
