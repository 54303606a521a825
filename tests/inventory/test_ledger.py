"""Whatever is done to a store, each balance is the sum of its movements and none is below zero."""

import contextlib
from decimal import Decimal
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import IntegrityError, transaction
from django.db.models import Sum
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from orchard.api.refusals import Refusal
from orchard.farms.actors import SYSTEM
from orchard.inventory import chain, proof, services
from orchard.inventory.models import Lot, Movement, Reservation
from orchard.inventory.services import Need, Used
from tests.factories import FarmFactory, amount
from tests.inventory.store import NOON, copper, fresh, lot, new_id

pytestmark = pytest.mark.django_db

LOTS = st.integers(0, 2)
AMOUNTS = st.builds(
    lambda digits, places, unit: amount(str(Decimal(digits).scaleb(-places)), unit),
    st.integers(1, 99_999),
    st.integers(0, 4),
    st.sampled_from(["lb", "g", "oz_wt", "kg", "tbsp"]),
)
ENTRIES = st.tuples(st.sampled_from(["receive", "return", "dispose", "transfer", "adjust"]), LOTS, AMOUNTS)
ORDERS = st.tuples(
    st.sampled_from(["reserve", "use", "use_again", "release", "put_back", "reverse"]), LOTS, AMOUNTS
)


class Store:
    """A store that anything may happen to."""

    def __init__(self):
        self.product = copper(FarmFactory())
        self.farm = self.product.farm
        self.lots = [lot(self.product, location=place) for place in ("barn", "shed", "field")]
        self.orders = [new_id() for _ in range(3)]
        self.loads = [new_id()]

    def do(self, what, at, quantity):
        with contextlib.suppress(Refusal):
            getattr(self, what, None)(at, quantity) if hasattr(self, what) else self.enter(what, at, quantity)

    def enter(self, kind, at, quantity):
        more = {"location": f"place {at}"} if kind == "transfer" else {}
        self.move(kind, lot=self.lots[at], quantity=quantity, **more)

    def move(self, kind, **values):
        services.move(farm=self.farm, kind=kind, by=SYSTEM, now=NOON, reason="random", **values)

    def reserve(self, at, quantity):
        needs = [Need(self.product, quantity)]
        services.reserve(farm=self.farm, work_order=self.orders[at], needs=needs, by=SYSTEM, now=NOON)

    def release(self, at, quantity):
        services.release(farm=self.farm, work_order=self.orders[at], by=SYSTEM, now=NOON)

    def use(self, at, quantity):
        self.loads.append(new_id())
        self.use_again(at, quantity)

    def use_again(self, at, quantity):
        named = None if at == 2 else self.lots[at]
        services.use(
            farm=self.farm,
            work_order=self.orders[at],
            load=self.loads[-1],
            used=[Used(self.product, named, quantity)],
            by=SYSTEM,
            at=NOON,
            now=NOON,
        )

    def put_back(self, at, quantity):
        services.put_back(farm=self.farm, loads=self.loads[-2:], reason="void", by=SYSTEM, now=NOON)

    def reverse(self, at, quantity):
        if newest := Movement.objects.order_by("-id").first():
            self.move("reverse", reverses=newest)


@given(st.lists(ENTRIES | ORDERS, max_size=25))
@settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
def test_the_book_holds_whatever_happens(happenings):
    with transaction.atomic():
        store = Store()
        for one in happenings:
            store.do(*one)

        assert list(proof.differences()) == []
        for held in Lot.objects.all():
            total = held.movements.aggregate(total=Sum("change_base"))["total"] or 0
            assert held.on_hand_base == total >= 0
            assert held.reserved_base >= 0
        assert not Reservation.objects.exclude(status="open").exclude(open_base=0).exists()
        transaction.set_rollback(True)


def verified():
    printed, status = StringIO(), 0
    try:
        call_command("verify_ledger", stdout=printed)
    except SystemExit as end:
        status = end.code
    return status, printed.getvalue()


def test_a_right_ledger_is_said_to_be_right():
    lot(copper(FarmFactory()), "5")

    assert verified() == (
        0,
        "1 lots, 1 movements: every line follows from the one before, every balance is the sum of its "
        "movements.\n",
    )


def test_a_balance_that_was_written_over_is_found():
    held = lot(copper(FarmFactory()), "5", number="C-1")
    Lot.objects.filter(key=held.key).update(on_hand_base=7)

    status, printed = verified()

    assert status == 1
    assert printed == (
        f"Lot C-1 of Copper hydroxide 46 WG ({held.id}): 7 is on hand, "
        "its movements add up to 2267.96185 g.\n"
    )


def test_promises_that_do_not_add_up_are_found():
    held = lot(copper(FarmFactory()), "5")
    Lot.objects.filter(key=held.key).update(reserved_base=7)

    status, printed = verified()

    assert status == 1
    assert "7 is reserved, its open reservations hold 0 g" in printed


@pytest.mark.parametrize(
    ("values", "constraint"),
    [
        ({"on_hand_base": -1}, "a_lot_never_holds_less_than_nothing"),
        ({"reserved_base": -1}, "a_lot_never_owes_less_than_nothing"),
        ({"quarantined": True}, "a_quarantined_lot_says_why"),
    ],
)
def test_the_database_holds_what_must_hold_of_a_lot(values, constraint):
    held = lot(copper(FarmFactory()))

    with pytest.raises(IntegrityError, match=constraint):
        Lot.objects.filter(key=held.key).update(**values)


@pytest.mark.parametrize(
    ("values", "constraint"),
    [
        ({"kind": "steal"}, "a_movement_(is_of_a_known_kind|goes_the_way_its_kind_says)"),
        ({"kind": "dispose", "change_base": Decimal(-9999)}, "no_movement_leaves_less_than_nothing"),
        ({"change_base": Decimal(-1)}, "a_movement_goes_the_way_its_kind_says"),
        ({"kind": "reverse"}, "only_a_reversal_names_what_it_reverses"),
        ({"effect": "load:1:1"}, "an_effect_happens_once"),
    ],
)
def test_the_database_holds_what_must_hold_of_a_movement(values, constraint):
    held = lot(copper(FarmFactory()), "5")
    next_line(held, effect="load:1:1").save(force_insert=True)

    with pytest.raises(IntegrityError, match=constraint):
        next_line(held, **values).save(force_insert=True)


def test_a_lot_is_at_a_place_once_whoever_writes_it():
    held = lot(copper(FarmFactory()), number="7", location="barn")

    with pytest.raises(IntegrityError, match="a_lot_is_at_a_place_once"):
        lot(held.product, number="7", location="barn")


def test_two_farms_may_have_the_same_effect():
    for held in (lot(copper(FarmFactory()), "5"), lot(copper(FarmFactory()), "5")):
        next_line(held, effect="load:1:1").save(force_insert=True)

    assert fresh(held).on_hand_base > 0


def next_line(held, **values):
    """Return a line that follows the last of a lot, with the same words but for what is given."""
    last = Movement.objects.filter(lot=held).latest("position")
    line = Movement.objects.get(key=last.key)
    line.key = line.id = new_id()
    line.position, line.effect = last.position + 1, None
    for name, value in values.items():
        setattr(line, name, value)
    if "balance_after_base" not in values:
        line.balance_after_base = last.balance_after_base + line.change_base
    line.hash = chain.link(last.hash, chain.values_of(line))
    return line
