"""The end of the work: the record, what became of the rest of the tank, and what follows from it."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db import transaction

from mixing.quantities import Quantity, QuantityError
from orchard.api.refusals import Conflict, Fault, Unprocessable
from orchard.blocks.models import Block
from orchard.crews import services as crew_services
from orchard.crews.models import Worker
from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.inventory import queries as store
from orchard.inventory import services as stock
from orchard.tasks import amounts, queries
from orchard.tasks.models import Incident, Load, WorkOrder
from orchard.tasks.services import applications, checking, demands, loads, moves
from orchard.tasks.services.applications import Application, Line

FATES = ("none", "sprayed_out", "kept_labelled", "disposed")


class PossibleDuplicate(Conflict):
    """The order is done already and somebody else says so again: what they sent is kept with the order."""


@dataclass(frozen=True, slots=True)
class Leftover:
    """What was left in the tank, and what became of it."""

    volume: Quantity
    fate: str
    block: Block | None = None


@dataclass(frozen=True, slots=True)
class Mixed:
    """What the loads of an order held together.

    :ivar lots: per product, how much of which lot
    """

    volume: Quantity
    lots: Mapping[str, tuple[tuple[str, Quantity], ...]]


def finish(
    *,
    order: WorkOrder,
    by: Actor,
    now: dt.datetime,
    id: uuid.UUID | None = None,
    finished_at: dt.datetime | None = None,
    nothing_unusual: bool | None = None,
    incidents: Sequence[Incident] = (),
    leftover: Leftover | None = None,
    sprayed: Quantity | None = None,
    sprayed_by: Sequence[Worker] | None = None,
    note: str | None = None,
) -> WorkOrder:
    """End the work; of a spray make the record. The same id again does nothing. The caller holds the lock.

    :param sprayed: what left the nozzles on the order's block; all that was mixed where absent
    :raises Unprocessable: `required`, `leftover_fate_required`, an end before the start
    :raises Conflict: `state_conflict`, `possible_duplicate`, `loads_missing`, `mix_stop` (a leftover)
    """
    if finished_before(order=order, id=id):
        return order
    finished_at = finished_at or now
    told = _Told(nothing_unusual, incidents, leftover, sprayed, sprayed_by, note)
    if order.status == "done":
        raise _duplicate(order)
    _refuse(_content_faults(order, told, finished_at))
    moves.demand(order, action="finish")
    columns: dict[str, Any] = {}
    if order.kind == "spray":
        columns["re_entry_until"] = _record(order, told, id=id, finished_at=finished_at, by=by, now=now)
        stock.release(farm=order.farm, work_order=order.id, by=by, now=now)
    if order.kind == "equipment_wash":
        _empty(order, finished_at=finished_at, now=now)
    moves.make(
        order, action="finish", by=by, now=now, reason=note, finished_at=finished_at, finish_id=id, **columns
    )
    journal.later("work_order.done", farm=order.farm, subject=order.id, by=by, now=now)
    return order


def finished_before(*, order: WorkOrder, id: uuid.UUID | None) -> bool:
    """Return whether this very finish was done already."""
    return order.status == "done" and id is not None and order.finish_id == id


@dataclass(frozen=True, slots=True)
class _Told:
    nothing_unusual: bool | None
    incidents: Sequence[Incident]
    leftover: Leftover | None
    sprayed: Quantity | None
    sprayed_by: Sequence[Worker] | None
    note: str | None


def _duplicate(order: WorkOrder) -> PossibleDuplicate:
    record = queries.records_of(farm=order.farm, orders=[order]).get(order.id)
    refers = ("application_record", str(record.id)) if record else ("work_order", str(order.id))
    detail = "this order was finished already: what you sent is kept beside it for the crew lead to compare"
    return PossibleDuplicate(Fault("possible_duplicate", detail, refers_to=refers))


def keep_duplicate(*, order: WorkOrder, body: Any, by: Actor, now: dt.datetime) -> None:
    """Keep the body of a refused finish with its order, once for each body and sender.

    For after the refusal has rolled its own transaction back.
    """
    with transaction.atomic():
        row = queries.locked_order(farm=order.farm, id=order.id)
        if row is None:
            return
        sent = (by.as_json(), body)
        if any((kept["by"], kept["body"]) == sent for kept in row.possible_duplicates):
            return
        claim = {
            "id": body.get("id") if isinstance(body, dict) else None,
            "received_at": now.isoformat(),
            "by": by.as_json(),
            "body": body,
        }
        journal.touch(row, now=now, possible_duplicates=[*row.possible_duplicates, claim])


def _refuse(faults: Iterable[Fault]) -> None:
    found = list(faults)
    if found:
        raise Unprocessable(*found)


def _content_faults(order: WorkOrder, told: _Told, finished_at: dt.datetime) -> Iterator[Fault]:
    if order.started_at is not None and finished_at < order.started_at:
        yield Fault(
            "out_of_range", f"this lies before the start, {order.started_at.isoformat()}", "/finished_at"
        )
    if order.kind != "spray":
        return
    if not told.nothing_unusual and not told.incidents:
        yield Fault(
            "required", "say that nothing unusual happened, or name the incidents", "/nothing_unusual"
        )
    mixed = _mixed_volume(queries.loads(order=order))
    if mixed is not None:
        yield from _leftover_faults(order, told, mixed)


def _leftover_faults(order: WorkOrder, told: _Told, mixed: Quantity) -> Iterator[Fault]:
    sprayed, rest = told.sprayed, told.leftover
    if sprayed is not None and sprayed.in_base() > mixed.in_base():
        yield Fault(
            "out_of_range", f"only {amounts.words(mixed)} were mixed: record the missing load", "/sprayed"
        )
    elif (rest is None or rest.fate == "none") and _something_is_left(order, sprayed, rest, mixed):
        yield Fault(
            "leftover_fate_required", f"say what became of the rest: {', '.join(FATES[1:])}", "/leftover"
        )
    if rest is None:
        return
    if rest.volume.in_base() > mixed.in_base():
        yield Fault("out_of_range", f"only {amounts.words(mixed)} were mixed", "/leftover/volume")
    if rest.fate != "none" and rest.volume.value == 0:
        yield Fault("out_of_range", "nothing is left: the fate is none", "/leftover/volume")
    if rest.fate == "sprayed_out" and rest.block is None:
        yield Fault("required", "name the block that it was sprayed on", "/leftover/block")


def _something_is_left(
    order: WorkOrder, sprayed: Quantity | None, rest: Leftover | None, mixed: Quantity
) -> bool:
    if sprayed is not None:
        return sprayed.in_base() < mixed.in_base()
    if rest is not None:
        return rest.volume.value > 0
    last = queries.loads(order=order).order_by("number", "id").last()
    return last is not None and last.leftover is not None and last.leftover.value > 0


def _mixed_volume(rows: Iterable[Load]) -> Quantity | None:
    return amounts.total(row.spray for row in rows)


def _record(
    order: WorkOrder,
    told: _Told,
    *,
    id: uuid.UUID | None,
    finished_at: dt.datetime,
    by: Actor,
    now: dt.datetime,
) -> dt.datetime | None:
    """Make the record, or two where the rest was sprayed out elsewhere; return the end of re-entry."""
    rows = list(queries.loads(order=order).order_by("number", "id"))
    if not rows:
        detail = "no load is recorded: record what was mixed first"
        raise Conflict(Fault("loads_missing", detail, refers_to=("work_order", str(order.id))))
    mixed = mixed_in(rows)
    rest = told.leftover if told.leftover and told.leftover.volume.value > 0 else None
    if rest is not None and rest.fate == "sprayed_out":
        _may_be_sprayed_out(order, rest, mixed.volume, at=finished_at, by=by, now=now)
    deducted = [loads.deduct_load(load=row, by=by, now=now) for row in rows]
    own, other = _shares(order, told, rest, mixed.volume)
    said = _application(order, told, mixed, own, rows, deducted, finished_at=finished_at)
    record = applications.write(farm=order.farm, said=said, by=by, now=now, id=id)
    if other is not None and rest is not None and rest.block is not None:
        second = _elsewhere(said, rest.block, mixed, other, started_at=rows[-1].at, finished_at=finished_at)
        applications.write(farm=order.farm, said=second, by=by, now=now)
    return record.re_entry_until


def mixed_in(rows: Sequence[Load]) -> Mixed:
    """Return what loads held together, lot by lot."""
    volume = _mixed_volume(rows)
    assert volume is not None
    lots: dict[str, dict[str, list[Quantity]]] = {}
    for row in rows:
        for one in row.products:
            for lot in one["lots"]:
                lots.setdefault(one["product"], {}).setdefault(lot["lot"], []).append(
                    amounts.read(lot["amount"])
                )
    return Mixed(volume, {product: tuple(_summed(parts)) for product, parts in lots.items()})


def _summed(parts: Mapping[str, list[Quantity]]) -> Iterator[tuple[str, Quantity]]:
    """Yield each lot once for each kind of amount: a mass and a volume are not added up."""
    for lot, told in parts.items():
        try:
            both = amounts.total(told)
            assert both is not None
            yield lot, both
        except QuantityError:
            yield from ((lot, one) for one in told)


def _may_be_sprayed_out(
    order: WorkOrder, rest: Leftover, mixed: Quantity, *, at: dt.datetime, by: Actor, now: dt.datetime
) -> None:
    assert rest.block is not None
    check = checking.check_leftover(
        order=order, block=rest.block, volume=rest.volume, mixed=mixed, at=at, by=by, now=now
    )
    faults = list(demands.mix_stops(check, now=now))
    if faults:
        raise Conflict(*faults)


def _shares(
    order: WorkOrder, told: _Told, rest: Leftover | None, mixed: Quantity
) -> tuple[Quantity, Quantity | None]:
    """Return how much of the mix went on the order's own block, and how much on another one."""
    if rest is not None and rest.fate == "sprayed_out":
        if rest.block == order.block:
            return mixed, None
        return amounts.less(mixed, rest.volume), rest.volume
    if told.sprayed is not None:
        return told.sprayed, None
    return (amounts.less(mixed, rest.volume) if rest is not None else mixed), None


def _lines(order: WorkOrder, mixed: Mixed, share: Quantity) -> Iterator[Line]:
    rates = {one["product"]: one["rate"] for one in order.products}
    rows = {str(row.id): row for row in store.products(farm=order.farm).filter(id__in=list(mixed.lots))}
    wanted = {lot for told in mixed.lots.values() for lot, _ in told}
    lots = {str(lot.id): lot for lot in store.lots(farm=order.farm).filter(id__in=wanted)}
    for product, told in mixed.lots.items():
        parts = [(lots[lot], amounts.part(amount, share, mixed.volume)) for lot, amount in told]
        amount = amounts.total([one for _, one in parts if one.dimension == parts[0][1].dimension])
        assert amount is not None
        yield Line(rows[product], amount, rate=rates.get(product), lots=tuple(parts))


def _application(
    order: WorkOrder,
    told: _Told,
    mixed: Mixed,
    own: Quantity,
    rows: Sequence[Load],
    deducted: Sequence[Load],
    *,
    finished_at: dt.datetime,
) -> Application:
    assert order.block is not None and order.started_at is not None
    day = checking.local_day(order.farm, finished_at)
    return Application(
        block=order.block,
        started_at=order.started_at,
        finished_at=finished_at,
        spray={"total": own.as_json(), "area": _area(order, rows), "trees": _trees(order, rows)},
        lines=tuple(_lines(order, mixed, own)),
        sprayer=order.sprayer,
        crew=order.crew,
        sprayed_by=tuple(told.sprayed_by if told.sprayed_by is not None else demands.handlers(order, on=day)),
        targets=tuple(order.targets),
        observed=order.observed,
        loads=tuple(str(row.id) for row in rows),
        incidents=tuple(told.incidents),
        nothing_unusual=bool(told.nothing_unusual),
        leftover=_leftover_json(told.leftover),
        note=told.note,
        pauses=tuple(order.pauses),
        work_order=order,
        mix_check=order.mix_check,
        flags=(*plan_flags(rows), *_book_flags(deducted)),
        taken={"loads": [str(row.id) for row in rows]},
    )


def _elsewhere(
    said: Application,
    block: Block,
    mixed: Mixed,
    share: Quantity,
    *,
    started_at: dt.datetime,
    finished_at: dt.datetime,
) -> Application:
    """Return the record of the rest that went on another block; the store's ledger stays with the first."""
    assert said.work_order is not None
    area = block.area.as_json() if block.area else None
    return Application(
        block=block,
        started_at=min(started_at, finished_at),
        finished_at=finished_at,
        spray={"total": share.as_json(), "area": area, "trees": None},
        lines=tuple(_lines(said.work_order, mixed, share)),
        sprayer=said.sprayer,
        crew=said.crew,
        sprayed_by=said.sprayed_by,
        targets=said.targets,
        observed=said.observed,
        loads=said.loads,
        incidents=said.incidents,
        nothing_unusual=said.nothing_unusual,
        note=f"rest of order {said.work_order.number} on {said.block}",
        work_order=said.work_order,
        mix_check=said.mix_check,
    )


def _leftover_json(rest: Leftover | None) -> dict[str, Any] | None:
    if rest is None:
        return None
    block = str(rest.block.id) if rest.block else None
    return {"volume": rest.volume.as_json(), "fate": rest.fate, "block": block}


def _area(order: WorkOrder, rows: Sequence[Load]) -> dict[str, str] | None:
    """Return the ground treated: what the loads say where all do, else the order's, else the block's."""
    told = [row.area_done for row in rows]
    if told and all(one is not None for one in told):
        done = amounts.total(one for one in told if one is not None)
        return done.as_json() if done else None
    said: dict[str, str] | None = (order.spray or {}).get("area")
    if said:
        return said
    return order.block.area.as_json() if order.block and order.block.area else None


def _trees(order: WorkOrder, rows: Sequence[Load]) -> int | None:
    told = [row.trees_done for row in rows]
    if told and all(one is not None for one in told):
        return sum(one for one in told if one is not None)
    return (order.spray or {}).get("trees") or (order.block.trees if order.block else None)


def plan_flags(rows: Sequence[Load]) -> Iterator[dict[str, str]]:
    """Yield where a load held more of a product than the plan, or one that the plan does not name."""
    for row in rows:
        planned = {one["id"]: one for one in (row.planned or {}).get("products", [])}
        for one in row.products:
            parts = [amounts.read(lot["amount"]) for lot in one["lots"]]
            meant = planned.get(one["product"])
            if meant is None:
                yield _passed(f"load {row.number}: a product or a load that the plan does not name")
            elif _more(parts, meant):
                told = " + ".join(map(amounts.words, parts))
                yield _passed(
                    f"load {row.number}: {told} mixed, {amounts.words(amounts.read(meant['exact']))} planned"
                )


def _more(parts: Sequence[Quantity], meant: Mapping[str, Any]) -> bool:
    """Say whether more was mixed than was planned, or than the plan said to measure."""
    exact = amounts.read(meant["exact"])
    if not parts or any(one.dimension != exact.dimension for one in parts):
        return False
    limit = max(
        exact.in_base(), sum((amounts.read(one).in_base() for one in meant.get("measure") or []), Decimal(0))
    )
    return sum((one.in_base() for one in parts), Decimal(0)) > limit


def _book_flags(deducted: Sequence[Load]) -> Iterator[dict[str, str]]:
    for row in deducted:
        if row.missing:
            missing = amounts.words(amounts.read(row.missing))
            yield _passed(f"load {row.number}: the book held {missing} less than was used")


def _passed(says: str) -> dict[str, str]:
    return {"code": "limit_passed", "says": says}


def _empty(order: WorkOrder, *, finished_at: dt.datetime, now: dt.datetime) -> None:
    """Say that a washed sprayer is empty, unless it was filled after the wash."""
    sprayer = order.sprayer
    assert sprayer is not None
    if sprayer.last_load_at is None or sprayer.last_load_at <= finished_at:
        crew_services.set_residue(sprayer=sprayer, residue=[], last_load_at=sprayer.last_load_at, now=now)
