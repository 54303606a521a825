"""Which lots to take from: first to expire first, then first to come. Nothing here asks the database."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Protocol, TypeVar

from mixing.quantities import EXACT

NEVER = dt.date.max
ZERO = Decimal(0)


class Held(Protocol):
    """What counts of a lot here; amounts in its base unit."""

    key: uuid.UUID
    id: uuid.UUID
    expires_on: dt.date | None
    created_at: dt.datetime
    on_hand_base: Decimal
    reserved_base: Decimal


class Promised(Protocol):
    """What counts of a reservation here: `lot_id` is the key of its lot."""

    id: uuid.UUID
    lot_id: uuid.UUID
    open_base: Decimal


Lot = TypeVar("Lot", bound=Held)
Row = TypeVar("Row", bound=Promised)


def first_to_expire(lots: Iterable[Lot]) -> list[Lot]:
    """Return lots in the order in which they are to be used up; what never expires comes last."""
    return sorted(lots, key=lambda lot: (lot.expires_on or NEVER, lot.created_at, lot.id))


def free(lot: Held) -> Decimal:
    """Return what of a lot is neither used nor promised [base unit]."""
    return max(ZERO, EXACT.subtract(lot.on_hand_base, lot.reserved_base))


def take(wanted: Decimal, among: Iterable[tuple[Lot, Decimal]]) -> tuple[list[tuple[Lot, Decimal]], Decimal]:
    """Return what to take from each lot, in the order given, and what is missing then [base unit].

    :param among: lots with what each has to give
    """
    taken: list[tuple[Lot, Decimal]] = []
    for lot, has in among:
        part = min(wanted, has)
        if part > 0:
            taken.append((lot, part))
            wanted = EXACT.subtract(wanted, part)
    return taken, wanted


def for_an_order(
    wanted: Decimal, *, lots: Iterable[Lot], rows: Iterable[Promised], named: Mapping[uuid.UUID, Decimal]
) -> list[tuple[Lot | None, Decimal]]:
    """Return what to take from each lot for an order: what was promised to it, then what is free.

    :param lots: those of the product that may be used
    :param rows: the order's promises
    :param named: what is taken from lots besides, by their key
    None stands for the rest, which no lot can give.
    """
    promised: dict[uuid.UUID, Decimal] = {}
    for row in rows:
        promised[row.lot_id] = EXACT.add(promised.get(row.lot_id, ZERO), row.open_base)
    ordered = first_to_expire(lots)
    left = {lot.key: max(ZERO, EXACT.subtract(lot.on_hand_base, named.get(lot.key, ZERO))) for lot in ordered}
    first, rest = take(wanted, ((lot, min(promised.get(lot.key, ZERO), left[lot.key])) for lot in ordered))
    had = {lot.key: part for lot, part in first}
    then, missing = take(
        rest,
        ((lot, min(free(lot), EXACT.subtract(left[lot.key], had.get(lot.key, ZERO)))) for lot in ordered),
    )
    return [*first, *then, *([(None, missing)] if missing > 0 else [])]


def fulfilled(used: Decimal, *, rows: Sequence[Row], lot: uuid.UUID | None) -> list[tuple[Row, Decimal]]:
    """Return by how much each promise of an order becomes smaller: those of the lot that was used first.

    :param rows: the order's promises of the product
    """
    lessened: list[tuple[Row, Decimal]] = []
    mine = [row for row in rows if row.open_base > 0]
    for row in sorted(mine, key=lambda row: (lot is None or row.lot_id != lot, row.id)):
        less = min(used, row.open_base)
        if less > 0:
            lessened.append((row, less))
            used = EXACT.subtract(used, less)
    return lessened


def booked(used: Decimal, *, lot: Held | None) -> tuple[Decimal, Decimal]:
    """Return what the book can give of what was used, and what it lacks."""
    there = min(used, lot.on_hand_base) if lot is not None else ZERO
    return there, EXACT.subtract(used, there)
