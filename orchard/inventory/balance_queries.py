"""Reading what lots held at any moment of the past."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.db.models import OuterRef, QuerySet, Subquery, Sum

from orchard.farms.columns import BaseAmount
from orchard.farms.models import Farm
from orchard.inventory import queries
from orchard.inventory.models import Movement


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
