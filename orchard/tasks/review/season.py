"""One season of a farm, gathered in a few queries and told block by block."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from orchard.blocks import queries as ground
from orchard.blocks.models import Block, ScoutingCount, StageObservation
from orchard.blocks.results import Result, results
from orchard.farms.models import Farm
from orchard.inventory import queries as store
from orchard.inventory.models import Lot
from orchard.tasks import programme_queries, queries
from orchard.tasks.models import ApplicationRecord, Programme, WorkOrder
from orchard.tasks.review import advice, sums, windows


@dataclass(frozen=True, slots=True)
class BlockReview:
    """One block's season."""

    block: Block
    lines: tuple[windows.LineDone, ...]
    sprays: tuple[windows.Spray, ...]
    metals: tuple[sums.MetalSum, ...]
    results: tuple[Result, ...]
    costs: sums.Costs
    changes: tuple[advice.Change, ...]


@dataclass(frozen=True, slots=True)
class SeasonReview:
    """The season of a farm from a day to a day, both in."""

    since: dt.date
    until: dt.date
    programmes: tuple[Programme, ...]
    blocks: tuple[BlockReview, ...]
    says: tuple[str, ...]


def season_review(
    *,
    farm: Farm,
    since: dt.date,
    until: dt.date,
    programme: Programme | None = None,
    block: Block | None = None,
) -> SeasonReview:
    """Return the review of a season.

    :param programme: only its lines; else those of every plan in force or closed that the days touch
    """
    zone = zoneinfo.ZoneInfo(farm.zone)
    starts = dt.datetime.combine(since, dt.time(), tzinfo=zone)
    ends = dt.datetime.combine(until + dt.timedelta(days=1), dt.time(), tzinfo=zone)
    plans = [programme] if programme else _plans(farm, since, until)
    blocks = [block] if block else list(ground.blocks(farm=farm).order_by("name", "id"))
    found = _gather(farm, blocks, plans, starts, ends, since, until)
    told = [_block(one, plans, found, zone) for one in blocks]
    shown = [one for one in told if one.lines or one.sprays or one.results or not one.block.archived]
    return SeasonReview(since, until, tuple(plans), tuple(shown), (str(advice.DISEASE_IS_NORMAL),))


def _plans(farm: Farm, since: dt.date, until: dt.date) -> list[Programme]:
    rows = programme_queries.programmes(farm=farm).exclude(status="advice")
    return list(rows.filter(starts_on__lte=until, ends_on__gte=since).order_by("starts_on", "id"))


@dataclass(frozen=True, slots=True)
class _Gathered:
    records: dict[Any, list[ApplicationRecord]]
    orders: dict[Any, list[WorkOrder]]
    seen: dict[Any, list[StageObservation]]
    counts: dict[Any, list[ScoutingCount]]
    lots: dict[str, Lot]
    units: str


def _gather(
    farm: Farm,
    blocks: list[Block],
    plans: list[Programme],
    starts: dt.datetime,
    ends: dt.datetime,
    since: dt.date,
    until: dt.date,
) -> _Gathered:
    keys = [one.key for one in blocks]
    records = queries.records(farm=farm, status="current", block__in=keys)
    records = records.filter(finished_at__gte=starts, finished_at__lt=ends).order_by("finished_at", "id")
    orders = queries.work_orders(farm=farm, programme__in=[one.key for one in plans], block__in=keys)
    seen = StageObservation.objects.for_farm(farm).filter(
        block__in=keys, observed_on__gte=since, observed_on__lte=until
    )
    counts = ScoutingCount.objects.for_farm(farm).filter(
        block__in=keys, observed_at__gte=starts, observed_at__lt=ends
    )
    by_block = _by_block(records)
    used = {
        lot["lot"]
        for rows in by_block.values()
        for record in rows
        for product in record.body["products"]
        for lot in product.get("lots") or []
    }
    return _Gathered(
        records=by_block,
        orders=_by_block(orders.exclude(status="cancelled").order_by("starts_at", "id")),
        seen=_by_block(seen.order_by("observed_on", "created_at", "id")),
        counts=_by_block(counts.order_by("observed_at", "id")),
        lots={str(lot.id): lot for lot in store.lots(farm=farm).filter(id__in=used)},
        units=farm.units,
    )


def _by_block(rows: Iterable[Any]) -> dict[Any, list[Any]]:
    found: dict[Any, list[Any]] = defaultdict(list)
    for row in rows:
        found[row.block_id].append(row)
    return found


def _block(block: Block, plans: list[Programme], found: _Gathered, zone: zoneinfo.ZoneInfo) -> BlockReview:
    records = found.records.get(block.key, [])
    sprays = windows.sprays_of(block, records, plans)
    lines = windows.lines_of(
        block, plans, found.orders.get(block.key, []), sprays, found.seen.get(block.key, [])
    )
    metals = sums.metals(records, block, units=found.units)
    came = _results(records, found.counts.get(block.key, []), zone)
    return BlockReview(
        block=block,
        lines=tuple(lines),
        sprays=tuple(sprays),
        metals=tuple(metals),
        results=tuple(came),
        costs=sums.costs(records, block, found.lots),
        changes=tuple(advice.changes(lines=lines, sprays=sprays, metals=metals, found=came)),
    )


def _results(
    records: list[ApplicationRecord], counts: list[ScoutingCount], zone: zoneinfo.ZoneInfo
) -> list[Result]:
    """Return what came of the season for each target that was sprayed against or counted.

    A season is judged as a whole: counts before the first spray against a target, and after the last.
    """
    made = []
    for target in sorted({one.target for one in counts}):
        against = [one for one in records if target in (one.body.get("targets") or [])]
        mine = [one for one in counts if one.target == target]
        if not against:
            continue
        first, last = against[0].finished_at, against[-1].finished_at
        judged = [one for one in mine if one.observed_at <= first or one.observed_at > last]
        made += results(judged, treated_at=first, zone=zone)
    return made
