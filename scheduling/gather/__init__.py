"""The one place that turns the orchard's rows into what the planner takes."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import permutations
from typing import Any

from django.utils.translation import gettext_noop as noop

from orchard.api.refusals import Fault, Unprocessable
from orchard.blocks.models import Block
from orchard.crews import queries as crew_queries
from orchard.crews.models import Crew as CrewRow
from orchard.crews.models import Sprayer
from orchard.farms.actors import Actor
from orchard.inventory import queries as store
from orchard.inventory.models import Product
from orchard.tasks import queries as tasks
from orchard.tasks import titles
from orchard.tasks.models import PlanningRun, WorkOrder
from orchard.tasks.told import Told
from orchard.tasks.windows import outlines_of
from scheduling import bounds, practice
from scheduling.assignment import Job, Problem, Spell, Was, Way
from scheduling.assignment.problem import Span
from scheduling.forecast import LastSafeDay
from scheduling.gather import bookings, ground, hands, mixes
from scheduling.gather.between import Waits
from scheduling.gather.bookings import Frame
from scheduling.gather.mixes import UNITS, Mix
from scheduling.gather.near import Neighbours
from scheduling.gather.openings import closed_to, spells_in
from scheduling.gather.skies import Skies
from scheduling.gather.standing import Standing, standing
from scheduling.gather.wishes import Wish, ends_with_the_buds, opens, over_with_the_buds
from scheduling.lines import BlockSeen, LeftOut, ProgrammeLine, barred, not_before, with_draft
from scheduling.roads import drive_minutes

MINUTE = dt.timedelta(minutes=1)
A_WEEK = dt.timedelta(days=6)
LEAVES = "leaf_removal"


@dataclass(frozen=True, slots=True)
class Gathered:
    """What one planning run is made from.

    :ivar wishes: by the name of their job in the problem
    :ivar left_out: lines and blocks that are left out whatever the hours are
    """

    frame: Frame
    problem: Problem
    wishes: dict[str, Wish]
    left_out: tuple[LeftOut, ...]
    blocks: dict[str, Block]
    crews: dict[str, CrewRow]
    sprayers: dict[str, Sprayer]
    products: dict[str, Product]
    run: PlanningRun
    now: dt.datetime
    stay: tuple[Standing, ...]
    waits: Waits
    shut: Mapping[str, tuple[Span, ...]]

    def closing(self, wish: Wish) -> Iterator[tuple[Standing | None, Span]]:
        """Yield when the block of a wish is closed, and by which order that stays."""
        return closed_to(wish, self.stay, self.waits, self.frame)

    def before(self, wish: Wish) -> tuple[Spell, ...]:
        """Return when a wish might have been done from today until the plan begins."""
        zone = self.frame.zone
        today, last = self.now.astimezone(zone).date(), self.frame.first - dt.timedelta(days=1)
        since = max(today, last - A_WEEK, wish.since)
        if since > last:
            return ()
        found = Skies(self.run.farm, since=since, until=last, zone=zone).opening(wish.bounds).stretches
        days = sorted({one.on for one in found})
        closed = (
            {} if wish.mix is None else mixes.forbidden_days(wish.mix, days=days, zone=zone, now=self.now)
        )
        return spells_in(
            [one for one in found if one.on not in closed],
            within=(self.frame.minute(self.now), self.frame.midnight(self.frame.first)),
            closed=(*self.shut[wish.id], *(span for _, span in self.closing(wish))),
            frame=self.frame,
        )


@dataclass(slots=True)
class _Known:
    """Everything that is read once."""

    run: PlanningRun
    frame: Frame
    blocks: dict[str, Block]
    skies: Skies
    products: dict[str, Product]
    sprayers: list[Sprayer]
    flows: Mapping[Any, Any]
    open_orders: list[WorkOrder]
    last_safe: dict[str, LastSafeDay]
    drives: Mapping[str, float]
    by: Actor
    now: dt.datetime
    taken: dict[str, Decimal] = field(default_factory=dict)


def gather(*, run: PlanningRun, by: Actor, now: dt.datetime) -> Gathered:
    """Return the plain inputs of a planning run, as they stand now."""
    known = _known(run, by=by, now=now)
    lines = [ground.line_of(raw, known.blocks) for raw in run.programme.lines]
    raws = {raw["id"]: raw for raw in run.programme.lines}
    ours = list(
        tasks.work_orders(farm=run.farm)
        .filter(programme=run.programme)
        .exclude(status="cancelled")
        .order_by("id")
    )
    seen = {id: ground.seen_in(block, run, ours, known.frame.zone) for id, block in known.blocks.items()}
    wishes: list[Wish] = []
    left_out: list[LeftOut] = []
    leaves: set[str] = set()
    for line in lines:
        for id in line.blocks:
            for one in _asked(known, line, raws[line.id], known.blocks[id], seen[id]):
                if isinstance(one, LeftOut):
                    left_out.append(one)
                elif one.kind != LEAVES or one.title is None or id not in leaves:
                    wishes.append(one)  # the leaves of a block are taken off once, whoever waits for it
                    leaves |= {id} if one.title else set()
    drafts = {wish.draft.key for wish in wishes if wish.draft is not None}
    fixed = [order for order in known.open_orders if order.key not in drafts]
    stay = standing(fixed, blocks={str(wish.block.id) for wish in wishes}, by=by, now=now)
    waits = Waits(most=len(known.frame.days) + bookings.KEPT.days, now=now)
    beside = Neighbours(run.farm, sprayers=known.sprayers, now=now)
    shut = {wish.id: tuple(beside.closed_to(wish, fixed, known.frame)) for wish in wishes}
    problem = _problem(known, wishes, fixed, stay, waits, shut, beside.pairs(wishes))
    return Gathered(
        frame=known.frame,
        problem=problem,
        wishes={wish.id: wish for wish in wishes},
        left_out=tuple(left_out),
        blocks=known.blocks,
        crews={str(row.id): row for row in crew_queries.crews(farm=run.farm).order_by("id")},
        sprayers={str(row.id): row for row in known.sprayers},
        products=known.products,
        run=run,
        now=now,
        stay=tuple(stay),
        waits=waits,
        shut=shut,
    )


def _known(run: PlanningRun, *, by: Actor, now: dt.datetime) -> _Known:
    zone = zoneinfo.ZoneInfo(run.farm.zone)
    frame = Frame(zone, run.starts_at.astimezone(zone).date(), run.ends_at.astimezone(zone).date())
    blocks = ground.blocks_of(run)
    products = {str(row.id): row for row in store.products(farm=run.farm)}
    return _Known(
        run=run,
        frame=frame,
        blocks=blocks,
        skies=Skies(run.farm, since=frame.first, until=frame.last, zone=zone),
        products=products,
        sprayers=bookings.sprayers_of(run),
        flows=bookings.flows_of(run.farm, on=frame.first),
        open_orders=bookings.open_orders(run, until=run.ends_at),
        last_safe=ground.last_safe_days(blocks.values()),
        drives=drive_minutes(blocks.values(), outlines=outlines_of(None, farm=run.farm)),
        by=by,
        now=now,
    )


def _asked(
    known: _Known, line: ProgrammeLine, raw: dict[str, Any], block: Block, seen: BlockSeen
) -> Iterator[Wish | LeftOut]:
    """Yield what a line asks for on a block; where leaves hang on before a spray, their removal as well."""
    orders = [
        one
        for one in known.open_orders
        if one.programme == known.run.programme and str(one.line) == line.id and one.block == block
    ]
    reason = barred(line, seen)
    drafted = next((order for order in orders if order.status == "draft"), None)
    if reason is not None:
        yield with_draft(reason, drafted)
        if reason.code == "leaf_drop_unmet" and line.kind == "spray":
            yield from _leaves(known, line, raw, block, seen)
        return
    if any(order.status != "draft" for order in orders):
        yield LeftOut(
            line.id, str(block.id), "planned_already", Told(noop("an order for it is open already"))
        )
        return
    last_safe = known.last_safe.get(str(block.id)) if over_with_the_buds(line) else None
    if last_safe is None and ends_with_the_buds(line):
        says = Told(noop("no forecast of budburst: no last safe day is known"))
        yield with_draft(LeftOut(line.id, str(block.id), "no_forecast", says), drafted)
        return
    yield from _wish(known, line, raw, block, seen, last_safe, orders[0] if orders else None)


def _leaves(
    known: _Known, line: ProgrammeLine, raw: dict[str, Any], block: Block, seen: BlockSeen
) -> Iterator[Wish]:
    orders = [one for one in known.open_orders if one.kind == LEAVES and one.block == block]
    if orders:
        return
    yield Wish(
        line=line,
        raw=raw,
        block=block,
        seen=seen,
        kind=LEAVES,
        since=dt.date.min,
        after=known.frame.first,
        last_safe=None,
        opening=known.skies.opening(()),
        title=f"{titles.leaves_before(line.title)}, {block.name}",
    )


def _wish(
    known: _Known,
    line: ProgrammeLine,
    raw: dict[str, Any],
    block: Block,
    seen: BlockSeen,
    last_safe: LastSafeDay | None,
    draft: WorkOrder | None,
) -> Iterator[Wish | LeftOut]:
    since = opens(line, last_safe, not_before(line, seen))
    after = max(known.frame.first, since)
    mix = None
    if line.kind == "spray":
        if not known.sprayers:
            says = Told(
                noop(
                    "there is no sprayer that may be taken: none with a tank, or all are kept for weed "
                    "killers"
                )
            )
            yield with_draft(LeftOut(line.id, str(block.id), "no_sprayer", says), draft)
            return
        try:
            mix = _mix(known, ground.mix_of(raw, draft), block, after)
        except Unprocessable as wrong:
            fault = wrong.faults[0]
            yield with_draft(LeftOut(line.id, str(block.id), fault.code, fault.detail), draft)
            return
    limits = _bounds(known, mix, block)
    wish = Wish(
        line=line,
        raw=raw,
        block=block,
        seen=seen,
        kind=line.kind,
        since=since,
        after=after,
        last_safe=last_safe,
        opening=known.skies.opening(limits),
        bounds=limits,
        mix=mix,
        draft=draft,
    )
    if mix is not None:
        days = sorted({stretch.on for stretch in wish.stretches})
        wish.closed = mixes.forbidden_days(mix, days=days, zone=known.frame.zone, now=known.now)
    yield wish


def _mix(known: _Known, raw: dict[str, Any], block: Block, after: dt.date) -> Mix:
    if any(one["product"] not in known.products for one in raw.get("products") or []):
        raise Unprocessable(Fault("not_found", Told(noop("a product of the line is no longer on the farm"))))
    if not ground.spray_of(raw):
        raise Unprocessable(
            Fault("required", Told(noop("the line does not say how much spray a tree or an area gets")))
        )
    largest = sorted(known.sprayers, key=lambda one: (one.tank.in_base() if one.tank else 0, str(one.id)))
    mix = mixes.first_that_fits(
        largest[::-1],
        raw=raw,
        block=block,
        spray=ground.spray_of(raw),
        products=known.products,
        at=dt.datetime.combine(max(after, known.frame.first), dt.time(10), tzinfo=known.frame.zone),
        taken=known.taken,
        by=known.by,
        now=known.now,
    )
    for id, need in mix.needs.items():
        known.taken[id] = known.taken.get(id, Decimal(0)) + Decimal(need) / UNITS
    return mix


def _bounds(known: _Known, mix: Mix | None, block: Block) -> tuple[bounds.Bound, ...]:
    if mix is None:
        return ()
    labels = [found for _, label in mix.labels for found in bounds.of_label(label, crop=block.crop)]
    return bounds.in_force(labels=labels, farm=bounds.of_farm(known.run.farm.limits or {}))


def _problem(
    known: _Known,
    wishes: Sequence[Wish],
    fixed: Sequence[WorkOrder],
    stay: Sequence[Standing],
    waits: Waits,
    shut: Mapping[str, tuple[Span, ...]],
    near: Mapping[str, frozenset[str]],
) -> Problem:
    jobs = tuple(_job(known, wish, stay, waits, shut[wish.id]) for wish in wishes)
    gaps = {
        (one.id, other.id): _gap(one, other, waits)
        for one, other in permutations(wishes, 2)
        if one.block.key == other.block.key
    }
    wanted = [id for wish in wishes if wish.mix for id in wish.mix.needs]
    drafts = [
        order
        for order in fixed
        if order.status == "draft"
        and order.kind == "spray"
        and (order.starts_at <= known.run.ends_at or order.programme == known.run.programme)
    ]
    return Problem(
        jobs=jobs,
        crews=tuple(hands.crews_of(known.run, fixed, known.frame, asked=[job.asks for job in jobs])),
        tools=tuple(bookings.tools_of(known.sprayers, fixed, known.frame)),
        gaps=gaps,
        stocks=tuple(bookings.stocks_of(known.products, wanted, drafts, known.frame, known.now)),
        near=near,
    )


def _gap(first: Wish, then: Wish, waits: Waits) -> int:
    """Return the minutes that the block is closed after the first job, or that labels want between both."""
    if first.mix is None:
        return 0
    entry = -(-first.mix.re_entry // MINUTE)
    return entry if then.mix is None else max(entry, waits.minutes(first.mix.check, then.mix.check))


def _job(known: _Known, wish: Wish, stay: Sequence[Standing], waits: Waits, shut: tuple[Span, ...]) -> Job:
    ways = tuple(_ways(known, wish))
    frame = known.frame
    spells = spells_in(
        wish.stretches,
        within=(_from(known), frame.minute(known.run.ends_at)),
        closed=(*shut, *(span for _, span in closed_to(wish, stay, waits, frame))),
        frame=frame,
        wish=wish,
    )
    draft = wish.draft
    was = None
    if draft is not None:
        crew, tool = (None if one is None else str(one.id) for one in (draft.crew, draft.sprayer))
        was = Was(crew, tool, frame.minute(draft.starts_at))
    handled = wish.kind in ("spray", "calibration", "equipment_wash")
    needs = wish.mix.needs if wish.mix else {}
    asks = hands.asks_of(wish.mix) if wish.mix else ()
    return Job(wish.id, str(wish.block.id), ways, spells, needs, handled, was, asks)


def _from(known: _Known) -> int:
    """Return the first minute of the plan in which work may begin: nothing is planned into the past."""
    step = int(practice.practice()["day"]["step_minutes"])
    first, now = known.frame.minute(known.run.starts_at), known.frame.minute(known.now) + 1
    return max(first, -(-now // step) * step)


def _ways(known: _Known, wish: Wish) -> Iterator[Way]:
    drive = known.drives[str(wish.block.id)]
    if wish.mix is None:
        people = 2
        leaves_on = 100 - wish.seen.leaf_drop_percent if wish.seen.leaf_drop_percent is not None else None
        minutes, road = practice.other_minutes(
            kind=wish.kind,
            drive=drive,
            trees=wish.block.trees,
            people=people,
            leaves_on_percent=leaves_on,
        )
        if wish.kind in ("calibration", "equipment_wash"):
            yield from (Way(str(one.id), minutes, road) for one in known.sprayers)
        else:
            yield Way(None, minutes, road)
        return
    unfit = mixes.unfit(wish.mix, known.sprayers, now=known.now)
    for one in known.sprayers:
        if str(one.id) not in unfit:
            loads = practice.loads_of(wish.mix.litres, one.tank)
            minutes, road = practice.spray_minutes(
                kind=one.kind,
                litres=wish.mix.litres,
                loads=loads,
                drive=drive,
                flow=known.flows.get(one.key),
            )
            yield Way(str(one.id), minutes, road)
