"""What was used in a month, block by block and product by product: the sum of the records that stand.

A month is that of the start of an application on the farm's calendar. A report that was read before and has
changed since is a new version with its amendments named; an earlier one can be read again as of its moment.

Due on the 10th of the following month: California Code of Regulations, title 3, section 6626 (seen in a copy,
no year); other places have other days, or none.
"""

from __future__ import annotations

import datetime as dt
import zoneinfo
from dataclasses import dataclass
from typing import Any

from django.db.models import Q

from mixing.quantities import Quantity
from orchard.blocks.models import Block
from orchard.farms.models import Farm
from orchard.tasks import amounts, queries
from orchard.tasks.models import ApplicationRecord

DUE_ON_THE = 10


@dataclass(frozen=True, slots=True)
class Use:
    """One product on one block in the month.

    :ivar area: treated ground, counted anew for each application; None where a record has none
    """

    block: Block
    product: str
    name: str
    registration: str | None
    amount: Quantity
    area: Quantity | None
    applications: int
    records: tuple[ApplicationRecord, ...]


@dataclass(frozen=True, slots=True)
class UseReport:
    """A month. `version` is 1 until something that was on record is corrected or voided."""

    starts_on: dt.date
    due_on: dt.date
    as_of: dt.datetime
    version: int
    amendments: tuple[ApplicationRecord, ...]
    uses: tuple[Use, ...]


def use_report(*, farm: Farm, month: dt.date, as_of: dt.datetime) -> UseReport:
    """Return a month's report as it stood at a moment.

    :param month: its first day
    """
    following = (month + dt.timedelta(days=31)).replace(day=1)
    zone = zoneinfo.ZoneInfo(farm.zone)
    starts, ends = (dt.datetime.combine(day, dt.time(), tzinfo=zone) for day in (month, following))
    inside = Q(started_at__gte=starts, started_at__lt=ends)
    before = Q(corrects__started_at__gte=starts, corrects__started_at__lt=ends)
    rows = list(queries.records(farm=farm).filter(inside | before, received_at__lte=as_of).order_by("id"))
    standing = [
        row
        for row in rows
        if row.kind != "void"
        and starts <= row.started_at < ends
        and (row.corrected_by is None or row.corrected_by.received_at > as_of)
    ]
    amendments = tuple(row for row in rows if row.kind != "application")
    return UseReport(
        starts_on=month,
        due_on=following.replace(day=DUE_ON_THE),
        as_of=as_of,
        version=1 + len(amendments),
        amendments=amendments,
        uses=tuple(_uses(standing)),
    )


def _uses(records: list[ApplicationRecord]) -> list[Use]:
    parts: dict[tuple[Any, str, str], list[tuple[ApplicationRecord, dict[str, Any]]]] = {}
    for record in records:
        for product in record.body["products"]:
            # a powder that was told by volume once is no sum with one told by weight
            kind = amounts.read(product["amount"]).dimension
            parts.setdefault((record.block.key, product["product"], kind), []).append((record, product))
    found = [_use(rows) for rows in parts.values()]
    return sorted(found, key=lambda one: (one.block.name, str(one.block.id), one.name, one.product))


def _use(rows: list[tuple[ApplicationRecord, dict[str, Any]]]) -> Use:
    record, product = rows[0]
    total = amounts.total(amounts.read(one["amount"]) for _, one in rows)
    assert total is not None  # there is at least one
    told = [(one.body.get("spray") or {}).get("area") for one, _ in rows]
    areas = [amounts.read(area) for area in told if area]
    return Use(
        block=record.block,
        product=product["product"],
        name=product["name"],
        registration=product.get("registration"),
        amount=total,
        area=amounts.total(areas) if len(areas) == len(rows) else None,
        applications=len(rows),
        records=tuple(one for one, _ in rows),
    )
