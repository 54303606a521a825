"""Preparing the database: from nothing, again, and by two at once."""

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest
from django.db import connections

from orchard.config import preparation

CHECKOUT = Path(__file__).resolve().parents[2]

both_roles = pytest.mark.django_db(transaction=True, databases=["default", "owner"])


@pytest.fixture
def nowhere(database_environment: dict[str, str]) -> Iterator[dict[str, str]]:
    """The environment of a process whose two addresses name a database that is not there yet."""
    fresh = f"{connections['owner'].settings_dict['NAME']}_fresh"
    addresses = {
        name: f"{url.rpartition('/')[0]}/{fresh}"
        for name, url in database_environment.items()
        if name in ("DATABASE_URL", "DATABASE_OWNER_URL")
    }
    yield database_environment | addresses
    with psycopg.connect(database_environment["DATABASE_OWNER_URL"], autocommit=True) as server:
        server.execute(f"DROP DATABASE IF EXISTS {fresh} WITH (FORCE)")


def begin(environment: dict[str, str]) -> "subprocess.Popen[str]":
    command = [sys.executable, "manage.py", "prepare_database"]
    return subprocess.Popen(
        command, cwd=CHECKOUT, env=environment, text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )


@pytest.mark.xdist_group("servers")
def test_two_that_prepare_a_missing_database_at_once_both_succeed(nowhere: dict[str, str]) -> None:
    told = [process.communicate(timeout=120) for process in (begin(nowhere), begin(nowhere))]

    assert sorted(told) == [("The database is ready.\n", ""), ("The database is up to date.\n", "")]
    with psycopg.connect(nowhere["DATABASE_URL"]) as web:
        assert web.execute("SELECT count(*) FROM farms_farm").fetchone() == (0,)


@both_roles
def test_preparing_again_changes_no_table() -> None:
    assert preparation.prepare() is False


@both_roles
def test_a_right_too_many_is_taken_back_and_one_too_few_given() -> None:
    with connections["owner"].cursor() as owner:
        owner.execute("GRANT UPDATE ON inventory_movement TO orchard_web")
        owner.execute("REVOKE INSERT ON inventory_lot FROM orchard_web")

    preparation.prepare()

    with connections["default"].cursor() as web:
        web.execute(
            "SELECT has_table_privilege('inventory_movement', 'UPDATE'),"
            " has_table_privilege('inventory_lot', 'INSERT')"
        )
        assert web.fetchone() == (False, True)


@both_roles
def test_the_web_cannot_pretend_that_a_migration_ran() -> None:
    with connections["default"].cursor() as web:
        web.execute(
            "SELECT has_table_privilege('django_migrations', 'SELECT'),"
            " has_table_privilege('django_migrations', 'INSERT')"
        )
        assert web.fetchone() == (True, False)
