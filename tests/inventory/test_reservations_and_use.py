"""What is promised to work orders, and what their loads take out."""

import datetime as dt
from decimal import Decimal

import pytest

from orchard.api.refusals import Unprocessable
from orchard.farms.actors import SYSTEM
from orchard.farms.models import OutboxEvent
from orchard.inventory import queries, services
from orchard.inventory.models import Movement, Reservation, Shortage
from orchard.inventory.services import Need, StockShort, Used
from tests.factories import FarmFactory, amount
from tests.inventory.store import NOON, TODAY, at_once, copper, fresh, lot, new_id, oil

pytestmark = pytest.mark.django_db


@pytest.fixture
def farm():
    return FarmFactory()


def reserve(product, quantity, order=None, now=NOON):
    order = order or new_id()
    needs = [Need(product, quantity)]
    return order, services.reserve(farm=product.farm, work_order=order, needs=needs, by=SYSTEM, now=now)


def use(product, quantity, *, order=None, load=None, of=None, at=NOON):
    return services.use(
        farm=product.farm,
        work_order=order or new_id(),
        load=load or new_id(),
        used=[Used(product, of, quantity)],
        by=SYSTEM,
        at=at,
        now=NOON,
    )


def pounds(base):
    return (base / amount("1", "lb").in_base()).normalize()


def test_the_lot_that_expires_first_is_promised_first(farm):
    product = copper(farm)
    later = lot(product, "20", expires_on=dt.date(2028, 5, 31))
    first = lot(product, "9.5", expires_on=dt.date(2027, 2, 28))

    _, made = reserve(product, amount("20.05", "lb"))

    assert [(row.lot.key, row.quantity) for row in made] == [
        (first.key, amount("9.5", "lb")),
        (later.key, amount("10.55", "lb")),
    ]
    assert pounds(fresh(later).reserved_base) == Decimal("10.55")
    assert pounds(fresh(later).on_hand_base) == 20


def test_a_lot_that_never_expires_is_promised_last_and_an_older_one_before_a_younger(farm):
    product = copper(farm)
    never = lot(product, "1")
    younger = lot(product, "1", expires_on=dt.date(2027, 5, 1), created_at=NOON)
    older = lot(product, "1", expires_on=dt.date(2027, 5, 1))

    _, made = reserve(product, amount("3", "lb"))

    assert [row.lot.key for row in made] == [older.key, younger.key, never.key]


def test_a_lot_is_good_through_the_whole_of_its_last_day_on_the_farm(farm):
    product = copper(farm)
    lot(product, "1", expires_on=TODAY)
    last_minute = dt.datetime(2026, 12, 19, 7, 59, tzinfo=dt.UTC)  # 23:59 in Los Angeles

    reserve(product, amount("0.5", "lb"), now=last_minute)

    with pytest.raises(StockShort):
        reserve(product, amount("0.5", "lb"), now=last_minute + dt.timedelta(minutes=1))


def test_what_expires_before_the_day_of_the_work_is_not_promised(farm):
    product = copper(farm)
    lot(product, "5", expires_on=dt.date(2026, 12, 20))
    needs = [Need(product, amount("1", "lb"))]

    def reserve_for(day):
        return services.reserve(
            farm=farm, work_order=new_id(), needs=needs, by=SYSTEM, now=NOON, on=dt.date(2026, 12, day)
        )

    assert len(reserve_for(20)) == 1
    with pytest.raises(StockShort):
        reserve_for(21)


@pytest.mark.parametrize(
    "why", [{"quarantined": True, "quarantine_reason": "caked"}, {"expires_on": dt.date(2026, 12, 17)}]
)
def test_expired_and_quarantined_lots_are_never_promised(farm, why):
    product = copper(farm)
    lot(product, "5", **why)

    with pytest.raises(StockShort) as refused:
        reserve(product, amount("1", "lb"))

    assert refused.value.faults[0].short == {"value": "1", "unit": "lb"}


def test_every_product_that_is_short_is_named_and_nothing_is_promised(farm):
    powder, liquid = copper(farm), oil(farm)
    enough = copper(farm)
    lot(powder, "9.5"), lot(liquid, "2.5"), lot(enough, "5")
    needs = [
        Need(powder, amount("10", "lb")),
        Need(enough, amount("1", "lb")),
        Need(liquid, amount("3.208", "gal")),
    ]

    with pytest.raises(StockShort) as refused:
        services.reserve(farm=farm, work_order=new_id(), needs=needs, by=SYSTEM, now=NOON)

    assert [(fault.code, fault.short, fault.refers_to) for fault in refused.value.faults] == [
        ("stock_short", {"value": "0.5", "unit": "lb"}, ("product", str(powder.id))),
        ("stock_short", {"value": "0.708", "unit": "gal"}, ("product", str(liquid.id))),
    ]
    assert not Reservation.objects.exists()


def test_the_same_product_twice_in_an_order_is_one_need(farm):
    product = copper(farm)
    lot(product, "5")
    needs = [Need(product, amount("3", "lb")), Need(product, amount("3", "lb"))]

    with pytest.raises(StockShort) as refused:
        services.reserve(farm=farm, work_order=new_id(), needs=needs, by=SYSTEM, now=NOON)

    assert [fault.short for fault in refused.value.faults] == [{"value": "1", "unit": "lb"}]


def test_a_powder_by_volume_needs_its_bulk_density(farm):
    powder, liquid = copper(farm), oil(farm)
    lot(powder, "5"), lot(liquid, "5")

    _, made = reserve(powder, amount("1", "L"))

    assert made[0].quantity_base == 500
    with pytest.raises(Unprocessable, match="density"):
        reserve(liquid, amount("1", "lb"))


def test_what_is_released_can_be_promised_again(farm):
    product = copper(farm)
    held = lot(product, "5")
    order, made = reserve(product, amount("5", "lb"))

    services.release(farm=farm, work_order=order, by=SYSTEM, now=NOON)
    services.release(farm=farm, work_order=order, by=SYSTEM, now=NOON)

    assert fresh(held).reserved_base == 0
    assert fresh(made[0]).status == "released"
    reserve(product, amount("5", "lb"))


def test_a_load_takes_from_the_book_and_from_the_promise(farm):
    product = copper(farm)
    held = lot(product, "20")
    order, made = reserve(product, amount("12.25", "lb"))

    done = use(product, amount("50", "oz_wt"), order=order, of=held)

    assert done.missing is None
    assert done.posted[0].quantity == amount("50", "oz_wt")
    assert pounds(done.posted[0].balance_after_base) == Decimal("16.875")
    assert pounds(fresh(held).reserved_base) == Decimal("9.125")
    assert fresh(made[0]).status == "open"


def test_the_last_load_closes_the_promise(farm):
    product = copper(farm)
    held = lot(product, "20")
    order, made = reserve(product, amount("3", "lb"))

    use(product, amount("3.2", "lb"), order=order, of=held)

    assert fresh(made[0]).status == "used"
    assert fresh(held).reserved_base == 0


def test_a_load_without_lots_takes_what_was_promised_first_to_expire_first(farm):
    product = copper(farm)
    first = lot(product, "2", expires_on=dt.date(2027, 1, 1))
    promised = lot(product, "5", expires_on=dt.date(2028, 1, 1))
    reserve(product, amount("2", "lb"))
    order, _ = reserve(product, amount("1", "lb"))

    done = use(product, amount("1", "lb"), order=order)

    assert [row.lot.key for row in done.posted] == [promised.key]
    assert pounds(fresh(first).on_hand_base) == 2


def test_another_lot_than_the_promised_one_frees_the_promise_as_well(farm):
    product = copper(farm)
    promised = lot(product, "5", expires_on=dt.date(2027, 1, 1))
    taken = lot(product, "5", expires_on=dt.date(2028, 1, 1))
    order, _ = reserve(product, amount("2", "lb"))

    use(product, amount("2", "lb"), order=order, of=taken)

    assert fresh(promised).reserved_base == 0
    assert pounds(fresh(taken).on_hand_base) == 3


def test_the_same_load_again_changes_nothing(farm):
    product = copper(farm)
    held = lot(product, "20")
    load = new_id()

    first = use(product, amount("3", "lb"), load=load, of=held)
    again = use(product, amount("3", "lb"), load=load, of=held)

    assert [row.id for row in first.posted] == [row.id for row in again.posted]
    assert pounds(fresh(held).on_hand_base) == 17


def test_a_load_that_used_more_than_the_book_holds_posts_what_is_there_and_asks(farm):
    product = copper(farm)
    held = lot(product, "2")
    load = new_id()

    done = use(product, amount("50", "oz_wt"), load=load, of=held)
    again = use(product, amount("50", "oz_wt"), load=load, of=held)

    assert done.missing == again.missing == amount("1.125", "lb")
    assert fresh(held).on_hand_base == 0
    assert Shortage.objects.get().missing == amount("1.125", "lb")
    assert OutboxEvent.objects.filter(kind="stock.short").count() == 1


def test_a_load_of_what_the_store_has_none_of_is_a_question_only(farm):
    product = copper(farm)

    done = use(product, amount("1", "lb"))

    assert (done.posted, done.missing) == ((), amount("1", "lb"))
    assert not Movement.objects.exists()


def test_an_expired_lot_that_was_used_is_taken_from_when_named_and_never_by_itself(farm):
    product = copper(farm)
    expired = lot(product, "5", expires_on=dt.date(2026, 12, 1))

    assert use(product, amount("1", "lb")).missing == amount("1", "lb")
    assert use(product, amount("1", "lb"), of=expired).missing is None
    assert pounds(fresh(expired).on_hand_base) == 4


def test_one_load_names_a_lot_twice(farm):
    product = copper(farm)
    held = lot(product, "5")
    twice = [Used(product, held, amount("1", "lb")), Used(product, held, amount("8", "oz_wt"))]

    done = services.use(
        farm=farm, work_order=new_id(), load=new_id(), used=twice, by=SYSTEM, at=NOON, now=NOON
    )

    assert [row.quantity for row in done.posted] == [amount("1.5", "lb")]


def test_what_a_voided_load_took_goes_back_once_and_its_question_is_closed(farm):
    product = copper(farm)
    held = lot(product, "2")
    load = new_id()
    use(product, amount("3", "lb"), load=load, of=held)

    made = services.put_back(farm=farm, loads=[load], reason="wrong block", by=SYSTEM, now=NOON)
    again = services.put_back(farm=farm, loads=[load], reason="wrong block", by=SYSTEM, now=NOON)

    assert ([row.kind for row in made], again) == (["reverse"], [])
    assert pounds(fresh(held).on_hand_base) == 2
    assert Shortage.objects.get().answered_at == NOON


def test_long_amounts_are_kept_to_the_last_digit(farm):
    product = copper(farm, stock_unit="g")
    held = lot(product, "123456789.5")

    use(product, amount("0.00000000000000000001", "g"), of=held)

    assert str(fresh(held).on_hand_base) == "123456789.49999999999999999999"


def test_labels_take_over_and_an_ended_one_is_not_replaced_by_an_older(farm):
    product = copper(farm)
    new = services.add_label(
        product=product,
        label={"name": "new"},
        effective_from=dt.date(2026, 6, 1),
        effective_until=dt.date(2026, 8, 31),
        by=SYSTEM,
        now=NOON,
    )

    assert queries.label_in_force(product=product, on=dt.date(2026, 5, 31)).label["name"] != "new"
    assert queries.label_in_force(product=product, on=dt.date(2026, 8, 31)).id == new.id
    assert queries.label_in_force(product=product, on=dt.date(2026, 9, 1)) is None


@pytest.mark.django_db(transaction=True)
def test_of_two_loads_at_once_that_want_more_than_there_is_the_first_gets_it():
    product = copper(FarmFactory())
    held = lot(product, "5")

    answers = at_once(*[lambda: use(product, amount("4", "lb"), of=held)] * 2)

    assert sorted(answer.missing is None for answer in answers) == [False, True]
    assert fresh(held).on_hand_base == 0
    assert [row.missing for row in Shortage.objects.all()] == [amount("3", "lb")]


@pytest.mark.django_db(transaction=True)
def test_of_two_orders_at_once_only_one_gets_the_promise():
    product = copper(FarmFactory())
    held = lot(product, "5")

    answers = at_once(*[lambda: reserve(product, amount("4", "lb"))] * 2)

    assert sorted(isinstance(answer, StockShort) for answer in answers) == [False, True]
    assert pounds(fresh(held).reserved_base) == 4


@pytest.mark.django_db(transaction=True)
def test_the_same_load_told_by_three_at_once_is_posted_once():
    product = copper(FarmFactory())
    held, load = lot(product, "5"), new_id()

    answers = at_once(*[lambda: use(product, amount("1", "lb"), load=load, of=held)] * 3)

    assert len({answer.posted[0].id for answer in answers}) == 1
    assert pounds(fresh(held).on_hand_base) == 4


@pytest.mark.django_db(transaction=True)
def test_orders_that_want_the_same_lots_in_another_sequence_do_not_block_each_other():
    farm = FarmFactory()
    powder, liquid = copper(farm), oil(farm)
    lot(powder, "50"), lot(liquid, "50")
    one = [Need(powder, amount("1", "lb")), Need(liquid, amount("1", "gal"))]

    def order(needs):
        return lambda: services.reserve(farm=farm, work_order=new_id(), needs=needs, by=SYSTEM, now=NOON)

    answers = at_once(*[order(one), order(one[::-1])] * 3)

    assert [len(answer) for answer in answers] == [2] * 6
