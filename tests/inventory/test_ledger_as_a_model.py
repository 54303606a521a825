"""The store against a model of it that fits on a page: whatever is done, both hold the same."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from decimal import Decimal

import pytest
from django.db import transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    Bundle,
    RuleBasedStateMachine,
    initialize,
    invariant,
    rule,
    run_state_machine_as_test,
)

from orchard.api.refusals import Conflict, Refusal
from orchard.farms.actors import SYSTEM
from orchard.inventory import proof, services
from orchard.inventory.models import Lot, Movement, Reservation, Shortage
from orchard.inventory.services import Need, Used
from tests.factories import FarmFactory, amount
from tests.inventory.store import NOON, copper, fresh, lot, new_id

LOTS, ORDERS = 3, 2
AT = st.integers(0, LOTS - 1)
ORDER = st.integers(0, ORDERS - 1)
GRAMS = st.integers(1, 4000).map(lambda tenths: Decimal(tenths) / 10)
ZERO = Decimal(0)


class StoreAgainstModel(RuleBasedStateMachine):
    """Does each thing to the store and to four dictionaries; the second says what must come of it."""

    entered = Bundle("entered")
    loads = Bundle("loads")

    @initialize()
    def begin(self):
        self.savepoint = transaction.atomic()
        self.savepoint.__enter__()
        self.product = copper(FarmFactory())
        self.farm = self.product.farm
        self.rows = [
            lot(self.product, location=f"shelf {at}", expires_on=dt.date(2030, 1, 1 + at))
            for at in range(LOTS)
        ]
        self.orders = [new_id() for _ in range(ORDERS)]
        self.held = [ZERO] * LOTS
        self.lines = [0] * LOTS
        self.promised: dict[tuple[int, int], Decimal] = defaultdict(Decimal)
        self.reversed: set[int] = set()
        self.used: dict[int, tuple[int, Decimal]] = {}
        self.made: list[tuple[int, Decimal, Movement]] = []
        self.told: list = []

    def teardown(self):
        if hasattr(self, "savepoint"):
            transaction.set_rollback(True)
            self.savepoint.__exit__(None, None, None)

    def _move(self, kind, at, grams, **more):
        quantity = amount(str(grams), "g")
        return services.move(
            farm=self.farm, kind=kind, lot=self.rows[at], quantity=quantity, reason="as told", by=SYSTEM,
            now=NOON, **more,
        )  # fmt: skip

    def _goes(self, at, change):
        self.held[at] += change
        self.lines[at] += 1

    @rule(target=entered, kind=st.sampled_from(["receive", "return"]), at=AT, grams=GRAMS)
    def comes_in(self, kind, at, grams):
        line = self._move(kind, at, grams)
        self._goes(at, grams)
        self.made.append((at, grams, line))
        return len(self.made) - 1

    @rule(target=entered, kind=st.sampled_from(["dispose", "adjust"]), at=AT, grams=GRAMS)
    def goes_out(self, kind, at, grams):
        said = grams if kind == "dispose" else -grams
        if grams > self.held[at]:
            with pytest.raises(services.StockShort):
                self._move(kind, at, said)
            self.made.append((at, ZERO, None))
        else:
            line = self._move(kind, at, said)
            self._goes(at, -grams)
            self.made.append((at, -grams, line))
        return len(self.made) - 1

    @rule(which=entered)
    def is_reversed(self, which):
        at, change, line = self.made[which]
        if line is None:
            return
        again = which in self.reversed
        if again or self.held[at] < change:
            code = "already_reversed" if again else "stock_already_used"
            with pytest.raises(Conflict) as refused:
                self._reverse(line)
            assert [fault.code for fault in refused.value.faults] == [code]
            return
        self._reverse(line)
        self._goes(at, -change)
        self.reversed.add(which)

    def _reverse(self, line):
        services.move(farm=self.farm, kind="reverse", reverses=line, reason="mistake", by=SYSTEM, now=NOON)

    @rule(order=ORDER, grams=GRAMS)
    def is_reserved(self, order, grams):
        free = [max(ZERO, self.held[at] - self._promised_of(at)) for at in range(LOTS)]
        needs = [Need(self.product, amount(str(grams), "g"))]
        if sum(free) < grams:
            with pytest.raises(services.StockShort):
                self._reserve(order, needs)
            return
        self._reserve(order, needs)
        for at in range(LOTS):  # first to expire first
            part = min(free[at], grams)
            self.promised[order, at] += part
            grams -= part

    def _reserve(self, order, needs):
        services.reserve(farm=self.farm, work_order=self.orders[order], needs=needs, by=SYSTEM, now=NOON)

    @rule(order=ORDER)
    def is_released(self, order):
        services.release(farm=self.farm, work_order=self.orders[order], by=SYSTEM, now=NOON)
        for at in range(LOTS):
            self.promised[order, at] = ZERO

    @rule(target=loads, order=ORDER, at=AT, grams=GRAMS)
    def is_used(self, order, at, grams):
        self.told.append((new_id(), order, at, grams))
        number = len(self.told) - 1
        there = min(grams, self.held[at])
        done = self._use(number)
        assert [-line.change_base for line in done.posted] == ([there] if there else [])
        assert sum((row.missing_base for row in done.shortages), ZERO) == grams - there
        if there:
            self._goes(at, -there)
        self.used[number] = (at, there)
        left = grams
        for other in [at, *self._by_row(order, at)]:  # promises of the same lot become smaller first
            less = min(left, self.promised[order, other])
            self.promised[order, other] -= less
            left -= less
        return number

    def _by_row(self, order, at):
        rows = Reservation.objects.filter(work_order=self.orders[order]).order_by("id")
        keys = [row.lot.key for row in rows]
        return [other for key in keys for other in range(LOTS) if self.rows[other].key == key and other != at]

    def _use(self, number):
        load, order, at, grams = self.told[number]
        used = [Used(self.product, self.rows[at], amount(str(grams), "g"))]
        return services.use(
            farm=self.farm, work_order=self.orders[order], load=load, used=used, by=SYSTEM, at=NOON, now=NOON
        )

    @rule(number=loads)
    def the_same_load_is_told_again(self, number):
        self._use(number)

    @rule(number=loads)
    def a_load_is_put_back(self, number):
        at, there = self.used[number]
        made = services.put_back(
            farm=self.farm, loads=[self.told[number][0]], reason="void", by=SYSTEM, now=NOON
        )
        assert sum((line.change_base for line in made), ZERO) == there
        if there:
            self._goes(at, there)
        self.used[number] = (at, ZERO)

    @rule(at=AT, grams=GRAMS)
    def goes_elsewhere_and_back(self, at, grams):
        """A transfer to the field and one back: the lot holds the same, with two lines more."""
        if grams > self.held[at] - self._promised_of(at):
            with pytest.raises(Refusal):
                if grams > self.held[at]:
                    self._move("transfer", at, grams, location="field")
                else:
                    self._move("dispose", at, self.held[at] + 1)
            return
        self._move("transfer", at, grams, location="field")
        away = Lot.objects.select_related("farm", "product").get(
            product=self.product, number=self.rows[at].number, location="field"
        )
        quantity = amount(str(grams), "g")
        services.move(
            farm=self.farm, kind="transfer", lot=away, quantity=quantity, reason="back", by=SYSTEM, now=NOON,
            location=self.rows[at].location,
        )  # fmt: skip
        self._goes(at, -grams)
        self._goes(at, grams)

    def _promised_of(self, at):
        return sum((self.promised[order, at] for order in range(ORDERS)), ZERO)

    @invariant()
    def both_hold_the_same(self):
        if not hasattr(self, "rows"):
            return
        for at in range(LOTS):
            row = fresh(self.rows[at])
            assert row.on_hand_base == self.held[at] >= 0
            assert row.reserved_base == self._promised_of(at)
            assert row.chain_length == self.lines[at]
        uses = (
            Movement.objects.filter(kind="use").count() + Shortage.objects.filter(lot__isnull=False).count()
        )
        assert uses >= len(self.told)
        assert list(proof.differences(farm=self.farm)) == []


@pytest.mark.django_db
def test_the_store_holds_what_a_model_of_it_holds():
    run_state_machine_as_test(
        StoreAgainstModel,
        settings=settings(
            max_examples=12,
            stateful_step_count=20,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )
