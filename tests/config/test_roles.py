"""Whoever answers requests may use the rows and no more."""

import pytest
from django.apps import apps
from django.db import ProgrammingError, connection, transaction

from orchard.farms.models import Farm, Person

pytestmark = pytest.mark.django_db

APPEND_ONLY = sorted(
    model._meta.db_table for model in apps.get_models() if getattr(model, "append_only", False)
)


def has(right: str, table: str) -> bool:
    with connection.cursor() as cursor:
        cursor.execute("SELECT has_table_privilege(%s, %s)", [table, right])
        return bool(cursor.fetchone()[0])


def test_the_tests_speak_as_the_web_role_and_not_as_a_superuser() -> None:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT pg_has_role(current_user, 'orchard_web', 'USAGE'), rolsuper, rolbypassrls"
            " FROM pg_roles WHERE rolname = current_user"
        )

        assert cursor.fetchone() == (True, False, False)


def test_the_web_role_cannot_change_a_table() -> None:
    with (
        pytest.raises(ProgrammingError, match="must be owner"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(f"ALTER TABLE {Farm._meta.db_table} ADD COLUMN extra text")


def test_the_web_role_cannot_empty_a_table() -> None:
    with (
        pytest.raises(ProgrammingError, match="permission denied"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(f"TRUNCATE {Farm._meta.db_table} CASCADE")


def test_some_tables_are_append_only() -> None:
    assert "inventory_movement" in APPEND_ONLY


@pytest.mark.parametrize("table", APPEND_ONLY)
def test_an_append_only_table_can_be_read_and_added_to_alone(table: str) -> None:
    rights = {right for right in ("SELECT", "INSERT", "UPDATE", "DELETE", "TRUNCATE") if has(right, table)}

    assert rights == {"SELECT", "INSERT"}


def test_other_rows_can_be_written_over() -> None:
    assert has("UPDATE", Person._meta.db_table)
    assert not has("TRUNCATE", Person._meta.db_table)


@pytest.mark.django_db(transaction=True)
def test_a_test_that_commits_leaves_the_next_one_nothing_first() -> None:
    assert not Person.objects.exists()
    Person.objects.create_user(email="ana@example.org", password=None, name="Ana")


@pytest.mark.django_db(transaction=True)
def test_a_test_that_commits_leaves_the_next_one_nothing_second() -> None:
    assert not Person.objects.exists()
    Person.objects.create_user(email="ana@example.org", password=None, name="Ana")
