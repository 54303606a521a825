"""Each line of a ledger is tied to the one before: what anybody changes behind its back is found."""

from __future__ import annotations

import datetime as dt
import json
from contextlib import contextmanager
from decimal import Decimal
from io import StringIO

import psycopg
import pytest
from django.core.management import call_command
from django.db import IntegrityError, connections
from hypothesis import given, settings
from hypothesis import strategies as st

from orchard.farms.actors import SYSTEM
from orchard.inventory import chain, chaining, proof, services
from orchard.inventory.models import Lot, Movement
from tests.factories import FarmFactory, amount
from tests.inventory.store import NOON, copper, fresh, lot, receive
from tests.inventory.test_ledger import next_line

committed = pytest.mark.django_db(transaction=True)


def verified(*arguments):
    printed, status = StringIO(), 0
    try:
        call_command("verify_ledger", *map(str, arguments), stdout=printed)
    except SystemExit as end:
        status = end.code
    return status, printed.getvalue()


@contextmanager
def as_owner():
    """Let do what only the owner of the tables can: write with the triggers asleep."""
    with psycopg.connect(**connections["owner"].get_connection_params()) as connection:
        connection.execute("ALTER TABLE inventory_movement DISABLE TRIGGER USER")
        yield connection.cursor()
        connection.execute("SET CONSTRAINTS ALL IMMEDIATE")
        connection.execute("ALTER TABLE inventory_movement ENABLE TRIGGER USER")


def tamper(statement, *values):
    with as_owner() as cursor:
        for one in statement.split(";"):
            cursor.execute(one, values)


@pytest.fixture
def held():
    """A lot with five lines: 5, 7, 9, 11 and 13 lb came in."""
    made = lot(copper(FarmFactory()), number="C-1")
    for pounds in (5, 7, 9, 11, 13):
        receive(made, amount(str(pounds), "lb"))
    return fresh(made)


def line(held, position):
    return Movement.objects.get(lot=held, position=position)


@committed
def test_a_whole_ledger_is_said_to_be_whole(held):
    assert verified()[0] == 0
    assert held.chain_length == 5
    assert held.chain_head == line(held, 5).hash


TAMPERED = {
    "a changed amount": (
        "UPDATE inventory_movement SET change_base = change_base - 1,"
        " balance_after_base = balance_after_base - 1 WHERE position = 3",
        "at line 3, the receive",
        "not say what it said",
    ),
    "a changed reason": (
        "UPDATE inventory_movement SET reason = 'spilt' WHERE position = 2",
        "at line 2, the receive",
        "not say what it said",
    ),
    "a changed day": (
        "UPDATE inventory_movement SET at = at - interval '1 day' WHERE position = 5",
        "at line 5, the receive",
        "not say what it said",
    ),
    "a line taken out of the middle": (
        "DELETE FROM inventory_movement WHERE position = 3",
        "at line 4, the receive",
        "line 3 is missing",
    ),
    "the first line taken out": (
        "DELETE FROM inventory_movement WHERE position = 1",
        "at line 2, the receive",
        "line 1 is missing",
    ),
    "the last line taken out": (
        "DELETE FROM inventory_movement WHERE position = 5",
        "line 5 is missing",
        "the lot has had 5 lines",
    ),
    "the last line taken out and the balance set right": (
        "DELETE FROM inventory_movement WHERE position = 5; UPDATE inventory_lot SET on_hand_base ="
        " (SELECT balance_after_base FROM inventory_movement WHERE position = 4)",
        "line 5 is missing",
        "the lot has had 5 lines",
    ),
    "two lines exchanged": (
        "UPDATE inventory_movement SET position = 99 WHERE position = 2;"
        "UPDATE inventory_movement SET position = 2 WHERE position = 3;"
        "UPDATE inventory_movement SET position = 3 WHERE position = 99",
        "at line 2, the receive",
        "its balance is not that of the line before",
    ),
    "two lines exchanged with their balances": (
        "UPDATE inventory_movement SET position = 99 WHERE position = 2;"
        "UPDATE inventory_movement SET position = 2, balance_after_base = 14 * 453.59237 WHERE position = 3;"
        "UPDATE inventory_movement SET position = 3, balance_after_base = 21 * 453.59237 WHERE position = 99",
        "at line 2, the receive",
        "not say what it said",
    ),
    "a line added at the end": (
        "INSERT INTO inventory_movement SELECT (jsonb_populate_record(line, jsonb_build_object("
        "'key', gen_random_uuid(), 'id', gen_random_uuid(), 'position', 6))).*"
        " FROM inventory_movement AS line WHERE position = 5",
        "at line 6, the receive",
        "its balance is not that of the line before",
    ),
    "a balance written over": (
        "UPDATE inventory_lot SET on_hand_base = 7",
        "7 is on hand",
        "its movements add up to 20411.65665 g",
    ),
    "a head written over": (
        "UPDATE inventory_lot SET chain_head = '1:00'",
        "at line 5",
        "it is not the last line that the lot knows of",
    ),
}


@committed
@pytest.mark.parametrize("what", TAMPERED)
def test_what_the_owner_of_the_tables_changes_is_found_with_its_first_line(held, what):
    statement, where, why = TAMPERED[what]
    tamper(statement)

    status, printed = verified()

    assert status == 1
    assert proof.broken_lots() == [held.key]
    assert printed.startswith(f"Lot C-1 of Copper hydroxide 46 WG ({held.id}): {where}")
    assert why in printed
    assert printed.count("\n") == 1


@committed
def test_a_chain_made_anew_is_found_by_the_heads_that_were_kept_elsewhere(held, tmp_path):
    kept = tmp_path / "heads.json"
    assert verified("--save", kept)[0] == 0
    receive(held, amount("1", "lb"))
    assert verified("--against", kept)[0] == 0

    tamper("UPDATE inventory_movement SET reason = 'spilt' WHERE position = 2")
    with as_owner() as cursor:
        chaining.chain_all(cursor)

    assert verified()[0] == 0
    status, printed = verified("--against", kept)
    assert status == 1
    assert "line 5 is not the one whose hash was kept" in printed


@committed
def test_a_lot_that_is_gone_is_missed_by_the_heads_that_were_kept(held, tmp_path):
    kept = tmp_path / "heads.json"
    verified("--save", kept)
    heads = json.loads(kept.read_text())
    kept.write_text(json.dumps({"0199-somewhere": [3, "1:ab"], **heads}))

    assert verified("--against", kept) == (1, "Lot 0199-somewhere: it is gone, its ledger had 3 lines.\n")


@committed
def test_one_farm_is_verified_alone(held):
    other = lot(copper(FarmFactory()), "5")
    tamper("UPDATE inventory_movement SET reason = 'spilt' WHERE lot_id = %s", held.key)

    assert verified("--farm", other.farm.id)[1].startswith("1 lots, 1 movements")
    assert verified("--farm", held.farm.id)[0] == 1


@pytest.mark.django_db
@pytest.mark.parametrize(
    "values",
    [
        {"hash": "1:" + 64 * "0"},
        {"hash": ""},
        {"position": 7},
        {"position": 5},
        {"balance_after_base": Decimal(1)},
        {"reason": "another"},
    ],
)
def test_the_database_takes_no_line_that_does_not_follow(held, values):
    line = next_line(held)
    for name, value in values.items():
        setattr(line, name, value)

    with pytest.raises(IntegrityError, match=r"does not follow|no line before it"):
        line.save(force_insert=True)


TEXTS = st.text(st.characters(exclude_characters="\x00", exclude_categories=("Cs",)), max_size=40)


@pytest.mark.django_db
@settings(max_examples=30, deadline=None)
@given(
    reason=TEXTS,
    reference=st.none() | TEXTS,
    at=st.integers(-(10**15), 10**16).map(lambda us: NOON + dt.timedelta(microseconds=us)),
    digits=st.integers(1, 10**30),
    places=st.integers(0, 20),
)
def test_python_and_the_database_write_the_same_bytes_under_a_hash(reason, reference, at, digits, places):
    held = lot(copper(FarmFactory()), "5")
    grams = amount(str(min(Decimal(digits).scaleb(-places), Decimal(10**9))), "g")

    services.move(
        farm=held.farm, kind="receive", lot=held, quantity=grams, at=at, by=SYSTEM, now=NOON, reason=reason,
        reference=reference,
    )  # fmt: skip

    assert fresh(held).chain_length == 2
    assert proof.broken_lots() == []


def test_lines_are_tied_by_what_they_say_and_not_by_how_it_is_cut():
    assert chain.link("", ["ab", "c"]) != chain.link("", ["a", "bc"])
    assert chain.link("", ["", None]) != chain.link("", [None, ""])
    assert chain.link("", ["a\n1:b"]) != chain.link("", ["a", "b"])
    assert chain.link("", [Decimal("1.50")]) == chain.link("", [Decimal("1.5")])
    assert chain.link("", [Decimal("-0")]) == chain.link("", [Decimal(0)])


@given(st.lists(st.integers(1, 4) | st.integers(-4, -1), max_size=30), st.randoms())
def test_an_old_ledger_is_put_in_an_order_in_which_each_balance_follows(changes, chance):
    lines, balance = [], Decimal(0)
    for number, change in enumerate(changes):
        balance += change
        lines.append((number, Decimal(change), balance))
    chance.shuffle(lines)

    held = Decimal(0)
    for _, change, after in chaining.in_order(lines):
        assert after == held + change
        held = after


@committed
def test_lines_from_before_there_were_chains_are_chained(held):
    other = lot(copper(held.farm), "5")
    heads = dict(Lot.objects.values_list("key", "chain_head"))
    tamper(
        "UPDATE inventory_movement SET position = position + 1000, hash = '';"
        "UPDATE inventory_lot SET chain_length = 0, chain_head = ''"
    )
    assert verified()[0] == 1

    with as_owner() as cursor:
        chaining.chain_all(cursor)

    assert verified()[0] == 0
    assert dict(Lot.objects.values_list("key", "chain_head")) == heads
    assert other.chain_length == 1
