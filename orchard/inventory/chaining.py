"""How a ledger that was kept before there were chains gets its own: by the migration that adds them."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Sequence
from decimal import Decimal
from typing import Any

Line = tuple[uuid.UUID, Decimal, Decimal]
"""Key, change and balance after."""

OLD_LINES = """
    SELECT lot_id, key, change_base, balance_after_base FROM inventory_movement
    ORDER BY lot_id, created_at, id
"""
HEAD = "UPDATE inventory_lot SET chain_length = %s, chain_head = %s WHERE key = %s"


def in_order(lines: Sequence[Line]) -> list[Line]:
    """Return lines in an order in which each begins at the balance that the one before left.

    :param lines: oldest first, as far as is known: of several that may come next the oldest does
    What cannot be put in such an order, in a ledger that does not add up, stays as it is: the proof will say.
    """
    begun: dict[Decimal, list[Line]] = defaultdict(list)
    for line in reversed(lines):
        begun[line[2] - line[1]].append(line)
    # A walk that passes each line once (Hierholzer): a round trip left out is put in where it begins.
    walk: list[Line] = []
    open_: list[Line | None] = [None]
    while open_:
        last = open_[-1]
        if ahead := begun[last[2] if last else Decimal(0)]:
            open_.append(ahead.pop())
        elif (done := open_.pop()) is not None:
            walk.append(done)
    return walk[::-1] if len(walk) == len(lines) else list(lines)


def chain_all(cursor: Any) -> None:
    """Give every line its place and its hash, and every lot its head."""
    cursor.execute(OLD_LINES)
    by_lot: dict[uuid.UUID, list[Line]] = defaultdict(list)
    for lot, *line in cursor.fetchall():
        by_lot[lot].append((line[0], line[1], line[2]))
    for lot, lines in by_lot.items():
        head = ""
        for position, (key, *_) in enumerate(in_order(lines), 1):
            cursor.execute("UPDATE inventory_movement SET position = %s WHERE key = %s", [position, key])
            cursor.execute(
                "UPDATE inventory_movement AS line SET hash = orchard_movement_hash(%s, line) WHERE key = %s "
                "RETURNING hash",
                [head, key],
            )
            head = cursor.fetchone()[0]
        cursor.execute(HEAD, [len(lines), head, lot])
