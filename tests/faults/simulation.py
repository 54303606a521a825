"""`python -m tests.faults model`: a farm in memory, through accidents that a seed chooses.

Ours are the decisions: which lots a load takes from, what the book can give and which promises become
smaller (`inventory.allocation`), the chain (`inventory.chain`), and when an event is sent, started, tried
again or set aside, and which wait for their turn (`scheduling.turns`). Modelled here, in as few lines as may
be, is what PostgreSQL and the services around them do: a commit is whole or nothing, a held row is passed by,
a load and its deduction are known again. So it looks for faults of order and repetition in our logic; SQL,
locks and processes are what the other half of `tests/faults` is for.
"""

from __future__ import annotations

import datetime as dt
import random
import time
import uuid
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from decimal import Decimal

import django

django.setup()

from mixing.quantities import EXACT  # noqa: E402
from orchard.inventory import allocation, chain  # noqa: E402
from scheduling import turns  # noqa: E402

ZERO = Decimal(0)
NOON = dt.datetime(2027, 1, 29, 20, tzinfo=dt.UTC)
LOTS, ORDERS, PHONES, WORKERS = 3, 2, 3, 2
HOURS = (-9, -5, 0, 0, 5, 9)
HEALING = 400
"""So many rounds after the accidents the work that is left may take."""

BREAKABLE = {
    "dedupe": "a load that is recorded already is recorded again",
    "effect": "a load that was deducted already is deducted again",
    "whole": "a crash leaves half of a transaction",
    "floor": "the book gives what it does not have",
    "head": "a line is not tied to the one before it",
    "promise": "a promise is kept and not made smaller",
    "resend": "an event is sent once and never again",
    "turn": "an event does not wait for the one before it",
}


class Broken(AssertionError):
    """A promise that did not hold."""


@dataclass(slots=True)
class Lot:
    key: uuid.UUID
    expires_on: dt.date | None
    created_at: dt.datetime = NOON
    on_hand_base: Decimal = ZERO
    reserved_base: Decimal = ZERO
    chain_length: int = 0
    chain_head: str = chain.START

    @property
    def id(self) -> uuid.UUID:
        return self.key


@dataclass(slots=True)
class Promised:
    id: uuid.UUID
    lot_id: uuid.UUID
    order: int
    open_base: Decimal


@dataclass(slots=True)
class Event:
    id: uuid.UUID
    seq: int
    kind: str
    next_at: dt.datetime
    load: int
    sent: int = 0
    attempts: int = 0
    last_error: str | None = None
    processed_at: dt.datetime | None = None
    set_aside_at: dt.datetime | None = None


@dataclass(frozen=True, slots=True)
class Line:
    lot: uuid.UUID
    position: int
    change: Decimal
    balance: Decimal
    hash: str
    effect: str | None
    values: tuple[object, ...]


@dataclass(frozen=True, slots=True)
class Told:
    """What a phone says: of which order, and how much of a lot, or of whichever comes first."""

    number: int
    order: int
    lot: uuid.UUID | None
    used: Decimal


@dataclass(slots=True)
class Books:
    """What the database holds; `copy` is what a transaction works on until it commits."""

    lots: dict[uuid.UUID, Lot] = field(default_factory=dict)
    lines: list[Line] = field(default_factory=list)
    promises: dict[uuid.UUID, Promised] = field(default_factory=dict)
    loads: dict[int, str] = field(default_factory=dict)
    records: list[int] = field(default_factory=list)
    missing: dict[int, Decimal] = field(default_factory=dict)
    events: dict[uuid.UUID, Event] = field(default_factory=dict)

    def copy(self) -> Books:
        """Return a transaction's view: rows are copied, lines are only added to."""
        return Books(
            {key: replace(lot) for key, lot in self.lots.items()},
            self.lines.copy(),
            {key: replace(row) for key, row in self.promises.items()},
            self.loads.copy(),
            self.records.copy(),
            self.missing.copy(),
            self.events,  # each is held by one transaction alone, which writes it as it commits
        )


@dataclass(slots=True)
class Worker:
    """One worker: its clock, and the event whose row it holds while it works."""

    hours: int = 0
    holds: uuid.UUID | None = None


class Farm:
    """A farm that is put through the steps of one seed."""

    def __init__(
        self, seed: int, *, broken: str | None = None, tell: Callable[[str], None] | None = None
    ) -> None:
        self.chance, self.broken, self.tell = random.Random(seed), broken, tell
        self.books, self.now, self.seq, self.accidents = Books(), NOON, 0, True
        self.told: list[Told] = []
        self.unanswered: list[Told] = []
        self.messages: list[uuid.UUID] = []
        self.workers = [Worker() for _ in range(WORKERS)]
        self.first_tries: list[int] = []
        for number in range(LOTS):
            expires = None if number == LOTS - 1 else dt.date(2030, 1, 1 + number)
            lot = Lot(self.new(), expires)
            self.books.lots[lot.key] = lot
            self._post(self.books, lot, Decimal(self.chance.randint(0, 60)), effect=None)

    def new(self) -> uuid.UUID:
        return uuid.UUID(int=self.chance.getrandbits(128))

    def _luck(self) -> float:
        """Return by how much something goes right; 1 once there are no accidents any more."""
        return self.chance.random() if self.accidents else 1.0

    def say(self, what: str) -> None:
        if self.tell is not None:
            self.tell(what)

    # the steps

    def step(self) -> None:
        """Do one thing that the chance chooses."""
        weights, steps = zip(*STEPS, strict=True)
        self.now += dt.timedelta(seconds=self.chance.choice([0.01, 0.5, 3, 40]))
        self.chance.choices(steps, weights)[0](self)

    def phone_tells(self) -> None:
        lot = self.chance.choice([None, *self.books.lots])
        load = Told(
            len(self.told), self.chance.randrange(ORDERS), lot, Decimal(self.chance.randint(1, 30)) / 2
        )
        self.told.append(load)
        self.unanswered.append(load)
        self.phone_sends_again()

    def phone_sends_again(self) -> None:
        """Send something that was never answered, or, as phones do, something that was."""
        among = self.unanswered if self.unanswered and self.chance.random() < 0.7 else self.told
        if among:
            self._record(self.chance.choice(among))

    def _record(self, told: Told) -> None:
        """What the web process does with a load: record and event together, once."""
        mine = self.books.copy()
        if told.number not in mine.loads or self.broken == "dedupe":
            mine.loads[told.number] = "pending"
            mine.records.append(told.number)
            self.seq += 1
            event = Event(self.new(), self.seq, "load.recorded", self.now, told.number)
            mine.events = {**self.books.events, event.id: event}
        crash = self._luck()
        self.say(f"phone sends load {told.number}: {told.used} of {told.lot}, crash {crash:.2f}")
        if crash < 0.15:
            return self._crashed(mine)
        self.books = mine
        if crash > 0.3 and told in self.unanswered:  # else the answer is lost on its way
            self.unanswered.remove(told)
        return None

    def _crashed(self, mine: Books) -> None:
        if self.broken == "whole":  # as if there were no transactions
            self.books.loads, self.books.records = mine.loads, mine.records

    def relay_sends(self) -> None:
        """Claim what is due by some worker's clock and send it."""
        worker = self.chance.choice(self.workers)
        now = self._clock(worker)
        held = {one.holds for one in self.workers}
        due = [event for event in self._waiting() if turns.due(event, now=now) and event.id not in held]
        for event in sorted(due, key=lambda event: (event.seq, event.id)):
            if self.broken == "resend" and event.sent:
                continue
            turns.sent(event, now=now)
            if self._luck() > 0.15:  # else the relay was killed, or there was no broker
                self.messages.append(event.id)
        self.say(f"relay at {worker.hours} h sends {len(due)}")

    def message_is_doubled(self) -> None:
        if self.messages:
            self.messages.append(self.chance.choice(self.messages))

    def broker_forgets(self) -> None:
        self.say(f"the broker forgets {len(self.messages)} messages")
        self.messages.clear()

    def clock_jumps(self) -> None:
        self.chance.choice(self.workers).hours = self.chance.choice(HOURS)

    def worker_works(self) -> None:
        """Go on with what a worker holds, or let it take a message."""
        worker = self.chance.choice(self.workers)
        if worker.holds is not None:
            self._work(worker)
        elif self.messages:
            id = self.messages.pop(self.chance.randrange(len(self.messages)))
            self._start(worker, id)

    def worker_is_killed(self) -> None:
        worker = self.chance.choice(self.workers)
        if worker.holds is not None:
            self.say(f"a worker is killed with event {self.books.events[worker.holds].seq}")
            if self.chance.random() < 0.5:
                self.messages.append(worker.holds)  # the broker gives it to another
        worker.holds = None

    def crew_finishes(self) -> None:
        """Deduct what an order's loads still wait for, before their events do: `tasks.services.finish`."""
        mine, order = self.books.copy(), self.chance.randrange(ORDERS)
        for told in self.told:
            if told.order == order and mine.loads.get(told.number) == "pending":
                self._deduct(mine, told)
        for row in mine.promises.values():
            if row.order == order:
                self._lessen(mine, row, row.open_base)
        self._commit_or_crash(mine)

    def store_receives(self) -> None:
        mine = self.books.copy()
        lot = self.chance.choice(list(mine.lots.values()))
        self._post(mine, lot, Decimal(self.chance.randint(1, 20)), effect=None)
        self._commit_or_crash(mine)

    def store_disposes(self) -> None:
        mine = self.books.copy()
        lot = self.chance.choice(list(mine.lots.values()))
        wanted = Decimal(self.chance.randint(1, 20))
        if wanted <= lot.on_hand_base:
            self._post(mine, lot, -wanted, effect=None)
            self._commit_or_crash(mine)

    def office_reserves(self) -> None:
        mine = self.books.copy()
        wanted, order = Decimal(self.chance.randint(1, 20)), self.chance.randrange(ORDERS)
        lots = allocation.first_to_expire(mine.lots.values())
        parts, short = allocation.take(wanted, ((lot, allocation.free(lot)) for lot in lots))
        if short:
            return
        for lot, part in parts:
            row = Promised(self.new(), lot.key, order, part)
            mine.promises[row.id] = row
            lot.reserved_base = EXACT.add(lot.reserved_base, part)
        self._commit_or_crash(mine)

    def office_releases(self) -> None:
        mine = self.books.copy()
        order = self.chance.randrange(ORDERS)
        for row in mine.promises.values():
            if row.order == order:
                self._lessen(mine, row, row.open_base)
        self._commit_or_crash(mine)

    def _commit_or_crash(self, mine: Books) -> None:
        if self.chance.random() < 0.9:
            self.books = mine

    # delivery, as `scheduling.outbox` does it around `scheduling.turns`

    def _waiting(self) -> list[Event]:
        return [e for e in self.books.events.values() if e.processed_at is None and e.set_aside_at is None]

    def _clock(self, worker: Worker) -> dt.datetime:
        return self.now + dt.timedelta(hours=worker.hours)

    def _start(self, worker: Worker, id: uuid.UUID) -> None:
        event = self.books.events[id]
        held = any(one.holds == id for one in self.workers)
        if held or event.processed_at is not None or event.set_aside_at is not None:
            return
        before = [one for one in self._waiting() if (one.seq, one.id) < (event.seq, event.id)]
        if any(turns.holds_up(one) for one in before) and self.broken != "turn":
            return
        if event.attempts == 0:
            unsettled = [
                one.seq for one in before if one.last_error is None and one.attempts < turns.WAITED_FOR
            ]
            if unsettled:
                raise Broken(f"event {event.seq} was started before {unsettled} had their try")
        if turns.started(event, now=self._clock(worker)):
            worker.holds = id
        self.say(f"event {event.seq} is started, {event.attempts} times by now")

    def _work(self, worker: Worker) -> None:
        assert worker.holds is not None
        event = self.books.events[worker.holds]
        chance = self._luck()
        if chance < 0.1:
            self.say(f"the work for event {event.seq} fails")
            turns.failed(event, RuntimeError("the scale is broken"), now=self._clock(worker))
        else:
            mine = self.books.copy()
            self._deduct(mine, self.told[event.load])
            if chance < 0.25:
                self.say(f"a worker crashes before it commits event {event.seq}")
            else:
                turns.done(event, now=self._clock(worker))
                self.books = mine
                self.say(f"event {event.seq} is done")
                if chance < 0.5:
                    self.messages.append(event.id)  # it crashed before it could say so to the broker
        following = [one for one in self._waiting() if one.attempts == 0]
        worker.holds = None
        if following and chance > 0.5:
            self._start(worker, min(following, key=lambda one: (one.seq, one.id)).id)

    # the ledger

    def _deduct(self, mine: Books, told: Told) -> None:
        """Take out what a load used, as `inventory.services.use` does it around `inventory.allocation`."""
        if mine.loads[told.number] != "pending" and self.broken != "effect":
            return
        rows = [row for row in mine.promises.values() if row.order == told.order and row.open_base > 0]
        if told.lot is not None:
            parts: list[tuple[Lot | None, Decimal]] = [(mine.lots[told.lot], told.used)]
        else:
            lots = mine.lots.values()
            given: dict[uuid.UUID | None, tuple[Lot | None, Decimal]] = {}
            for lot, part in allocation.for_an_order(told.used, lots=lots, rows=rows, named={}):
                key = lot.key if lot else None
                given[key] = (lot, EXACT.add(given[key][1], part) if key in given else part)
            parts = list(given.values())
        missing = ZERO
        for lot, part in parts:
            for row, less in allocation.fulfilled(part, rows=rows, lot=lot.key if lot else None):
                self._lessen(mine, row, less)
            there, lacks = allocation.booked(part, lot=lot)
            if self.broken == "floor" and lot is not None:
                there, lacks = part, ZERO
            if lot is not None and there > 0:
                self._post(mine, lot, -there, effect=f"load:{told.number}:{lot.key}")
            missing = EXACT.add(missing, lacks)
        mine.loads[told.number] = "short" if missing else "posted"
        mine.missing[told.number] = missing

    def _lessen(self, mine: Books, row: Promised, less: Decimal) -> None:
        lot = mine.lots[row.lot_id]
        row.open_base = EXACT.subtract(row.open_base, less)
        if self.broken != "promise":
            lot.reserved_base = EXACT.subtract(lot.reserved_base, less)

    def _post(self, mine: Books, lot: Lot, change: Decimal, *, effect: str | None) -> None:
        position, balance = lot.chain_length + 1, EXACT.add(lot.on_hand_base, change)
        said = (lot.key, position, change, balance, effect)
        before = chain.START if self.broken == "head" else lot.chain_head
        line = Line(lot.key, position, change, balance, chain.link(before, said), effect, said)
        mine.lines.append(line)
        lot.on_hand_base, lot.chain_length, lot.chain_head = balance, position, line.hash

    # afterwards

    def heal(self) -> None:
        """Set the clocks right and let everybody do what is left, without accidents."""
        self.accidents = False
        for worker in self.workers:
            worker.hours, worker.holds = 0, None
        for told in list(self.unanswered):
            while told in self.unanswered:
                self._record(told)
        for _ in range(HEALING):
            for event in self.books.events.values():
                event.set_aside_at = None if event.processed_at is None else event.set_aside_at
            if not self._waiting():
                return
            self.now += turns.LONGEST_PAUSE
            self.relay_sends()
            while self.messages or any(worker.holds for worker in self.workers):
                self.worker_works()
        left = sorted(event.seq for event in self._waiting())
        raise Broken(f"events {left} are never done")

    def verify(self) -> None:
        """Hold every promise against the books.

        :raises Broken: by the first that does not hold
        """
        books = self.books
        for told in self.told:
            _holds(books.records.count(told.number) == 1, f"load {told.number} is not recorded once")
            used = sum((-line.change for line in _of_load(books, told)), ZERO)
            lacks = books.missing.get(told.number, ZERO)
            says = f"load {told.number} used {told.used}: the book has {used} and lacks {lacks}"
            _holds(EXACT.add(used, lacks) == told.used, says)
        effects = [line.effect for line in books.lines if line.effect]
        _holds(len(effects) == len(set(effects)), "an effect happened twice")
        for lot in books.lots.values():
            self._verify_lot(lot)

    def _verify_lot(self, lot: Lot) -> None:
        before: tuple[int, Decimal, str] = (0, ZERO, chain.START)
        for line in (line for line in self.books.lines if line.lot == lot.key):
            wrong = chain.follows(
                before=before,
                position=line.position,
                change=line.change,
                balance=line.balance,
                hash=line.hash,
                values=line.values,
            )
            _holds(wrong is None, f"line {line.position} of {lot.key}: {wrong}")
            _holds(line.balance >= 0, f"lot {lot.key} went down to {line.balance}")
            before = (line.position, line.balance, line.hash)
        _holds(
            before == (lot.chain_length, lot.on_hand_base, lot.chain_head), f"the end of {lot.key} is another"
        )
        rows = [row.open_base for row in self.books.promises.values() if row.lot_id == lot.key]
        _holds(
            sum(rows, ZERO) == lot.reserved_base,
            f"lot {lot.key} has promised {lot.reserved_base}, not {rows}",
        )


def _of_load(books: Books, told: Told) -> list[Line]:
    return [line for line in books.lines if line.effect and line.effect.startswith(f"load:{told.number}:")]


def _holds(holds: bool, says: str) -> None:
    if not holds:
        raise Broken(says)


STEPS: tuple[tuple[int, Callable[[Farm], None]], ...] = (
    (14, Farm.phone_tells),
    (10, Farm.phone_sends_again),
    (14, Farm.relay_sends),
    (30, Farm.worker_works),
    (6, Farm.worker_is_killed),
    (4, Farm.message_is_doubled),
    (2, Farm.broker_forgets),
    (3, Farm.clock_jumps),
    (5, Farm.store_receives),
    (4, Farm.store_disposes),
    (5, Farm.office_reserves),
    (3, Farm.office_releases),
    (2, Farm.crew_finishes),
)


def run(
    seed: int, *, steps: int, broken: str | None = None, tell: Callable[[str], None] | None = None
) -> str | None:
    """Return what was broken in one run, None where everything held."""
    farm = Farm(seed, broken=broken, tell=tell)
    try:
        for _ in range(steps):
            farm.step()
        farm.heal()
        farm.verify()
    except Broken as found:
        return str(found)
    return None


def main(*, seeds: int, steps: int, seed: int | None, broken: str | None) -> int:
    """Run the seeds and print one line; or replay one with its steps. Return the exit status."""
    if broken is not None and broken not in BREAKABLE:
        print(f"what can be left out: {', '.join(BREAKABLE)}")
        return 2
    if seed is not None:
        found = run(seed, steps=steps, broken=broken, tell=print)
        print(f"seed {seed}: {found or 'everything held'}")
        return 1 if found else 0
    began, failing = time.monotonic(), {}
    for number in range(seeds):
        if found := run(number, steps=steps, broken=broken):
            failing[number] = found
            print(f"seed {number}: {found}; replay it with --seed {number}", flush=True)
            if len(failing) == 5:
                break
    ran = max(failing) + 1 if len(failing) == 5 else seeds
    print(f"model: {ran} seeds of {steps} steps, {len(failing)} violations, {time.monotonic() - began:.0f} s")
    return 1 if failing else 0
