"""The one place that turns the orchard's rows into what the planner takes."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from mixing.quantities import parse_quantity
from orchard.blocks import queries as blocks
from orchard.blocks.models import Block
from orchard.crews import queries as crews
from orchard.crews.models import Crew, Sprayer
from orchard.inventory import queries as stock
from orchard.tasks import queries as tasks
from orchard.tasks.models import PlanningRun, WorkOrder
from scheduling import bounds
from scheduling.forecast import Event, Forecast, LastSafeDay, last_safe_day
from scheduling.lines import BlockSeen, ProgrammeLine
from scheduling.spray_days import DayVerdict, judge_days
from scheduling.weather import WeatherDay

YEAR_ROUND = {"from": 0, "to": 99}
LOOK_AHEAD = dt.timedelta(days=7)  # dry days after the last day of a plan count too


@dataclass(frozen=True, slots=True)
class Gathered:
    """What one planning run is made from."""

    on: dt.date
    zone: zoneinfo.ZoneInfo
    lines: tuple[ProgrammeLine, ...]
    raw_lines: dict[str, dict[str, Any]]
    blocks: dict[str, Block]
    seen: tuple[BlockSeen, ...]
    days: dict[str, tuple[DayVerdict, ...]]
    last_safe: LastSafeDay | None
    crew: Crew | None
    sprayer: Sprayer | None
    open_orders: frozenset[tuple[str, str]]


def gather(*, run: PlanningRun) -> Gathered:
    """Return the plain inputs of a planning run, as they stand now."""
    zone = zoneinfo.ZoneInfo(run.farm.zone)
    on, until = run.starts_at.astimezone(zone).date(), run.ends_at.astimezone(zone).date()
    ground = _blocks(run)
    lines = tuple(_line(raw, ground) for raw in run.programme.lines)
    orders = _orders(run)
    return Gathered(
        on=on,
        zone=zone,
        lines=lines,
        raw_lines={raw["id"]: raw for raw in run.programme.lines},
        blocks=ground,
        seen=tuple(_seen(block, run, orders, zone) for block in ground.values()),
        days=_days(run, lines, ground, on=on, until=until),
        last_safe=_last_safe(ground.values()),
        crew=_chosen(crews.crews(farm=run.farm).filter(archived=False), run.crews),
        sprayer=_sprayer(run),
        open_orders=frozenset(
            (str(order.line), str(order.block.id))
            for order in orders
            if order.status != "done" and order.block
        ),
    )


def _blocks(run: PlanningRun) -> dict[str, Block]:
    rows = blocks.blocks(farm=run.farm).filter(archived=False).order_by("id")
    if run.blocks is not None:
        rows = rows.filter(id__in=run.blocks)
    return {str(block.id): block for block in rows}


def _line(raw: dict[str, Any], ground: dict[str, Block]) -> ProgrammeLine:
    named, crops = raw.get("blocks") or [], raw.get("crops") or []
    stage = raw.get("stage") or YEAR_ROUND
    minimum, repeat = raw.get("leaf_drop_minimum_percent"), raw.get("repeat_after")
    return ProgrammeLine(
        id=raw["id"],
        title=raw["title"],
        kind=raw["kind"],
        blocks=tuple(id for id, block in ground.items() if id in named or block.crop in crops),
        stage=(stage["from"], stage["to"]),
        products=tuple(one["product"] for one in raw.get("products") or []),
        leaf_drop_minimum_percent=None if minimum is None else Decimal(minimum),
        repeat_after=None if repeat is None else parse_quantity(repeat),
    )


def _orders(run: PlanningRun) -> list[WorkOrder]:
    rows = tasks.work_orders(farm=run.farm).filter(programme=run.programme).exclude(status="cancelled")
    return list(rows.order_by("id"))


def _seen(block: Block, run: PlanningRun, orders: Sequence[WorkOrder], zone: zoneinfo.ZoneInfo) -> BlockSeen:
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


def _days(
    run: PlanningRun, lines: Iterable[ProgrammeLine], ground: dict[str, Block], *, on: dt.date, until: dt.date
) -> dict[str, tuple[DayVerdict, ...]]:
    known = weather_days(run, since=on, until=until + LOOK_AHEAD)
    farm = bounds.of_farm(run.farm.limits)
    judged = {}
    for line in lines:
        labels = [
            bound
            for label in _labels(run, line, on=on)
            for crop in sorted({ground[id].crop for id in line.blocks})
            for bound in bounds.of_label(label, crop=crop)
        ]
        in_force = bounds.in_force(labels=labels, farm=farm) if line.kind == "spray" else ()
        verdicts = judge_days(known, bounds=in_force)
        judged[line.id] = tuple(one for one in verdicts if on <= one.day.on <= until)
    return judged


def _labels(run: PlanningRun, line: ProgrammeLine, *, on: dt.date) -> list[dict[str, Any]]:
    rows = stock.products(farm=run.farm).filter(id__in=line.products).order_by("id")
    versions = [stock.label_in_force(product=product, on=on) for product in rows]
    return [version.label for version in versions if version is not None]


def weather_days(run: PlanningRun, *, since: dt.date, until: dt.date) -> list[WeatherDay]:
    """Return the farm's weather days, observed before forecast, one for each day."""
    rows = blocks.days(farm=run.farm, since=since, until=until).order_by("on", "-kind", "station", "id")
    found: dict[dt.date, WeatherDay] = {}
    for row in rows:
        found.setdefault(
            row.on,
            WeatherDay(row.on, row.minimum, row.maximum, row.rain, row.wind, row.humidity_percent),
        )
    return list(found.values())


def _last_safe(ground: Iterable[Block]) -> LastSafeDay | None:
    """Return the last safe day of the earliest block: what is safe there is safe in the others."""
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
        for block in ground
        for row in blocks.forecasts(block=block)
        if row.event == Event.BUDBURST
    ]
    return last_safe_day(found) if found else None


def _chosen(rows: Any, wanted: list[str] | None) -> Any:
    if wanted is not None:
        rows = rows.filter(id__in=wanted)
    return rows.order_by("id").first()


def _sprayer(run: PlanningRun) -> Sprayer | None:
    """Return the sprayer with the largest tank among those that may be taken."""
    rows = crews.plain_sprayers(farm=run.farm).filter(archived=False, dedicated_to=None)
    if run.sprayers is not None:
        rows = rows.filter(id__in=run.sprayers)
    tanks = [(row.tank.in_base(), row) for row in rows.order_by("id") if row.tank is not None]
    return max(tanks, key=lambda pair: pair[0])[1] if tanks else None
