"""What was promised, held against the books and against what the phones remember."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from decimal import Decimal

from django.db.models import Count, Min, Q

from mixing.quantities import EXACT
from orchard.farms.models import Farm, OutboxEvent
from orchard.inventory import proof
from orchard.inventory.models import Lot, Movement, Reservation, Shortage
from orchard.tasks.models import Load, WorkOrder
from tests.faults.crews import Told

POUND = Decimal("453.59237")  # g; international avoirdupois pound, NIST SP 811 (2008), appendix B
MOST_SHOWN = 3


@dataclass(slots=True)
class Promise:
    """One promise: how often it was looked at, and each time that it did not hold."""

    says: str
    runs: int = 0
    violations: list[str] = field(default_factory=list)

    def look(self, holds: bool, what: str) -> None:
        """Count one look."""
        self.runs += 1
        if not holds:
            self.violations.append(what)

    def line(self) -> str:
        """Return the promise as it is printed, with its first violations."""
        text = f"{self.says:<60} runs {self.runs:>7}  violations {len(self.violations)}"
        return "\n".join([text, *(f"    {one}" for one in self.violations[:MOST_SHOWN])])


def kept(*, farm: Farm, told: Told, loads: int, echoed: int) -> list[Promise]:
    """Return every promise, looked at once the outbox is empty."""
    return [
        *_of_loads(farm, told, loads),
        _of_balances(farm),
        _of_books(farm, told),
        _of_chains(farm),
        _of_reservations(farm, told),
        *_of_events(farm, echoed),
        _of_answers(told),
    ]


def _of_loads(farm: Farm, told: Told, loads: int) -> Iterator[Promise]:
    lost = Promise("nothing is lost: each load told is recorded and deducted")
    twice = Promise("nothing is done twice: one record a load, one use a lot")
    states = dict(Load.objects.for_farm(farm).values_list("id", "stock"))
    by_id = {str(id): stock for id, stock in states.items()}
    for id in told.loads:
        lost.look(by_id.get(id) in ("posted", "short"), f"load {id} is {by_id.get(id, 'gone')}")
    for _ in range(loads - len(told.loads)):
        lost.look(False, "a load was never taken")
    numbered = Load.objects.for_farm(farm).values("work_order", "number").annotate(times=Count("key"))
    for row in numbered:
        twice.look(row["times"] == 1, f"load {row['number']} of {row['work_order']}: {row['times']} records")
    twice.look(len(by_id) == len(told.loads), f"{len(by_id)} records of {len(told.loads)} loads")
    uses = Movement.objects.for_farm(farm).filter(kind="use").values("load", "lot__id")
    for row in uses.annotate(times=Count("key")).order_by():
        twice.look(row["times"] == 1, f"load {row['load']} took {row['times']} times from {row['lot__id']}")
    yield lost
    yield twice


def _of_balances(farm: Farm) -> Promise:
    promise = Promise("no balance was ever below zero")
    for lot, lowest in (
        Movement.objects.for_farm(farm).values_list("lot__number").annotate(lowest=Min("balance_after_base"))
    ):
        promise.look(lowest >= 0, f"lot {lot} went down to {lowest}")
    for lot in Lot.objects.for_farm(farm):
        promise.look(
            lot.on_hand_base >= 0 and lot.reserved_base >= 0, f"lot {lot.number}: {lot.on_hand_base}"
        )
    promise.runs += Movement.objects.for_farm(farm).count()
    return promise


def _of_books(farm: Farm, told: Told) -> Promise:
    """Each load and lot: what the ledger gave and lacked is what the phone said; each lot: the sum."""
    promise = Promise("books are equal to records: each load, each lot, to the gram")
    given: dict[tuple[str, str], Decimal] = defaultdict(Decimal)
    uses = Movement.objects.for_farm(farm).filter(kind="use").values_list("load", "lot__id", "change_base")
    for load, lot, change in uses:
        given[str(load), str(lot)] = EXACT.subtract(given[str(load), str(lot)], change)
    short = Shortage.objects.for_farm(farm).values_list("load", "lot__id", "missing_base")
    lacked: dict[tuple[str, str], Decimal] = defaultdict(Decimal)
    for load, lot, missing in short:
        lacked[str(load), str(lot)] = EXACT.add(lacked[str(load), str(lot)], missing)
    for load, used in told.loads.items():
        for lot, pounds in used.items():
            booked = EXACT.add(given[load, lot], lacked[load, lot])
            promise.look(booked == pounds * POUND, f"load {load}, lot {lot}: {booked} g of {pounds} lb")
    for lot in Lot.objects.for_farm(farm):
        moved = Movement.objects.filter(lot=lot).values_list("change_base", flat=True)
        came = sum((change for change in moved if change > 0), Decimal(0))
        went = sum((part for (_, id), part in given.items() if id == str(lot.id)), Decimal(0))
        promise.look(
            lot.on_hand_base == came - went, f"lot {lot.number}: {lot.on_hand_base}, not {came - went}"
        )
    return promise


def _of_chains(farm: Farm) -> Promise:
    promise = Promise("the chain of every ledger is whole")
    for read in proof.ledgers(farm=farm):
        promise.runs += max(read.lines - 1, 0)
        promise.look(read.fault is None, f"lot {read.lot}: {read.fault}")
    return promise


def _of_reservations(farm: Farm, told: Told) -> Promise:
    promise = Promise("reservations add up, and a finished order has none")
    promise.runs += Lot.objects.for_farm(farm).count()
    promise.violations += [str(one) for one in proof.promises(farm=farm)]
    done = WorkOrder.objects.for_farm(farm).filter(status="done").values_list("id", flat=True)
    promise.look(set(map(str, done)) >= told.orders.keys(), "an order was not finished")
    for order in done:
        left = Reservation.objects.for_farm(farm).filter(work_order=order, status="open").count()
        promise.look(left == 0, f"order {order} is done and has {left} open reservations")
    return promise


def _of_events(farm: Farm, echoed: int) -> Iterator[Promise]:
    promise = Promise("every event is delivered, at least twice, with one effect")
    open_ = Q(processed_at=None) | ~Q(set_aside_at=None)
    for event in OutboxEvent.objects.for_farm(farm).filter(open_):
        promise.look(False, f"{event.kind} {event.subject}: {event.attempts} starts, {event.last_error}")
    events = OutboxEvent.objects.for_farm(farm).count()
    promise.runs += events
    promise.look(echoed >= events, f"only {echoed} of {events} were delivered a second time")
    yield promise


def _of_answers(told: Told) -> Promise:
    promise = Promise("a phone is never refused what has happened")
    promise.runs = len(told.loads) + told.again
    promise.violations += [*told.wrong, *told.never]
    return promise
