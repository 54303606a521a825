"""The ledger over HTTP: what a storekeeper enters, and what is refused."""

import datetime as dt

import pytest
from django.db import DatabaseError, connections, transaction
from django.utils import timezone

from orchard.farms.actors import SYSTEM
from orchard.inventory import services
from orchard.inventory.models import Lot, Movement, Reservation
from orchard.inventory.services import Need, Used
from tests.callers import Caller, codes, pointers
from tests.factories import FarmFactory, amount
from tests.inventory.store import at_once, copper, fresh, lot, new_id, oil

pytestmark = pytest.mark.django_db


def q(value, unit):
    return {"value": value, "unit": unit}


@pytest.fixture
def farm():
    return FarmFactory()


@pytest.fixture
def keeper(farm):
    return Caller(farm, "storekeeper")


def enter(caller, kind, lot=None, quantity=None, **more):
    body = {"kind": kind, "lot": str(lot.id) if lot else None, "quantity": quantity, **more}
    return caller.post("stock-movements", {name: value for name, value in body.items() if value is not None})


def test_a_receipt_raises_what_is_on_hand_by_exactly_that_much(farm, keeper):
    held = lot(copper(farm))

    made = enter(keeper, "receive", held, q("9.5", "lb"), reason="delivery 4471")

    assert made.status_code == 201
    shown = made.json()
    assert shown["change"] == q("9.5", "lb")
    assert shown["change_base"] == q("4309.127515", "g")
    assert shown["balance_after"] == q("9.5", "lb")
    assert keeper.get(f"lots/{held.id}").json()["on_hand"] == q("9.5", "lb")
    assert keeper.get(f"stock-movements/{shown['id']}").json() == shown


def test_the_same_key_receives_once(farm, keeper):
    held = lot(copper(farm))
    body = {"kind": "receive", "lot": str(held.id), "quantity": q("1", "lb")}

    first = keeper.post("stock-movements", body, idempotency_key="k")
    again = keeper.post("stock-movements", body, idempotency_key="k")
    other = keeper.post("stock-movements", {**body, "quantity": q("2", "lb")}, idempotency_key="k")

    assert first.json() == again.json()
    assert codes(other) == ["idempotency_key_reused"]
    assert keeper.get(f"lots/{held.id}").json()["on_hand"] == q("1", "lb")


def test_a_movement_keeps_its_unit_and_the_balance_is_in_the_products(farm, keeper):
    held = lot(oil(farm))

    shown = enter(keeper, "receive", held, q("100", "fl_oz")).json()

    assert (shown["change"], shown["balance_after"]) == (q("100", "fl_oz"), q("0.78125", "gal"))


def test_a_balance_that_never_ends_is_shown_to_six_places_and_kept_exactly(farm, keeper):
    held = lot(copper(farm))

    shown = enter(keeper, "receive", held, q("1", "kg")).json()

    assert shown["balance_after"] == q("2.204623", "lb")
    assert shown["change_base"] == q("1000", "g")


def test_a_powder_by_volume_goes_by_the_bulk_density_of_the_label_in_force(farm, keeper):
    held = lot(copper(farm))

    assert enter(keeper, "receive", held, q("2", "L")).json()["change_base"] == q("1000", "g")


@pytest.mark.parametrize(
    ("quantity", "code", "pointer"),
    [
        (q("3", "lb"), "unit_needs_density", "/quantity/unit"),
        (q("3", "oz"), "unit_ambiguous", "/quantity/unit"),
        (q("3", "acre"), "unit_kind", "/quantity/unit"),
        (q("3", "count"), "unit_kind", "/quantity/unit"),
        (q("3", "jug"), "unit_unknown", "/quantity/unit"),
        (q("2,8", "gal"), "not_a_decimal", "/quantity/value"),
        (q("0", "gal"), "out_of_range", "/quantity/value"),
        (q("-1", "gal"), "out_of_range", "/quantity/value"),
        (q("99999999999999999999", "gal"), "out_of_range", "/quantity/value"),
        (q("950000", "gal"), "out_of_range", "/quantity/value"),  # the whole valley has less
        ("3 gal", "invalid", "/quantity"),
    ],
)
def test_an_amount_that_cannot_be_taken_at_its_word_is_refused(farm, keeper, quantity, code, pointer):
    held = lot(oil(farm))

    refused = enter(keeper, "receive", held, quantity)

    assert (refused.status_code, codes(refused), pointers(refused)) == (422, [code], [pointer])


def test_oz_names_the_two_things_that_it_may_mean(farm, keeper):
    detail = enter(keeper, "receive", lot(oil(farm)), q("3", "oz")).json()["errors"][0]["detail"]

    assert "fl_oz" in detail and "oz_wt" in detail


@pytest.mark.parametrize(
    ("body", "faults"),
    [
        ({}, {"/kind": "required"}),
        ({"kind": "use"}, {"/kind": "invalid"}),
        ({"kind": "receive"}, {"/lot": "required", "/quantity": "required"}),
        (
            {"kind": "receive", "quantity": q("1", "oz")},
            {"/lot": "required", "/quantity/unit": "unit_ambiguous"},
        ),
        (
            {"kind": "dispose"},
            {"/lot": "required", "/quantity": "required", "/reason": "required"},
        ),
        ({"kind": "reverse", "reason": "typo"}, {"/reverses": "required"}),
        (
            {"kind": "reverse", "reason": "typo", "quantity": q("1", "lb"), "location": "shed"},
            {"/reverses": "required", "/quantity": "invalid", "/location": "invalid"},
        ),
        (
            {
                "kind": "return",
                "lot": str(new_id()),
                "quantity": q("1", "lb"),
                "reason": "back",
                "price": "2",
            },
            {"/lot": "not_found", "/price": "unknown_field"},
        ),
    ],
)
def test_every_fault_of_an_entry_is_named_at_once(keeper, body, faults):
    refused = keeper.post("stock-movements", body)

    assert refused.status_code == 422
    assert dict(zip(pointers(refused), codes(refused), strict=True)) == faults


def test_a_movement_may_be_entered_late_but_not_ahead(farm, keeper):
    held = lot(copper(farm))
    tomorrow = (timezone.now() + dt.timedelta(days=1)).isoformat()

    late = enter(keeper, "receive", held, q("1", "lb"), at="2026-10-30T11:00:00-04:00")

    assert late.json()["at"] == "2026-10-30T08:00:00-07:00"
    assert codes(enter(keeper, "receive", held, q("1", "lb"), at=tomorrow)) == ["time_in_future"]


def test_what_goes_out_is_below_zero_and_never_more_than_there_is(farm, keeper):
    held = lot(copper(farm), "5")

    gone = enter(keeper, "dispose", held, q("8", "oz_wt"), reason="spilled")
    refused = enter(keeper, "dispose", held, q("4.75", "lb"), reason="spilled")

    assert (gone.json()["change"], gone.json()["balance_after"]) == (q("-8", "oz_wt"), q("4.5", "lb"))
    assert (refused.status_code, codes(refused)) == (409, ["stock_short"])
    assert refused.json()["errors"][0]["short"] == q("0.25", "lb")
    assert keeper.get(f"lots/{held.id}").json()["on_hand"] == q("4.5", "lb")


def test_a_count_is_adjusted_in_both_directions(farm, keeper):
    held = lot(copper(farm), "5")

    down = enter(keeper, "adjust", held, q("-0.85", "lb"), reason="counted")
    up = enter(keeper, "adjust", held, q("0.1", "lb"), reason="counted again")

    assert (down.json()["change"], up.json()["balance_after"]) == (q("-0.85", "lb"), q("4.25", "lb"))
    assert codes(enter(keeper, "adjust", held, q("0", "lb"), reason="counted")) == ["out_of_range"]
    assert codes(enter(keeper, "adjust", held, q("-9", "lb"), reason="counted")) == ["stock_short"]


def test_a_part_that_is_brought_elsewhere_is_the_same_lot_there(farm, keeper):
    held = lot(copper(farm), "5", number="C-2201", location="barn", expires_on=dt.date(2100, 1, 1))

    moved = enter(keeper, "transfer", held, q("2", "lb"), reason="for the week", location="shed")

    there = Lot.objects.get(number="C-2201", location="shed")
    assert (moved.status_code, moved.json()["change"], moved.json()["location"]) == (
        201,
        q("-2", "lb"),
        "shed",
    )
    assert there.expires_on == held.expires_on
    assert keeper.get(f"lots/{there.id}").json()["on_hand"] == q("2", "lb")
    assert keeper.get(f"lots/{held.id}").json()["on_hand"] == q("3", "lb")
    legs = keeper.get("stock-movements?kind=transfer").json()["items"]
    assert sorted(leg["change"]["value"] for leg in legs) == ["-2", "2"]
    assert {leg["location"] for leg in legs} == {"shed"}


def test_a_second_part_goes_to_the_lot_that_is_there(farm, keeper):
    held = lot(copper(farm), "5", location="barn")
    for _ in range(2):
        enter(keeper, "transfer", held, q("1", "lb"), reason="for the week", location="shed")

    assert Lot.objects.count() == 2
    assert codes(enter(keeper, "transfer", held, q("9", "lb"), reason="r", location="shed")) == [
        "stock_short"
    ]
    assert codes(enter(keeper, "transfer", held, q("1", "lb"), reason="r", location="barn")) == ["invalid"]


def test_what_is_quarantined_stays_so_elsewhere(farm, keeper):
    product = copper(farm)
    open_one = lot(product, "5", number="7", location="shed")
    held = lot(product, "5", number="7", location="barn", quarantined=True, quarantine_reason="frozen")

    enter(keeper, "transfer", held, q("1", "lb"), reason="away", location="shed")
    enter(keeper, "transfer", held, q("1", "lb"), reason="away", location="cellar")

    assert fresh(open_one).quarantine_reason == "frozen"
    assert Lot.objects.get(location="cellar").quarantined


def test_promises_go_where_the_stock_goes(farm, keeper):
    product = copper(farm)
    held = lot(product, "5", location="barn")
    order = new_id()
    needs = [Need(product, amount("4", "lb"))]
    services.reserve(farm=farm, work_order=order, needs=needs, by=SYSTEM, now=timezone.now())

    enter(keeper, "transfer", held, q("3", "lb"), reason="to the field", location="field")

    open_ = {row.lot.location: row.open_base for row in Reservation.objects.filter(status="open")}
    assert {place: base / amount("1", "lb").in_base() for place, base in open_.items()} == {
        "barn": 2,
        "field": 2,
    }
    stock = keeper.get("stock").json()["items"][0]
    assert (stock["reserved"], stock["available"]) == (q("4", "lb"), q("1", "lb"))


def test_nothing_comes_into_an_expired_lot_but_it_can_be_emptied(farm, keeper):
    held = lot(copper(farm), "5", expires_on=dt.date(2021, 1, 1))

    refused = [
        enter(keeper, "receive", held, q("1", "lb")),
        enter(keeper, "transfer", held, q("1", "lb"), reason="away", location="shed"),
    ]

    assert [(r.status_code, codes(r)) for r in refused] == [(409, ["lot_expired"])] * 2
    assert enter(keeper, "dispose", held, q("1", "lb"), reason="expired").status_code == 201
    assert enter(keeper, "adjust", held, q("-1", "lb"), reason="counted").status_code == 201
    assert Lot.objects.count() == 1


def test_a_wrong_receipt_is_reversed_once_and_both_lines_name_each_other(farm, keeper):
    held = lot(copper(farm))
    wrong = enter(keeper, "receive", held, q("95", "lb")).json()

    fixed = enter(keeper, "reverse", reverses=wrong["id"], reason="9.5, not 95")
    again = enter(keeper, "reverse", reverses=wrong["id"], reason="9.5, not 95")

    assert fixed.status_code == 201
    assert (fixed.json()["change"], fixed.json()["balance_after"]) == (q("-95", "lb"), q("0", "lb"))
    assert fixed.json()["reverses"] == wrong["id"]
    assert keeper.get(f"stock-movements/{wrong['id']}").json()["reversed_by"] == fixed.json()["id"]
    assert (again.status_code, codes(again)) == (409, ["already_reversed"])
    assert again.json()["errors"][0]["refers_to"]["id"] == fixed.json()["id"]
    assert codes(enter(keeper, "reverse", reverses=fixed.json()["id"], reason="no")) == ["state_conflict"]


def test_a_receipt_that_was_used_already_cannot_be_reversed(farm, keeper):
    held = lot(copper(farm))
    receipt = enter(keeper, "receive", held, q("5", "lb")).json()
    enter(keeper, "dispose", held, q("2", "lb"), reason="spilled")

    refused = enter(keeper, "reverse", reverses=receipt["id"], reason="typo")

    assert (refused.status_code, codes(refused)) == (409, ["stock_already_used"])
    assert refused.json()["errors"][0]["short"] == q("2", "lb")


@pytest.mark.parametrize("leg", [0, 1])
def test_a_transfer_is_reversed_as_a_whole_whichever_leg_is_named(farm, keeper, leg):
    held = lot(copper(farm), "5", location="barn")
    enter(keeper, "transfer", held, q("2", "lb"), reason="away", location="shed")
    legs = Movement.objects.filter(kind="transfer").order_by("change_base")

    enter(keeper, "reverse", reverses=str(legs[leg].id), reason="stayed here")
    again = enter(keeper, "reverse", reverses=str(legs[1 - leg].id), reason="stayed here")

    assert {row.location: int(row.on_hand_base) for row in Lot.objects.all()} == {"barn": 2267, "shed": 0}
    assert codes(again) == ["already_reversed"]


def test_what_a_crew_used_goes_back_with_its_record_and_not_by_hand(farm, keeper):
    product = copper(farm)
    held = lot(product, "5")
    services.use(
        farm=farm,
        work_order=new_id(),
        load=new_id(),
        used=[Used(product, held, amount("1", "lb"))],
        by=SYSTEM,
        at=timezone.now(),
        now=timezone.now(),
    )
    used = Movement.objects.get(kind="use")

    assert codes(enter(keeper, "reverse", reverses=str(used.id), reason="typo")) == ["state_conflict"]
    shown = keeper.get(f"stock-movements/{used.id}").json()
    assert (shown["load"], shown["work_order"]) == (str(used.load), str(used.work_order))


def test_the_ledger_is_found_by_product_lot_kind_order_and_time(farm, keeper):
    one, other = lot(copper(farm)), lot(oil(farm))
    enter(keeper, "receive", one, q("5", "lb"), at="2026-11-01T08:00:00-07:00")
    enter(keeper, "dispose", one, q("1", "lb"), reason="spilled")
    enter(keeper, "receive", other, q("5", "gal"))

    def count(query):
        return len(keeper.get(f"stock-movements?{query}").json()["items"])

    assert count(f"product={one.product.id}") == 2
    assert count(f"lot={other.id}") == 1
    assert count("kind=receive") == 2
    assert count(f"work_order={new_id()}") == 0
    assert count("from=2026-11-02T00:00:00Z") == 2
    assert count("to=2026-11-02T00:00:00Z") == 1
    assert keeper.get("stock-movements?colour=red").status_code == 400


def test_a_long_ledger_costs_as_many_queries_as_a_short_one(farm, keeper, django_assert_max_num_queries):
    held = lot(copper(farm), "5")
    for _ in range(12):
        receipt = enter(keeper, "receive", held, q("1", "lb")).json()
        enter(keeper, "reverse", reverses=receipt["id"], reason="typo")

    with django_assert_max_num_queries(9):
        assert len(keeper.get("stock-movements").json()["items"]) == 25


def test_the_list_says_of_each_line_what_the_line_itself_says(farm, keeper):
    held, other = lot(copper(farm), "5"), lot(oil(farm))
    enter(keeper, "receive", other, q("100", "fl_oz"), reference="delivery 4471")
    enter(keeper, "adjust", held, q("-0.25", "lb"), reason="counted")
    enter(keeper, "transfer", held, q("1.50", "lb"), reason="to the barn", location="barn")
    receipt = enter(keeper, "receive", held, q("3", "oz_wt")).json()
    enter(keeper, "reverse", reverses=receipt["id"], reason="typo")

    listed = keeper.get("stock-movements").json()["items"]

    assert {one["kind"] for one in listed} >= {"receive", "adjust", "transfer", "reverse"}
    assert listed == [keeper.get(f"stock-movements/{one['id']}").json() for one in listed]


@pytest.mark.parametrize("role", ["crew_lead", "crew_member", "adviser"])
def test_a_crew_may_look_but_not_enter(farm, role):
    held = lot(copper(farm), "5")
    crew = Caller(farm, role)

    assert crew.get("stock-movements").status_code == 200
    assert codes(enter(crew, "receive", held, q("1", "lb"))) == ["role_not_allowed"]


def test_another_farms_lot_is_not_there(farm, keeper):
    theirs = lot(copper(FarmFactory()), "5")
    movement = Movement.objects.get()

    assert codes(enter(keeper, "receive", theirs, q("1", "lb"))) == ["not_found"]
    assert keeper.get(f"lots/{theirs.id}").status_code == 404
    assert keeper.get(f"stock-movements/{movement.id}").status_code == 404
    assert codes(enter(keeper, "reverse", reverses=str(movement.id), reason="x")) == ["not_found"]


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
@pytest.mark.parametrize("role", ["default", "owner"])
@pytest.mark.parametrize(
    "statement", ["UPDATE inventory_movement SET change_base = 1", "DELETE FROM inventory_movement"]
)
def test_the_database_itself_refuses_to_change_the_ledger(role, statement):
    lot(copper(FarmFactory()), "5")

    with (
        pytest.raises(DatabaseError, match=r"append-only|permission denied"),
        transaction.atomic(using=role),
        connections[role].cursor() as cursor,
    ):
        cursor.execute(statement)


@pytest.mark.django_db(transaction=True)
def test_of_two_who_take_the_last_at_once_one_is_refused_and_nothing_is_below_zero():
    farm = FarmFactory()
    held = lot(copper(farm), "5")
    keeper = Caller(farm, "storekeeper")

    answers = at_once(*[lambda: enter(keeper, "dispose", held, q("4", "lb"), reason="r")] * 2)

    assert sorted(answer.status_code for answer in answers) == [201, 409]
    assert keeper.get(f"lots/{held.id}").json()["on_hand"] == q("1", "lb")


@pytest.mark.django_db(transaction=True)
def test_a_receipt_is_reversed_once_however_many_try_at_once():
    farm = FarmFactory()
    held = lot(copper(farm))
    keeper = Caller(farm, "storekeeper")
    receipt = enter(keeper, "receive", held, q("5", "lb")).json()

    answers = at_once(*[lambda: enter(keeper, "reverse", reverses=receipt["id"], reason="typo")] * 3)

    assert sorted(answer.status_code for answer in answers) == [201, 409, 409]
    assert fresh(held).on_hand_base == 0


# before what had come in


def test_what_went_out_before_anything_had_come_in_is_refused_with_what_the_book_held(farm, keeper):
    held, monday = lot(copper(farm), number="C-1"), timezone.now() - dt.timedelta(days=7)
    wednesday = monday + dt.timedelta(days=2)
    enter(keeper, "receive", held, q("10", "lb"), at=wednesday.isoformat())

    for kind, more in (("dispose", {}), ("transfer", {"location": "van"})):
        early = enter(keeper, kind, held, q("4", "lb"), reason="wet", at=monday.isoformat(), **more)
        assert (early.status_code, codes(early), pointers(early)) == (409, ["stock_short"], ["/at"])
        [fault] = early.json()["errors"]
        assert "by the book lot C-1 of Copper hydroxide 46 WG held 0 lb at " in fault["detail"]
        assert fault["short"] == q("4", "lb")
    assert (
        enter(keeper, "adjust", held, q("-4", "lb"), reason="wet", at=monday.isoformat()).status_code == 409
    )
    later = enter(keeper, "dispose", held, q("4", "lb"), reason="wet", at=wednesday.isoformat())
    assert later.status_code == 201


def test_what_went_out_may_not_take_away_what_was_used_after_it(farm, keeper):
    held, monday = lot(copper(farm)), timezone.now() - dt.timedelta(days=7)

    def day(number):
        return (monday + dt.timedelta(days=number)).isoformat()

    enter(keeper, "receive", held, q("10", "lb"), at=day(0))
    enter(keeper, "dispose", held, q("8", "lb"), reason="wet", at=day(2))
    more = enter(keeper, "receive", held, q("10", "lb"), at=day(4)).json()

    too_much = enter(keeper, "dispose", held, q("3", "lb"), reason="burst", at=day(1))
    gone = keeper.post(
        "stock-movements", {"kind": "reverse", "reverses": more["id"], "reason": "twice", "at": day(1)}
    )
    fits = enter(keeper, "dispose", held, q("2", "lb"), reason="burst", at=day(1))

    assert too_much.json()["errors"][0]["short"] == q("1", "lb")
    assert (codes(gone), pointers(gone)) == (["stock_short"], ["/at"])
    assert fits.status_code == 201


def test_a_load_that_is_told_to_be_older_than_the_receipt_is_taken_and_the_store_is_asked(farm, keeper):
    held, monday = lot(copper(farm), number="C-1"), timezone.now() - dt.timedelta(days=7)
    tuesday, wednesday = (monday + dt.timedelta(days=days) for days in (1, 2))
    wrong_day = enter(keeper, "receive", held, q("10", "lb"), at=wednesday.isoformat()).json()
    enter(keeper, "dispose", lot(held.product, "5", number="years-old"), q("1", "lb"), reason="wet")
    used = [Used(held.product, held, amount("4", "lb"))]

    def asked():
        rows = Caller(farm, "manager").get("attention").json()["items"]
        return [one for one in rows if one["code"] == "book_below_nothing"]

    def on_tuesday():
        moment = tuesday.strftime("%Y-%m-%dT%H:%M:%SZ")
        [row] = keeper.get(f"stock-balances?lot={held.id}&at={moment}").json()["items"]
        return row["on_hand"], row["note"]

    assert asked() == []
    done = services.use(
        farm=farm,
        work_order=new_id(),
        load=new_id(),
        used=used,
        by=SYSTEM,
        at=monday,
        now=timezone.now(),
    )

    [question] = asked()
    assert (len(done.posted), done.missing) == (1, None)
    assert question["refers_to"] == {"kind": "lot", "id": str(held.id)}
    assert "by the book lot C-1 of Copper hydroxide 46 WG held -4 lb on " in question["says"]
    balance, note = on_tuesday()
    assert balance == q("-4", "lb")
    assert "find the receipt with the wrong day" in note
    enter(keeper, "receive", held, q("10", "lb"), at=(monday - dt.timedelta(days=1)).isoformat())
    keeper.post("stock-movements", {"kind": "reverse", "reverses": wrong_day["id"], "reason": "wrong day"})
    assert asked() == []
    assert on_tuesday() == (q("6", "lb"), None)
