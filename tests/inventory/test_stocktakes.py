"""Stocktakes over HTTP: the shelf beside the book of its moment, and what is posted of a difference."""

import datetime as dt
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from hypothesis import given, settings
from hypothesis import strategies as st

from orchard.farms.actors import SYSTEM
from orchard.farms.models import AuditEntry, Change
from orchard.inventory import proof, services, stocktake_queries
from orchard.inventory.models import Movement, Stocktake, StocktakeCount
from orchard.inventory.services import Used, stocktakes
from orchard.inventory.services.stocktakes import Counted
from tests.callers import Caller, codes, pointers
from tests.factories import FarmFactory, amount
from tests.inventory.store import at_once, copper, fresh, lot, new_id, oil

pytestmark = pytest.mark.django_db
HOUR = dt.timedelta(hours=1)


def q(value, unit):
    return {"value": value, "unit": unit}


def count(lot, value, unit="lb"):
    return {"lot": str(lot.id), "counted": q(value, unit)}


def use(held, value, *, at, unit="lb", load=None):
    used = [Used(held.product, held, amount(value, unit))]
    return services.use(
        farm=held.farm,
        work_order=new_id(),
        load=load or new_id(),
        used=used,
        by=SYSTEM,
        at=at,
        now=timezone.now(),
    )


@pytest.fixture
def farm():
    return FarmFactory()


@pytest.fixture
def keeper(farm):
    return Caller(farm, "storekeeper")


@pytest.fixture
def shelf(farm):
    """A lot whose book says 9.45 lb."""
    return lot(copper(farm), "9.45", number="C-2305")


def opened(keeper, *counts, **more):
    made = keeper.post("stocktakes", {"counts": list(counts), **more})
    assert made.status_code == 201, made.content
    return made.json()


def posted(keeper, stocktake, **reasons):
    return keeper.act(f"stocktakes/{stocktake['id']}", "post", {"reasons": reasons} if reasons else {})


def why(held, text="spilt while filling"):
    return {str(held.id): text}


def test_less_than_the_book_asks_whether_a_spray_is_missing(keeper, shelf):
    made = opened(keeper, count(shelf, "8.6"), location="shed", note="after the first spray")

    assert (made["status"], made["location"], made["note"]) == ("open", "shed", "after the first spray")
    assert made["counts"] == [
        {
            "lot": str(shelf.id),
            "counted": q("8.6", "lb"),
            "counted_at": made["counted_at"],
            "book": q("9.45", "lb"),
            "difference": q("-0.85", "lb"),
            "uses_since_last_count": 0,
            "question": "spray_missing",
            "reason": None,
            "movement": None,
        }
    ]
    assert keeper.get(f"stocktakes/{made['id']}").json() == made


def test_more_than_the_book_says_a_record_is_wrong_and_the_same_asks_nothing(keeper, farm, shelf):
    other = lot(shelf.product, "2")

    first, second = opened(keeper, count(shelf, "10"), count(other, "2"))["counts"]

    assert (first["difference"], first["question"]) == (q("0.55", "lb"), "record_wrong")
    assert (second["difference"], second["question"]) == (q("0", "lb"), None)


def test_the_difference_is_in_the_unit_that_was_counted_in_and_the_book_in_the_products(keeper, shelf):
    [line] = opened(keeper, count(shelf, "137.6", "oz_wt"))["counts"]

    assert (line["book"], line["difference"]) == (q("9.45", "lb"), q("-13.6", "oz_wt"))


def test_a_powder_counted_by_volume_goes_by_its_bulk_density(keeper, farm):
    held = lot(copper(farm, stock_unit="g"), "1000")

    [line] = opened(keeper, count(held, "1.5", "L"))["counts"]

    assert line["difference"] == q("-0.5", "L")


def test_a_book_that_never_ends_in_the_counted_unit_is_met_by_its_six_places(keeper, farm):
    held = lot(copper(farm, stock_unit="lb"))
    services.move(
        farm=farm, kind="receive", lot=held, quantity=amount("1", "kg"), by=SYSTEM, now=timezone.now()
    )
    stocktake = opened(keeper, count(held, "2.204623"))

    assert stocktake["counts"][0]["difference"] == q("0", "lb")
    assert posted(keeper, stocktake).status_code == 200
    assert not Movement.objects.filter(kind="adjust").exists()


def test_posting_wants_a_reason_for_each_difference(keeper, shelf):
    even, more = lot(shelf.product, "2"), lot(shelf.product, "3")
    stocktake = opened(keeper, count(shelf, "8.6"), count(even, "2"), count(more, "4"))

    for reasons in ({}, {str(shelf.id): "  ", str(more.id): None}):
        refused = posted(keeper, stocktake, **reasons)

        assert (refused.status_code, codes(refused)) == (422, ["reason_required"] * 2)
        assert pointers(refused) == [f"/reasons/{shelf.id}", f"/reasons/{more.id}"]
        assert refused.json()["errors"][0]["refers_to"] == {"kind": "lot", "id": str(shelf.id)}
    assert not Movement.objects.filter(kind="adjust").exists()
    assert keeper.get(f"stocktakes/{stocktake['id']}").json() == stocktake


def test_posting_adjusts_each_difference_and_edits_no_older_movement(keeper, shelf):
    even = lot(shelf.product, "2")
    before = list(Movement.objects.order_by("id").values())
    stocktake = opened(keeper, count(shelf, "8.6"), count(even, "2"))

    answer = posted(keeper, stocktake, **why(shelf))

    assert answer.status_code == 200
    shown = answer.json()
    assert shown["status"] == "posted"
    assert [line["reason"] for line in shown["counts"]] == ["spilt while filling", None]
    assert [line["book"] for line in shown["counts"]] == [q("9.45", "lb"), q("2", "lb")]
    made = keeper.get(f"stock-movements/{shown['counts'][0]['movement']}").json()
    assert (made["kind"], made["change"], made["reason"]) == (
        "adjust",
        q("-0.85", "lb"),
        "spilt while filling",
    )
    assert made["balance_after"] == q("8.6", "lb")
    assert made["at"] == shown["counted_at"]
    assert keeper.get(f"lots/{shelf.id}").json()["on_hand"] == q("8.6", "lb")
    assert list(Movement.objects.exclude(kind="adjust").order_by("id").values()) == before
    assert Movement.objects.filter(kind="adjust").count() == 1
    assert list(proof.differences()) == []


def test_what_was_used_after_the_count_stays_used(keeper, shelf):
    an_hour_ago = timezone.now() - HOUR
    stocktake = opened(keeper, count(shelf, "8.6"), counted_at=an_hour_ago.isoformat())
    use(shelf, "3", at=timezone.now())

    answer = posted(keeper, stocktake, **why(shelf))

    assert answer.json()["counts"][0]["difference"] == q("-0.85", "lb")
    assert keeper.get(f"lots/{shelf.id}").json()["on_hand"] == q("5.6", "lb")


def test_a_load_from_before_the_count_that_is_told_late_explains_the_difference(keeper, shelf):
    stocktake = opened(keeper, count(shelf, "8.6"))
    use(shelf, "0.85", at=timezone.now() - HOUR)

    [line] = keeper.get(f"stocktakes/{stocktake['id']}").json()["counts"]

    assert (line["book"], line["difference"], line["question"]) == (q("8.6", "lb"), q("0", "lb"), None)
    assert line["uses_since_last_count"] == 1


def test_an_open_count_is_never_not_modified_and_a_posted_one_may_be(keeper, shelf):
    stocktake = opened(keeper, count(shelf, "8.6"))
    path = f"stocktakes/{stocktake['id']}"
    use(shelf, "0.85", at=timezone.now() - HOUR)

    assert keeper.get(path, if_none_match=stocktake["etag"]).status_code == 200
    done = posted(keeper, stocktake)
    assert keeper.get(path, if_none_match=done.headers["ETag"]).status_code == 304


def test_uses_are_counted_from_the_last_posted_count_without_those_put_back(keeper, shelf):
    now, wrong = timezone.now(), new_id()
    use(shelf, "1", at=now - 6 * HOUR)
    first = opened(keeper, count(shelf, "8.45"), counted_at=(now - 5 * HOUR).isoformat())
    assert first["counts"][0]["uses_since_last_count"] == 1
    posted(keeper, first)
    use(shelf, "1", at=now - 4 * HOUR)
    use(shelf, "1", at=now - 3 * HOUR)
    use(shelf, "1", at=now - 2 * HOUR, load=wrong)
    services.put_back(farm=shelf.farm, loads=[wrong], reason="wrong block", by=SYSTEM, now=now - HOUR)
    cancelled = opened(keeper, count(shelf, "0"), counted_at=(now - HOUR).isoformat())
    keeper.act(f"stocktakes/{cancelled['id']}", "cancel")

    [line] = opened(keeper, count(shelf, "6.45"))["counts"]

    assert (line["uses_since_last_count"], line["question"]) == (2, None)


def test_a_posted_count_shows_what_the_book_said_then(keeper, shelf):
    stocktake = opened(keeper, count(shelf, "8.6"))
    shown = posted(keeper, stocktake, **why(shelf)).json()
    use(shelf, "1", at=timezone.now() - 2 * HOUR)

    assert keeper.get(f"stocktakes/{stocktake['id']}").json()["counts"] == shown["counts"]


def test_counts_may_be_changed_while_it_is_open(keeper, shelf):
    other = lot(shelf.product, "2")
    stocktake = opened(keeper, count(shelf, "8.6"))
    path = f"stocktakes/{stocktake['id']}"

    changed = keeper.patch(path, {"counts": [count(other, "2"), count(shelf, "9")], "note": "again"})

    assert [line["counted"] for line in changed.json()["counts"]] == [q("2", "lb"), q("9", "lb")]
    assert changed.json()["note"] == "again"
    entry = AuditEntry.objects.get(resource="stocktake", action="update")
    assert entry.before["counts"] == [count(shelf, "8.6")]
    same = keeper.patch(path, {"note": "again"})
    assert same.json()["etag"] == changed.json()["etag"]


def test_another_moment_is_another_book(keeper, shelf):
    stocktake = opened(keeper, count(shelf, "9.45"))
    use(shelf, "1", at=timezone.now() - HOUR)
    earlier = (timezone.now() - 2 * HOUR).isoformat()

    moved = keeper.patch(f"stocktakes/{stocktake['id']}", {"counted_at": earlier})

    assert moved.json()["counts"][0]["difference"] == q("0", "lb")


@pytest.mark.parametrize("action", ["post", "cancel"])
def test_what_is_closed_stays_as_it_is(keeper, shelf, action):
    stocktake = opened(keeper, count(shelf, "9.45"))
    path = f"stocktakes/{stocktake['id']}"
    closed = keeper.act(path, action).json()

    for answer in (
        keeper.patch(path, {"counts": []}),
        keeper.act(path, "post", {"reasons": why(shelf)}),
        keeper.act(path, "cancel"),
    ):
        assert (answer.status_code, codes(answer)) == (409, ["state_conflict"])
        assert closed["status"] in answer.json()["errors"][0]["detail"]
    assert keeper.get(path).json() == closed


def test_cancelling_leaves_the_book(keeper, shelf):
    stocktake = opened(keeper, count(shelf, "1"))

    answer = keeper.act(f"stocktakes/{stocktake['id']}", "cancel")

    assert (answer.status_code, answer.json()["status"]) == (200, "cancelled")
    assert keeper.get(f"lots/{shelf.id}").json()["on_hand"] == q("9.45", "lb")


def test_nothing_counted_is_nothing_to_post(keeper):
    stocktake = opened(keeper)

    assert codes(posted(keeper, stocktake)) == ["state_conflict"]


@pytest.mark.parametrize(
    ("counts", "code", "pointer"),
    [
        ([{"counted": q("1", "lb")}], "required", "/counts/0/lot"),
        ([{"lot": str(new_id()), "counted": q("1", "lb")}], "not_found", "/counts/0/lot"),
        ("none", "invalid", "/counts"),
    ],
)
def test_a_count_names_a_lot_of_the_farm(keeper, counts, code, pointer):
    refused = keeper.post("stocktakes", {"counts": counts})

    assert (refused.status_code, codes(refused), pointers(refused)) == (422, [code], [pointer])


@pytest.mark.parametrize(
    ("counted", "code", "field"),
    [
        (q("1", "oz"), "unit_ambiguous", "/unit"),
        (q("1", "lb"), "unit_needs_density", "/unit"),
        (q("1", "acre"), "unit_kind", "/unit"),
        (q("-1", "gal"), "out_of_range", "/value"),
        (q("2,5", "gal"), "not_a_decimal", "/value"),
        (q("99999999999999999999", "gal"), "out_of_range", "/value"),
    ],
)
def test_an_amount_that_cannot_be_taken_at_its_word_is_refused(keeper, farm, counted, code, field):
    held = lot(oil(farm))

    refused = keeper.post("stocktakes", {"counts": [{"lot": str(held.id), "counted": counted}]})

    assert refused.status_code == 422
    assert set(codes(refused)) == {code}
    assert set(pointers(refused)) == {f"/counts/0/counted{field}"}


def test_counts_are_asked_for_and_a_lot_stands_in_them_once(keeper, shelf):
    assert (codes(keeper.post("stocktakes", {})), pointers(keeper.post("stocktakes", {}))) == (
        ["required"],
        ["/counts"],
    )
    twice = keeper.post("stocktakes", {"counts": [count(shelf, "1"), count(shelf, "2")]})
    assert (codes(twice), pointers(twice)) == (["invalid"], ["/counts/1/lot"])


def test_a_count_of_tomorrow_is_refused(keeper, shelf):
    tomorrow = (timezone.now() + dt.timedelta(days=1)).isoformat()

    refused = keeper.post("stocktakes", {"counts": [count(shelf, "1")], "counted_at": tomorrow})

    assert codes(refused) == ["time_in_future"]


@pytest.mark.parametrize(
    ("reasons", "code"),
    [("spilt", "invalid"), ({"not an id": "x"}, "invalid"), ({str(new_id()): "x"}, "not_found")],
)
def test_reasons_stand_by_the_id_of_a_counted_lot(keeper, shelf, reasons, code):
    stocktake = opened(keeper, count(shelf, "9.45"))

    refused = keeper.act(f"stocktakes/{stocktake['id']}", "post", {"reasons": reasons})

    assert (refused.status_code, codes(refused)) == (422, [code])


def test_less_than_was_taken_out_since_is_refused_and_nothing_is_posted(keeper, shelf):
    other = lot(shelf.product, "5")
    an_hour_ago = (timezone.now() - HOUR).isoformat()
    stocktake = opened(keeper, count(other, "4"), count(shelf, "1"), counted_at=an_hour_ago)
    use(shelf, "3", at=timezone.now())

    refused = posted(keeper, stocktake, **why(shelf), **why(other))

    assert (refused.status_code, codes(refused)) == (409, ["stock_short"])
    assert refused.json()["errors"][0]["short"] == q("2", "lb")
    assert fresh(other).on_hand_base == amount("5", "lb").in_base()


def test_an_older_count_of_the_same_lot_does_not_take_the_difference_twice(keeper, shelf):
    newer = opened(keeper, count(shelf, "8.6"))
    assert posted(keeper, newer, **why(shelf)).status_code == 200
    older = opened(keeper, count(shelf, "8.6"), counted_at=(timezone.now() - HOUR).isoformat())

    refused = posted(keeper, older, **why(shelf))

    assert (refused.status_code, codes(refused)) == (409, ["state_conflict"])
    assert refused.json()["errors"][0]["refers_to"] == {"kind": "stocktake", "id": newer["id"]}
    assert keeper.get(f"lots/{shelf.id}").json()["on_hand"] == q("8.6", "lb")


def test_a_newer_count_sees_what_an_older_one_posted(keeper, shelf):
    older = opened(keeper, count(shelf, "8.6"), counted_at=(timezone.now() - HOUR).isoformat())
    posted(keeper, older, **why(shelf))
    newer = opened(keeper, count(shelf, "8.6"))

    assert posted(keeper, newer).json()["counts"][0]["difference"] == q("0", "lb")
    assert keeper.get(f"lots/{shelf.id}").json()["on_hand"] == q("8.6", "lb")


def test_a_lot_is_counted_in_one_stocktake_at_a_time(keeper, shelf):
    other = lot(shelf.product, "2")
    first = opened(keeper, count(shelf, "8.6"))

    second = keeper.post("stocktakes", {"counts": [count(other, "2"), count(shelf, "9")]})

    assert (second.status_code, codes(second), pointers(second)) == (
        409,
        ["state_conflict"],
        ["/counts/1/lot"],
    )
    assert second.json()["errors"][0]["refers_to"] == {"kind": "stocktake", "id": first["id"]}
    assert (Stocktake.objects.count(), StocktakeCount.objects.count()) == (1, 1)
    third = opened(keeper, count(other, "2"))
    added = keeper.patch(f"stocktakes/{third['id']}", {"counts": [count(shelf, "9")]})
    assert codes(added) == ["state_conflict"]
    keeper.act(f"stocktakes/{first['id']}", "cancel")
    assert keeper.patch(f"stocktakes/{third['id']}", {"counts": [count(shelf, "9")]}).status_code == 200


@pytest.mark.django_db(transaction=True)
def test_of_two_who_begin_to_count_a_lot_at_once_one_is_told_of_the_other():
    farm = FarmFactory()
    held, keeper = lot(copper(farm), "9.45"), Caller(farm, "storekeeper")
    body = {"counts": [count(held, "8.6")]}

    answers = at_once(*[lambda: keeper.post("stocktakes", body)] * 3)

    assert sorted(answer.status_code for answer in answers) == [201, 409, 409]
    assert Stocktake.objects.count() == 1


def test_the_same_id_opens_it_once_and_the_key_posts_it_once(keeper, shelf):
    body = {"id": str(new_id()), "counts": [count(shelf, "8.6")]}
    first, again = keeper.post("stocktakes", body), keeper.post("stocktakes", body)
    other = keeper.post("stocktakes", {**body, "note": "another"})
    assert (first.status_code, again.status_code, codes(other)) == (201, 200, ["id_taken"])
    sent = {"if_match": first.headers["ETag"], "idempotency_key": "k"}

    answers = [
        keeper.post(f"stocktakes/{body['id']}/actions/post", {"reasons": why(shelf)}, **sent)
        for _ in range(2)
    ]

    assert [answer.status_code for answer in answers] == [200, 200]
    assert Movement.objects.filter(kind="adjust").count() == 1


def test_actions_want_the_version_that_was_read(keeper, shelf):
    stocktake = opened(keeper, count(shelf, "8.6"))
    path = f"stocktakes/{stocktake['id']}/actions/post"
    keeper.patch(f"stocktakes/{stocktake['id']}", {"counts": [count(shelf, "8.7")]})

    assert keeper.post(path, {}).status_code == 428
    assert keeper.post(path, {}, if_match=stocktake["etag"]).status_code == 412
    assert keeper.post(path, {}, if_match="*").status_code == 412


@pytest.mark.parametrize("role", ["crew_lead", "crew_member", "adviser"])
def test_the_store_is_counted_by_storekeeper_and_manager_alone(farm, keeper, shelf, role):
    stocktake, other = opened(keeper, count(shelf, "8.6")), Caller(farm, role)
    path = f"stocktakes/{stocktake['id']}"

    assert other.get(path).status_code == 200
    assert other.post("stocktakes", {"counts": [count(shelf, "1")]}).status_code == 403
    assert other.patch(path, {"note": "x"}).status_code == 403
    assert other.act(path, "post").status_code == 403
    assert Caller(farm, "manager").act(path, "cancel").status_code == 200


def test_another_farm_sees_no_count_and_its_lots_cannot_be_counted(keeper, shelf):
    stocktake, stranger = opened(keeper, count(shelf, "8.6")), Caller(FarmFactory(), "owner")

    assert stranger.get(f"stocktakes/{stocktake['id']}").status_code == 404
    assert codes(stranger.post("stocktakes", {"counts": [count(shelf, "1")]})) == ["not_found"]


def test_opening_and_posting_stand_in_audit_and_changes(keeper, shelf):
    stocktake = opened(keeper, count(shelf, "8.6"))
    posted(keeper, stocktake, **why(shelf))

    entries = AuditEntry.objects.filter(resource="stocktake").order_by("at")
    assert [entry.action for entry in entries] == ["create", "post"]
    assert Change.objects.filter(resource="stocktake").count() == 2


def test_a_list_costs_the_same_for_one_and_for_many(keeper, farm, shelf):
    opened(keeper, count(shelf, "8.6"))
    with CaptureQueriesContext(connection) as one:
        keeper.get("stocktakes")
    for _ in range(5):
        opened(keeper, *(count(lot(shelf.product, "1"), "1") for _ in range(4)))

    with CaptureQueriesContext(connection) as many:
        listed = keeper.get("stocktakes?status=open").json()["items"]

    assert [len(row["counts"]) for row in listed] == [1, 4, 4, 4, 4, 4]
    assert len(many) <= len(one)


@pytest.mark.django_db(transaction=True)
def test_of_two_who_post_at_once_one_is_too_late():
    held = lot(copper(FarmFactory()), "9.45")
    now = timezone.now()
    made = stocktakes.add_stocktake(
        farm=held.farm, counts=[Counted(held, amount("8.6", "lb"))], by=SYSTEM, now=now
    )
    keeper = Caller(held.farm, "storekeeper")

    answers = at_once(*[lambda: posted(keeper, {"id": str(made.id)}, **why(held)).status_code] * 2)

    assert sorted(answers) in ([200, 409], [200, 412])
    assert fresh(held).on_hand_base == amount("8.6", "lb").in_base()


@pytest.mark.django_db(transaction=True)
def test_a_load_that_comes_in_while_the_count_is_posted_is_taken_once():
    held = lot(copper(FarmFactory()), "9.45")
    now = timezone.now()
    made = stocktakes.add_stocktake(
        farm=held.farm, counts=[Counted(held, amount("8.6", "lb"))], by=SYSTEM, now=now
    )
    keeper = Caller(held.farm, "storekeeper")

    at_once(
        lambda: posted(keeper, {"id": str(made.id)}, **why(held)),
        lambda: use(held, "1", at=now + HOUR),
    )

    assert fresh(held).on_hand_base == amount("7.6", "lb").in_base()
    assert list(proof.differences()) == []


@given(
    book=st.decimals("0", "1000", places=6),
    counted=st.decimals("0", "1000", places=6),
    unit=st.sampled_from(["lb", "oz_wt", "g", "kg"]),
)
@settings(max_examples=40, deadline=None)
def test_after_posting_the_book_says_what_was_counted(book, counted, unit):
    held = lot(copper(FarmFactory()))
    if book:
        services.move(
            farm=held.farm,
            kind="receive",
            lot=held,
            quantity=amount(str(book), "lb"),
            by=SYSTEM,
            now=timezone.now(),
        )
    now = timezone.now()
    made = stocktakes.add_stocktake(
        farm=held.farm, counts=[Counted(held, amount(str(counted), unit))], by=SYSTEM, now=now
    )

    done = stocktakes.post_stocktake(stocktake=made, reasons={held.id: "counted"}, by=SYSTEM, now=now)

    [line] = done.lines.all()
    off = abs(fresh(held).on_hand_base - amount(str(counted), unit).in_base())
    assert off < amount("0.0000005", unit).in_base()
    assert (stocktake_queries.difference(line).value == 0) == (line.movement is None)


def test_a_database_row_of_a_count_cannot_lie(keeper, shelf):
    opened(keeper, count(shelf, "8.6"))
    rows = StocktakeCount.objects.all()
    for wrong in ({"counted_base": Decimal(-1)}, {"one_base": Decimal(0)}, {"book_base": Decimal(1)}):
        with pytest.raises(IntegrityError), transaction.atomic():
            rows.update(**wrong)
    with pytest.raises(IntegrityError), transaction.atomic():
        Stocktake.objects.update(status="lost")
