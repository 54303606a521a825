"""Blocks and lines of a planning run: what was seen, what was done, and the last safe day of each block."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Any

from mixing.quantities import parse_quantity
from orchard.blocks import queries as blocks
from orchard.blocks.models import Block
from orchard.tasks.models import PlanningRun, WorkOrder
from scheduling.forecast import Event, Forecast, LastSafeDay, last_safe_day
from scheduling.lines import YEAR_ROUND, BlockSeen, ProgrammeLine


def blocks_of(run: PlanningRun) -> dict[str, Block]:
    """Return the blocks that are planned for, by id."""
    rows = blocks.blocks(farm=run.farm).filter(archived=False).order_by("id")
    if run.blocks is not None:
        rows = rows.filter(id__in=run.blocks)
    return {str(block.id): block for block in rows}


def line_of(raw: dict[str, Any], ground: dict[str, Block]) -> ProgrammeLine:
    """Return a line of the programme with the blocks of its names and crops."""
    named, crops = raw.get("blocks") or [], raw.get("crops") or []
    stage = raw.get("stage")
    minimum, repeat = raw.get("leaf_drop_minimum_percent"), raw.get("repeat_after")
    return ProgrammeLine(
        id=raw["id"],
        title=raw["title"],
        kind=raw["kind"],
        blocks=tuple(id for id, block in ground.items() if id in named or block.crop in crops),
        stage=(stage["from"], stage["to"]) if stage else YEAR_ROUND,
        products=tuple(one["product"] for one in raw.get("products") or []),
        leaf_drop_minimum_percent=None if minimum is None else Decimal(minimum),
        repeat_after=None if repeat is None else parse_quantity(repeat),
    )


def seen_in(
    block: Block, run: PlanningRun, orders: Sequence[WorkOrder], zone: zoneinfo.ZoneInfo
) -> BlockSeen:
    """Return what is known of a block when the plan begins.

    :param orders: the programme's own
    """
    stage = blocks.stage_on(block=block, at=run.starts_at)
    leaves = blocks.leaf_drop_on(block=block, at=run.starts_at)
    done: dict[str, tuple[dt.date, ...]] = {}
    for order in orders:
        if order.block == block and order.status == "done" and order.finished_at is not None:
            day = order.finished_at.astimezone(zone).date()
            done[str(order.line)] = (*done.get(str(order.line), ()), day)
    return BlockSeen(
        block=str(block.id),
        bbch=stage.bbch if stage else None,
        leaf_drop_percent=leaves.leaf_drop_percent if leaves else None,
        observed_on=stage.observed_on if stage else None,
        done=done,
    )


def last_safe_days(ground: Iterable[Block]) -> dict[str, LastSafeDay]:
    """Return the last safe day of each block; where a block has none, the earliest of its crop's."""
    own = {str(block.id): (block, _last_safe(block)) for block in ground}
    known: dict[str, LastSafeDay] = {}
    for id, (block, day) in own.items():
        others = [one for other, one in own.values() if one is not None and other.crop == block.crop]
        found = day or min(others, key=lambda one: one.on, default=None)
        if found is not None:
            known[id] = found
    return known


def _last_safe(block: Block) -> LastSafeDay | None:
    found = [
        Forecast(
            event=Event.BUDBURST,
            predicted=row.predicted,
            low80=row.low80,
            high80=row.high80,
            issued_on=row.issued_on,
            model=row.model,
            springs=0,
            says="",
        )
        for row in blocks.forecasts(block=block)
        if row.event == Event.BUDBURST
    ]
    return last_safe_day(found) if found else None


def spray_of(raw: Mapping[str, Any]) -> dict[str, Any]:
    """Return the spray as a mix check reads it; the block's own trees and ground are filled in there."""
    for name in ("volume_per_tree", "volume_per_area"):
        if raw.get(name):
            return {name: raw[name]}
    return {}


def changed(draft: WorkOrder, raw: Mapping[str, Any]) -> bool:
    """Say whether a draft holds another mix than its line has: one of the two was changed since."""
    mixes = [raw.get("products"), *(one["products"] for one in raw.get("alternatives") or [])]
    rest = (spray_of(raw), raw.get("targets") or [])
    return draft.products not in mixes or (draft.spray, draft.targets or []) != rest


def mix_of(raw: dict[str, Any], draft: WorkOrder | None) -> dict[str, Any]:
    """Return what is sprayed for a line: what its draft says where that was changed, else what the line says.

    Nobody's change of a draft is undone by a plan, and no plan is made for what nobody will spray.
    """
    if draft is None or draft.kind != "spray" or not changed(draft, raw):
        return raw
    return {"products": draft.products, "targets": draft.targets or [], **(draft.spray or {})}
