"""What the loads of an order held together, and what of it went on the ground."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from mixing.quantities import Quantity, QuantityError
from orchard.inventory import queries as store
from orchard.tasks import amounts
from orchard.tasks.models import Load, WorkOrder
from orchard.tasks.services.told import Line


@dataclass(frozen=True, slots=True)
class Mixed:
    """What the loads of an order held together.

    :ivar lots: per product, how much of which lot
    """

    volume: Quantity
    lots: Mapping[str, tuple[tuple[str, Quantity], ...]]


def volume(rows: Iterable[Load]) -> Quantity | None:
    """Return how much spray the loads held together; None where there is none."""
    return amounts.total(row.spray for row in rows)


def of_loads(rows: Sequence[Load]) -> Mixed:
    """Return what loads held together, lot by lot."""
    total = volume(rows)
    assert total is not None
    lots: dict[str, dict[str, list[Quantity]]] = {}
    for row in rows:
        for one in row.products:
            for lot in one["lots"]:
                lots.setdefault(one["product"], {}).setdefault(lot["lot"], []).append(
                    amounts.read(lot["amount"])
                )
    return Mixed(total, {product: tuple(_summed(parts)) for product, parts in lots.items()})


def _summed(parts: Mapping[str, list[Quantity]]) -> Iterator[tuple[str, Quantity]]:
    """Yield each lot once for each kind of amount: a mass and a volume are not added up."""
    for lot, told in parts.items():
        try:
            both = amounts.total(told)
            assert both is not None
            yield lot, both
        except QuantityError:
            yield from ((lot, one) for one in told)


def lines(order: WorkOrder, mixed: Mixed, share: Quantity) -> Iterator[Line]:
    """Return the products of a share of the mix, lot by lot."""
    rates = {one["product"]: one["rate"] for one in order.products}
    rows = {str(row.id): row for row in store.products(farm=order.farm).filter(id__in=list(mixed.lots))}
    wanted = {lot for told in mixed.lots.values() for lot, _ in told}
    lots = {str(lot.id): lot for lot in store.lots(farm=order.farm).filter(id__in=wanted)}
    for product, told in mixed.lots.items():
        parts = [(lots[lot], amounts.part(amount, share, mixed.volume)) for lot, amount in told]
        amount = amounts.total([one for _, one in parts if one.dimension == parts[0][1].dimension])
        assert amount is not None
        yield Line(rows[product], amount, rate=rates.get(product), lots=tuple(parts))


def area(order: WorkOrder, rows: Sequence[Load]) -> dict[str, str] | None:
    """Return the ground treated: what the loads say where all do, else the order's, else the block's."""
    told = [row.area_done for row in rows]
    if told and all(one is not None for one in told):
        done = amounts.total(one for one in told if one is not None)
        return done.as_json() if done else None
    said: dict[str, str] | None = (order.spray or {}).get("area")
    if said:
        return said
    return order.block.area.as_json() if order.block and order.block.area else None


def trees(order: WorkOrder, rows: Sequence[Load]) -> int | None:
    """Return the trees treated: what the loads say where all do, else the order's, else the block's."""
    told = [row.trees_done for row in rows]
    if told and all(one is not None for one in told):
        return sum(one for one in told if one is not None)
    return (order.spray or {}).get("trees") or (order.block.trees if order.block else None)
