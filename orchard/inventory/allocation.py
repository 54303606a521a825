"""Which lots to take from: first to expire first, then first to come."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from decimal import Decimal

from mixing.quantities import EXACT
from orchard.inventory.models import Lot

NEVER = dt.date.max
ZERO = Decimal(0)


def first_to_expire(lots: Iterable[Lot]) -> list[Lot]:
    """Return lots in the order in which they are to be used up; what never expires comes last."""
    return sorted(lots, key=lambda lot: (lot.expires_on or NEVER, lot.created_at, lot.id))


def free(lot: Lot) -> Decimal:
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
