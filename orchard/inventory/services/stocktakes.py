"""Counting what is on the shelf, and making the book agree with it, with a reason for each difference."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from mixing.quantities import EXACT, Quantity
from orchard.api.refusals import Conflict, Fault, Unprocessable
from orchard.api.spoken import spoken
from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.farms.models import Farm
from orchard.inventory import queries as store
from orchard.inventory import stocktake_queries as queries
from orchard.inventory.amounts import shown
from orchard.inventory.models import Lot, Movement, ShelfCount, Stocktake, StocktakeCount
from orchard.inventory.services import ledger


@dataclass(frozen=True, slots=True)
class Counted:
    """How much of a lot was found on the shelf."""

    lot: Lot
    counted: Quantity
    at: dt.datetime | None = None
    """When a phone says it was; None: at the moment of the stocktake."""


def add_stocktake(
    *,
    farm: Farm,
    counts: Sequence[Counted],
    by: Actor,
    now: dt.datetime,
    id: uuid.UUID | None = None,
    counted_at: dt.datetime | None = None,
    **said: Any,
) -> Stocktake:
    """Open a stocktake: the book is that of its moment, whatever moves after it.

    :raises Unprocessable: a lot that is counted twice, `unit_kind`, `unit_needs_density`, `out_of_range`
    :raises Conflict: `state_conflict` where a lot is being counted in another one that is open
    """
    counted_at = counted_at or now
    resolved = _resolved(counts, on=store.day_on_farm(farm=farm, at=counted_at))
    with transaction.atomic():
        _not_elsewhere(farm, [one.lot for one in counts])
        stocktake = journal.create(
            Stocktake,
            farm=farm,
            by=by,
            now=now,
            id=id,
            counted_at=counted_at,
            counts=_as_said(counts),
            **said,
        )
        _write(stocktake, resolved)
    return _fresh(stocktake)


def change_stocktake(
    *,
    stocktake: Stocktake,
    by: Actor,
    now: dt.datetime,
    counts: Sequence[Counted] | None = None,
    **values: Any,
) -> Stocktake:
    """Change an open stocktake; `counts` takes the place of all that were there. The caller holds its lock.

    :raises Unprocessable: as `add_stocktake`
    :raises Conflict: `state_conflict`
    """
    _demand_open(stocktake)
    if counts is None:
        counts = _counts_of(stocktake)
    else:
        _demand_counting(stocktake)
        _not_elsewhere(stocktake.farm, [one.lot for one in counts], but=stocktake.key)
    counted_at = values.get("counted_at", stocktake.counted_at)
    resolved = _resolved(counts, on=store.day_on_farm(farm=stocktake.farm, at=counted_at))
    if journal.change(stocktake, by=by, now=now, counts=_as_said(counts), **values):
        stocktake.lines.all().delete()
        _write(stocktake, resolved)
    return _fresh(stocktake)


def record_count(
    *,
    stocktake: Stocktake,
    lot: Lot,
    counted: Quantity,
    by: Actor,
    now: dt.datetime,
    id: uuid.UUID | None = None,
    counted_at: dt.datetime | None = None,
    note: str | None = None,
) -> ShelfCount:
    """Take one count from the shelf. Of several of a lot the one that was made last holds, whenever it came.

    The caller holds the stocktake's lock.

    :raises Unprocessable: `unit_kind`, `unit_needs_density`, `out_of_range`
    :raises Conflict: `state_conflict`: closed, its counting ended, or the lot is counted elsewhere
    """
    _demand_open(stocktake)
    _demand_counting(stocktake)
    at = counted_at or now
    told = Counted(lot, counted, at)
    on = store.day_on_farm(farm=stocktake.farm, at=at)
    base, _ = _bases(told, on=on, pointer="/counted")
    with transaction.atomic():
        _not_elsewhere(stocktake.farm, [lot], but=stocktake.key)
        row = journal.create(
            ShelfCount,
            farm=stocktake.farm,
            by=by,
            now=now,
            id=id,
            stocktake=stocktake,
            lot=lot,
            counted=counted,
            counted_base=base,
            counted_at=at,
            note=note,
        )
        counts = _with_count(_counts_of(stocktake), told, moment=stocktake.counted_at)
        if journal.change(stocktake, by=by, now=now, action="count", counts=_as_said(counts)):
            stocktake.lines.all().delete()
            _write(stocktake, _resolved(counts, on=store.day_on_farm(farm=stocktake.farm, at=now)))
    return row


def _with_count(counts: Sequence[Counted], told: Counted, *, moment: dt.datetime) -> list[Counted]:
    for place, one in enumerate(counts):
        if one.lot.key == told.lot.key:
            newer = told.at is not None and told.at >= (one.at or moment)
            return [*counts[:place], told if newer else one, *counts[place + 1 :]]
    return [*counts, told]


def _counts_of(stocktake: Stocktake) -> list[Counted]:
    rows = StocktakeCount.objects.filter(stocktake=stocktake).select_related("lot__product__farm")
    return [Counted(line.lot, line.counted, line.counted_at) for line in rows.order_by("place")]


def reveal_stocktake(*, stocktake: Stocktake, by: Actor, now: dt.datetime) -> Stocktake:
    """End the counting of a blind stocktake and show the book beside it. The caller holds its lock.

    :raises Conflict: `state_conflict`
    """
    _demand_open(stocktake)
    if not queries.is_hidden(stocktake):
        raise Conflict(Fault("state_conflict", _("its book is shown already")))
    journal.change(stocktake, by=by, now=now, action="reveal", revealed_at=now)
    return _fresh(stocktake)


def post_stocktake(
    *, stocktake: Stocktake, reasons: Mapping[uuid.UUID, str], by: Actor, now: dt.datetime
) -> Stocktake:
    """Make the book agree with the count: an `adjust` for each difference. The caller holds its lock.

    The lots are locked before the book is read, so that no movement comes in between. An adjustment stands
    in the ledger at the moment of the count; what was used since then stays used.

    :param reasons: why, by the id of the lot
    :raises Unprocessable: `reason_required`, one for each difference without; `not_found` for another lot
    :raises Conflict: `state_conflict`, where it is closed, empty, or a lot was counted and posted later
    :raises StockShort: where less was counted than has been taken out since
    """
    _demand_open(stocktake)
    if queries.is_hidden(stocktake):
        raise Conflict(Fault("state_conflict", _("it is counted blind: end the counting with reveal first")))
    held = ledger.lock_keys(farm=stocktake.farm, keys=stocktake.lines.values_list("lot", flat=True))
    lines = list(queries.lines().filter(stocktake=stocktake))
    if wrong := list(_reason_faults(lines, reasons)):
        raise Unprocessable(*wrong)
    _refuse(_what_stands_against(stocktake, lines))
    if short := list(_shorts(lines, held)):
        raise ledger.StockShort(*short)
    for line in lines:
        reason = reasons.get(line.lot.id, "").strip() or None
        moved = _adjust(line, held[line.lot.key], reason, by=by, now=now) if _differs(line) else None
        _keep(line, reason=reason, movement=moved)
    journal.change(stocktake, by=by, now=now, action="post", status="posted")
    return _fresh(stocktake)


def cancel_stocktake(*, stocktake: Stocktake, by: Actor, now: dt.datetime) -> Stocktake:
    """Put a stocktake aside; the book stays as it is. The caller holds its lock.

    :raises Conflict: `state_conflict`
    """
    _demand_open(stocktake)
    for line in queries.lines().filter(stocktake=stocktake):
        _keep(line)
    journal.change(stocktake, by=by, now=now, action="cancel", status="cancelled")
    return _fresh(stocktake)


def _demand_open(stocktake: Stocktake) -> None:
    if stocktake.status != "open":
        detail = _("this stocktake is %(status)s, which allows no change: open a new one") % {
            "status": spoken(stocktake.status)
        }
        raise Conflict(Fault("state_conflict", detail))


def _demand_counting(stocktake: Stocktake) -> None:
    if stocktake.blind and not queries.is_hidden(stocktake):
        detail = _(
            "its counting has ended, since the book was seen: to count again, cancel it and open another"
        )
        raise Conflict(Fault("state_conflict", detail))


def _not_elsewhere(farm: Farm, lots: Sequence[Lot], *, but: uuid.UUID | None = None) -> None:
    """Refuse to count a lot in two stocktakes at once. The lots stay locked until the end."""
    ledger.lock_keys(farm=farm, keys=[lot.key for lot in lots])
    faults = []
    for other in queries.open_elsewhere(lots=lots, but=but):
        place = next(at for at, lot in enumerate(lots) if lot.key == other.lot.key)
        detail = _("another stocktake is counting lot %(lot)s: post or cancel that one first") % {
            "lot": other.lot.number
        }
        refers = ("stocktake", str(other.stocktake.id))
        faults.append(Fault("state_conflict", detail, f"/counts/{place}/lot", refers_to=refers))
    if faults:
        raise Conflict(*faults)


def _fresh(stocktake: Stocktake) -> Stocktake:
    return queries.stocktakes(farm=stocktake.farm).get(key=stocktake.key)


def _as_said(counts: Sequence[Counted]) -> list[dict[str, Any]]:
    return [
        {"lot": str(one.lot.id), "counted": shown(one.counted)}
        | ({"counted_at": one.at.isoformat()} if one.at else {})
        for one in counts
    ]


def _resolved(counts: Sequence[Counted], *, on: dt.date) -> list[tuple[Counted, Decimal, Decimal]]:
    """Return each count with its amount, and one of its unit, in the base unit of its product."""
    faults, found, seen = [], [], set()
    for place, one in enumerate(counts):
        if one.lot.key in seen:
            detail = _("lot %(lot)s is counted twice: add the two up") % {"lot": one.lot.number}
            faults.append(Fault("invalid", detail, f"/counts/{place}/lot"))
        seen.add(one.lot.key)
        try:
            found.append((one, *_bases(one, on=on, pointer=f"/counts/{place}/counted")))
        except Unprocessable as wrong:
            faults += wrong.faults
    if faults:
        raise Unprocessable(*faults)
    return found


def _bases(one: Counted, *, on: dt.date, pointer: str) -> tuple[Decimal, Decimal]:
    base, unit = (
        ledger.base_of(quantity, product=one.lot.product, on=on, pointer=pointer)
        for quantity in (one.counted, Quantity(Decimal(1), one.counted.unit))
    )
    return base, unit


def _write(stocktake: Stocktake, resolved: Sequence[tuple[Counted, Decimal, Decimal]]) -> None:
    StocktakeCount.objects.bulk_create(
        StocktakeCount(
            stocktake=stocktake,
            place=place,
            lot=one.lot,
            counted_at=one.at,
            counted=one.counted,
            counted_base=base,
            one_base=unit,
        )
        for place, (one, base, unit) in enumerate(resolved)
    )


def _differs(line: Any) -> bool:
    return queries.difference(line).value != 0


def _reason_faults(lines: Sequence[Any], reasons: Mapping[uuid.UUID, str]) -> Iterator[Fault]:
    for line in lines:
        if _differs(line) and not reasons.get(line.lot.id, "").strip():
            by = shown(queries.difference(line))
            detail = _("lot %(lot)s differs from the book by %(amount)s: say why") % {
                "lot": line.lot.number,
                "amount": f"{by['value']} {by['unit']}",
            }
            yield Fault("reason_required", detail, f"/reasons/{line.lot.id}", ("lot", str(line.lot.id)))
    counted = {line.lot.id for line in lines}
    for id in reasons:
        if id not in counted:
            yield Fault("not_found", _("this stocktake does not count that lot"), f"/reasons/{id}")


def _what_stands_against(stocktake: Stocktake, lines: Sequence[Any]) -> Iterator[Fault]:
    if not lines:
        yield Fault("state_conflict", _("nothing has been counted: add counts, or cancel it"))
    differing = {line.lot: line.moment for line in lines if _differs(line)}
    for later in queries.counted_later(lots=differing):
        detail = _("a later count of lot %(lot)s is posted already: take the lot out of this one") % {
            "lot": later.lot.number
        }
        yield Fault("state_conflict", detail, refers_to=("stocktake", str(later.stocktake.id)))


def _shorts(lines: Sequence[Any], held: Mapping[uuid.UUID, Lot]) -> Iterator[Fault]:
    """Yield the lots of which more has been taken out since the count than was counted."""
    for line in lines:
        lot = held[line.lot.key]
        after = EXACT.add(lot.on_hand_base, queries.difference_base(line))
        if _differs(line) and after < 0:
            yield ledger.short_fault(product=lot.product, missing=after.copy_negate(), lot=lot)


def _refuse(faults: Iterator[Fault]) -> None:
    found = list(faults)
    if found:
        raise Conflict(*found)


def _adjust(line: Any, lot: Lot, reason: str | None, *, by: Actor, now: dt.datetime) -> Movement:
    stocktake = line.stocktake
    return ledger.post(
        lot,
        kind="adjust",
        quantity=queries.difference(line),
        change_base=queries.difference_base(line),
        by=by,
        at=line.moment,
        now=now,
        reason=reason,
        reference=f"stocktake {stocktake.id}",
        effect=f"stocktake:{stocktake.id}:{lot.id}",
    )


def _keep(line: Any, **columns: Any) -> None:
    """Keep what the book said, with what came of it."""
    columns |= {"book_base": line.book, "uses_since_last_count": line.uses}
    StocktakeCount.objects.filter(id=line.id).update(**columns)
