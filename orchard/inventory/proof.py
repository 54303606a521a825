"""Proof that the sums kept beside the ledger are the sums of the ledger."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.db import connection
from django.db.models import DecimalField, F, OuterRef, Q, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce

from mixing.quantities import plain
from orchard.inventory.amounts import ZERO
from orchard.inventory.models import Lot, Movement, Reservation

# A ledger is one chain: each line begins at a balance that another left, the first at nothing, and the last
# leaves what is on hand. So each balance is begun at as often as it is left. This holds in whatever order
# the lines are read, and the moments of lines do not tell their order.
BROKEN_CHAINS = """
    SELECT DISTINCT lot FROM (
        SELECT lot_id AS lot, balance_after_base AS balance, 1 AS times FROM {movement}
        UNION ALL SELECT lot_id, balance_after_base - change_base, -1 FROM {movement}
        UNION ALL SELECT key, 0, 1 FROM {lot}
        UNION ALL SELECT key, on_hand_base, -1 FROM {lot}
    ) AS ends GROUP BY lot, balance HAVING sum(times) <> 0
"""


@dataclass(frozen=True, slots=True)
class Difference:
    """One lot whose book does not hold, in a sentence."""

    lot: Lot
    says: str

    def __str__(self) -> str:
        return f"Lot {self.lot.number} of {self.lot.product.name} ({self.lot.id}): {self.says}."


def differences() -> Iterator[Difference]:
    """Yield every lot of every farm whose balance, chain of balances or promises do not add up.

    Each is found by one statement, which sees one moment: it may run while others write.
    """
    for lot in _with_sums().exclude(on_hand_base=F("moved")):
        says = f"{plain(lot.on_hand_base, 20)} is on hand, its movements add up to {plain(lot.moved, 20)}"
        yield Difference(lot, f"{says} {lot.product.base_unit}")
    for lot in _with_sums().exclude(reserved_base=F("promised")):
        says = f"{plain(lot.reserved_base, 20)} is reserved, its open reservations hold"
        yield Difference(lot, f"{says} {plain(lot.promised, 20)} {lot.product.base_unit}")
    for lot in _with_sums().filter(key__in=_broken_chains(), on_hand_base=F("moved")):
        yield Difference(lot, "the balances of its movements do not follow from each other")


def counted() -> tuple[int, int]:
    """Return how many lots and movements there are."""
    return Lot.objects.count(), Movement.objects.count()


def _with_sums() -> QuerySet[Any]:
    moved = Movement.objects.filter(lot=OuterRef("pk")).order_by().values("lot")
    promised = Reservation.objects.filter(Q(status="open"), lot=OuterRef("pk")).order_by().values("lot")
    return Lot.objects.select_related("product").annotate(
        moved=_sum(moved.annotate(sum=Sum("change_base")).values("sum")),
        promised=_sum(promised.annotate(sum=Sum("open_base")).values("sum")),
    )


def _sum(rows: QuerySet[Any, Any]) -> Coalesce:
    field: DecimalField = DecimalField(max_digits=65, decimal_places=20)
    return Coalesce(Subquery(rows, output_field=field), ZERO, output_field=field)


def _broken_chains() -> list[object]:
    names = {"movement": Movement._meta.db_table, "lot": Lot._meta.db_table}
    with connection.cursor() as cursor:
        cursor.execute(BROKEN_CHAINS.format(**names))
        return [key for (key,) in cursor.fetchall()]
