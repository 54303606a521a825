"""Proof that each lot's ledger is whole, and that the sums kept beside it are the sums of it."""

from __future__ import annotations

import itertools
import uuid
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django.db import connection, transaction
from django.db.models import DecimalField, F, OuterRef, Q, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce

from mixing.quantities import plain
from orchard.farms.models import Farm
from orchard.inventory import chain, chain_sql
from orchard.inventory.amounts import ZERO
from orchard.inventory.models import Lot, Reservation

BEGIN = (0, ZERO, chain.START)
AT_ONCE = 2000
OF_LOT = ("key", "on_hand_base", "chain_length", "chain_head")
OF_LINE = tuple(f"movements__{name}" for name in chain.COLUMNS)
POSITION, ID, KIND, CHANGE, BALANCE = map(
    chain.COLUMNS.index, ("position", "id", "kind", "change_base", "balance_after_base")
)

Head = tuple[int, str]
"""How many lines a lot's ledger had, and the hash of the last of them."""


@dataclass(frozen=True, slots=True)
class Difference:
    """One lot whose book does not hold, in a sentence."""

    lot: Lot
    says: str

    def __str__(self) -> str:
        return f"Lot {self.lot.number} of {self.lot.product.name} ({self.lot.id}): {self.says}."


@dataclass(frozen=True, slots=True)
class Read:
    """One ledger as it was read.

    :ivar fault: what is wrong with its first line that does not hold, or with its end; None where all holds
    :ivar head: where it ends now
    """

    lot: uuid.UUID
    fault: str | None
    head: Head
    lines: int


BROKEN = f"""
    SELECT line.lot_id FROM inventory_movement AS line
    LEFT JOIN inventory_movement AS last ON last.lot_id = line.lot_id AND last.position = line.position - 1
    WHERE (line.position = 1) <> (last.position IS NULL)
        OR line.balance_after_base <> coalesce(last.balance_after_base, 0) + line.change_base
        OR line.hash <> {chain_sql.hash_of("line", before="coalesce(last.hash, '')")}
    UNION
    SELECT lot.key FROM inventory_lot AS lot
    LEFT JOIN LATERAL (
        SELECT position, balance_after_base, hash FROM inventory_movement
        WHERE lot_id = lot.key ORDER BY position DESC LIMIT 1
    ) AS last ON true
    WHERE lot.chain_length <> coalesce(last.position, 0)
        OR lot.chain_head <> coalesce(last.hash, '')
        OR lot.on_hand_base <> coalesce(last.balance_after_base, 0)
"""


def broken_lots() -> list[uuid.UUID]:
    """Return the keys of the lots whose ledger does not hold: `ledgers` says what is wrong with each.

    The database follows all lines at once, which takes a fraction of the time that reading them does. The
    connection has every farm open.
    """
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL work_mem = '128MB'")
        cursor.execute("SET LOCAL enable_parallel_hash = off")  # a container has little shared memory
        cursor.execute(BROKEN)
        return [lot for (lot,) in cursor.fetchall()]


def ledgers(
    *, farm: Farm | None = None, lot: uuid.UUID | None = None, kept: Mapping[str, Head] | None = None
) -> Iterator[Read]:
    """Yield every lot's ledger, followed from its first line to the lot's own balance.

    All of it is one statement, which sees one moment: it may run while others write.

    :param lot: the key of one lot alone
    :param kept: heads that were kept elsewhere, by the lot's key: each must still be in its ledger
    """
    rows = (Lot.objects.all() if farm is None else Lot.objects.for_farm(farm)).order_by(
        "key", "movements__position"
    )
    rows = rows if lot is None else rows.filter(key=lot)
    found = rows.values_list("product__base_unit", *OF_LOT, *OF_LINE, "movements__hash")
    for _, lines in itertools.groupby(found.iterator(AT_ONCE), key=lambda row: row[1]):
        yield _read(lines, kept or {})


def _read(rows: Iterable[tuple[Any, ...]], kept: Mapping[str, Head]) -> Read:
    before: tuple[Any, ...] = BEGIN
    seen: dict[int, str] = {}
    fault, count = None, 0
    row: tuple[Any, ...] = ()
    for row in rows:
        said, hash = row[5:-1], row[-1]
        if said[POSITION] is None:
            break  # a lot without a line
        count += 1
        fault = fault or _broken(before, said, hash)
        before = (said[POSITION], said[BALANCE], hash)
        seen[said[POSITION]] = hash
    unit, key, on_hand, length, head = row[:5]
    fault = fault or _end(before, length=length, head=head)
    if fault is None and before[1] != on_hand:
        fault = f"{plain(on_hand, 20)} is on hand, its movements add up to {plain(before[1], 20)} {unit}"
    length, head = kept.get(str(key), (0, chain.START))
    if fault is None and seen.get(length, chain.START) != head:
        fault = f"line {length} is not the one whose hash was kept: the ledger was written anew"
    return Read(key, fault, (before[0], before[2]), count)


def _broken(before: tuple[Any, ...], said: tuple[Any, ...], hash: str) -> str | None:
    wrong = chain.follows(
        before=before,
        position=said[POSITION],
        change=said[CHANGE],
        balance=said[BALANCE],
        hash=hash,
        values=said,
    )
    return wrong and f"at line {said[POSITION]}, the {said[KIND]} {said[ID]}: {wrong}"


def _end(last: tuple[Any, ...], *, length: int, head: str) -> str | None:
    if last[0] < length:
        return f"line {last[0] + 1} is missing, and what came after it: the lot has had {length} lines"
    if last[0] > length:
        return f"at line {length + 1}: the lot knows of {length} lines"
    return None if last[2] == head else f"at line {length}: it is not the last line that the lot knows of"


def differences(*, farm: Farm | None = None, kept: Mapping[str, Head] | None = None) -> Iterator[Difference]:
    """Yield every lot whose chain, balance or promises do not hold, of all farms or one."""
    broken = {read.lot: read.fault for read in ledgers(farm=farm, kept=kept) if read.fault is not None}
    yield from told(broken)
    yield from promises(farm=farm)


def told(broken: Mapping[uuid.UUID, str]) -> Iterator[Difference]:
    """Yield faults with their lots."""
    for lot in Lot.objects.select_related("product").filter(key__in=list(broken)).order_by("key"):
        yield Difference(lot, broken[lot.key])


def promises(*, farm: Farm | None = None) -> Iterator[Difference]:
    """Yield every lot whose reserved sum is not that of its open reservations."""
    rows = _with_promises() if farm is None else _with_promises().filter(farm=farm)
    for lot in rows.exclude(reserved_base=F("promised")).order_by("key"):
        says = f"{plain(lot.reserved_base, 20)} is reserved, its open reservations hold"
        yield Difference(lot, f"{says} {plain(lot.promised, 20)} {lot.product.base_unit}")


def _with_promises() -> QuerySet[Any]:
    promised = Reservation.objects.filter(Q(status="open"), lot=OuterRef("pk")).order_by().values("lot")
    field: DecimalField = DecimalField(max_digits=65, decimal_places=20)
    sums = Subquery(promised.annotate(sum=Sum("open_base")).values("sum"), output_field=field)
    return Lot.objects.select_related("product").annotate(promised=Coalesce(sums, ZERO, output_field=field))
