"""The chain of a lot's ledger: each line carries a hash of all that it says and of the line before it.

Whoever changes, takes out or exchanges lines breaks it from there on, and the lot keeps its length and its
last hash beside the balance, so that a line missing at the end is seen too. Who may rewrite every table could
make a new chain: against that the heads are kept elsewhere (`manage.py verify_ledger --save`).

The bytes under the hash: one line a field, `length:text` with the length in bytes of UTF-8, or `-` for what
is empty; first the form's version and the hash before, then the columns of `COLUMNS`. The database works out
the same in `orchard_movement_hash` and refuses a line that does not follow.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Callable, Iterable, Sequence
from decimal import Decimal
from typing import Any

from mixing.quantities import EXACT, Quantity, plain

FORM = "1"
START = ""
"""What stands for the hash before the first line of a lot."""

COLUMNS = (
    "farm_id",
    "lot_id",
    "position",
    "key",
    "id",
    "kind",
    "quantity",
    "change_base",
    "balance_after_base",
    "reason",
    "reference",
    "at",
    "reverses_id",
    "other_lot_id",
    "work_order",
    "load",
    "effect",
    "created_at",
    "created_by_kind",
    "created_by_id",
    "created_by_name",
)


def link(before: str, values: Iterable[Any]) -> str:
    """Return the hash of one line: `1:` and the SHA-256 in hexadecimal.

    :param before: the hash of the line before it in its lot, `START` for the first
    :param values: of `COLUMNS`, as Python has them
    """
    said = "\n".join(map(_framed, (FORM, before, *map(text, values))))
    return f"{FORM}:{hashlib.sha256(said.encode()).hexdigest()}"


def values_of(line: Any) -> list[Any]:
    """Return the values of `COLUMNS` of a movement."""
    return [getattr(line, name) for name in COLUMNS]


def _framed(said: str | None) -> str:
    return "-" if said is None else f"{len(said.encode())}:{said}"


def text(value: Any) -> str | None:
    """Return a value in the one way in which it is written under the hash."""
    return AS_TEXT.get(type(value), str)(value)


AS_TEXT: dict[type, Callable[[Any], str | None]] = {
    type(None): lambda _: None,
    Decimal: lambda value: f"{value if value else Decimal(0):.20f}",
    Quantity: lambda value: f"{plain(value.value, 20)} {value.unit}",
    dt.datetime: lambda value: value.astimezone(dt.UTC).isoformat(timespec="microseconds"),
}


def follows(
    *,
    before: Sequence[Any],
    position: int,
    change: Decimal,
    balance: Decimal,
    hash: str,
    values: Sequence[Any],
) -> str | None:
    """Return what is wrong with a line after the one before it, in words; None where it follows.

    :param before: position, balance and hash of the line before; `(0, 0, START)` at the beginning
    """
    last, held, head = before
    if position != last + 1:
        return f"line {last + 1} is missing" if position > last else f"line {position} stands there twice"
    if balance != EXACT.add(held, change):
        return "its balance is not that of the line before and its own change"
    if hash != link(head, values):
        return "it does not say what it said when it was written, or not after this line"
    return None
