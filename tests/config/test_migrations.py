"""An upgrade keeps nobody waiting: what a migration may do to tables that are in use, and how it waits."""

import threading
import time

import psycopg
import pytest
from django.contrib.postgres.functions import RandomUUID
from django.db import connections, models
from django.db.migrations import operations as of
from django.db.migrations.loader import MigrationLoader
from django.db.models.functions import Now

from orchard.config import preparation
from orchard.farms.models import PlaceInFeed

OURS = ("api", "farms", "blocks", "crews", "inventory", "tasks")
BEFORE_ANY_FARM = {
    "api": 1,
    "farms": 7,
    "blocks": 6,
    "crews": 4,
    "inventory": 7,
    "tasks": 5,
}
"""The last migration of each app that ran on empty tables alone: they may do what they like."""


def blocking(migration):
    """Return what in a migration would keep others from a table that is there already, and what to do."""
    made = {one.name.lower() for one in migration.operations if isinstance(one, of.CreateModel)}
    return [
        f"{type(one).__name__} on {one.model_name}: {do}"
        for one in migration.operations
        if hasattr(one, "model_name") and one.model_name.lower() not in made and (do := instead_of(one))
    ]


def instead_of(operation):
    """Return what to do instead, where an operation reads or writes the whole table under its lock."""
    if type(operation) in (of.AddIndex, of.RemoveIndex):
        return "make it concurrently, in a migration with `atomic = False`"
    if type(operation) is of.AddConstraint and isinstance(operation.constraint, models.CheckConstraint):
        return "add it NOT VALID, and validate it in the next migration"
    if type(operation) is of.AddConstraint:
        return "build its index concurrently, and take that as the constraint"
    if type(operation) is of.AlterField:
        return "add a column, fill it in pieces, and remove the old one in the release after"
    default = getattr(getattr(operation, "field", None), "db_default", models.NOT_PROVIDED)
    constant = default is models.NOT_PROVIDED or isinstance(default, (models.Value, Now, PlaceInFeed))
    constant = constant or not hasattr(default, "resolve_expression")
    return None if constant else "a default that is worked out for each row writes the whole table anew"


@pytest.fixture(scope="module")
def known():
    return MigrationLoader(None, ignore_no_migrations=True).disk_migrations


def number(name):
    return int(name.partition("_")[0])


def test_no_migration_keeps_others_from_a_table_in_use(known):
    new = [one for (app, name), one in known.items() if app in OURS and number(name) > BEFORE_ANY_FARM[app]]

    assert {str(one): told for one in new if (told := blocking(one))} == {}


def test_what_would_keep_them_from_it_is_seen(known):
    told = blocking(known["inventory", "0006_chain"]) + blocking(known["farms", "0004_outbox_wakes"])

    assert any(one.startswith("RemoveIndex") for one in told)
    assert any(one.startswith("AddConstraint on movement: build") for one in told)
    assert any(one.startswith("AddIndex on outboxevent: make it concurrently") for one in told)
    by_row = of.AddField("lot", "tag", models.UUIDField(db_default=RandomUUID()))
    once = of.AddField("lot", "seen_at", models.DateTimeField(db_default=Now()))
    assert "worked out for each row" in instead_of(by_row)
    assert instead_of(once) is None
    assert blocking(known["tasks", "0003_pauses_and_finish"]) == []


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
def test_a_change_that_has_to_wait_lets_others_pass_and_is_made_when_it_can_be(monkeypatch):
    monkeypatch.setattr(preparation, "LOCK_MS", 100)
    owner = connections["owner"]
    address = owner.get_connection_params()
    tries, longest, over = [], 0.0, threading.Event()

    def change():
        tries.append(time.monotonic())
        with owner.cursor() as cursor:
            cursor.execute("ALTER TABLE blocks_block ADD COLUMN soil text")

    def writes():
        nonlocal longest
        with psycopg.connect(**address, autocommit=True) as writer:
            while not over.is_set():
                began = time.monotonic()
                writer.execute("UPDATE blocks_block SET trees = 9")
                longest = max(longest, time.monotonic() - began)
                time.sleep(0.01)

    with psycopg.connect(**address) as reader:
        reader.execute("SELECT count(*) FROM blocks_block")  # and goes on for a while
        writer, ends = threading.Thread(target=writes), threading.Timer(0.8, reader.rollback)
        writer.start()
        ends.start()
        try:
            preparation.in_short_waits(owner, change)
        finally:
            over.set()
            writer.join()
            ends.join()
            with owner.cursor() as cursor:
                cursor.execute("ALTER TABLE blocks_block DROP COLUMN IF EXISTS soil")

    assert len(tries) > 2
    assert longest < 0.8


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
def test_a_table_that_is_held_for_too_long_is_told_in_one_sentence(monkeypatch):
    monkeypatch.setattr(preparation, "LOCK_MS", 50)
    monkeypatch.setattr(preparation, "LONGEST_S", 0)
    owner = connections["owner"]
    with psycopg.connect(**owner.get_connection_params()) as reader:
        reader.execute("SELECT count(*) FROM blocks_block")

        with pytest.raises(preparation.CannotPrepare, match="A table has been in use"), owner.cursor() as c:
            preparation.in_short_waits(
                owner, lambda: c.execute("ALTER TABLE blocks_block ALTER name SET NOT NULL")
            )
