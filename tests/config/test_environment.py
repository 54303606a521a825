"""Secrets from files, and what is said where they cannot be had."""

import pytest
from django.core.exceptions import ImproperlyConfigured

from orchard.config import database
from orchard.config.environment import with_files, with_password


def test_a_secret_is_read_from_its_file_without_the_line_end(tmp_path):
    (tmp_path / "key").write_text("from a file\n")

    found = with_files({"SECRET_KEY_FILE": str(tmp_path / "key"), "DEBUG": "1"})

    assert (found["SECRET_KEY"], found["DEBUG"]) == ("from a file", "1")


def test_every_fault_of_the_files_is_told_at_once(tmp_path):
    (tmp_path / "empty").write_text("\n")
    said = {
        "SECRET_KEY": "a",
        "SECRET_KEY_FILE": str(tmp_path / "empty"),
        "DATABASE_PASSWORD_FILE": str(tmp_path / "empty"),
        "REDIS_PASSWORD_FILE": str(tmp_path / "missing"),
    }

    with pytest.raises(ImproperlyConfigured) as failure:
        with_files(said)

    for part in ("both SECRET_KEY and SECRET_KEY_FILE", "which is empty", "missing, which cannot be read"):
        assert part in str(failure.value)


@pytest.mark.parametrize(
    ("url", "with_it"),
    [
        ("redis://redis:6379/0", "redis://:p%2Fw%40@redis:6379/0"),
        ("postgres://web@db:5432/orchard", "postgres://web:p%2Fw%40@db:5432/orchard"),
        ("redis://:own@redis:6379/0", "redis://:own@redis:6379/0"),
        ("", ""),
    ],
)
def test_a_password_goes_into_an_address_that_has_none(url, with_it):
    assert with_password(url, "p/w@") == with_it


def test_each_role_speaks_to_the_database_with_its_own_password(tmp_path):
    environment = {
        "DATABASE_URL": "postgres://orchard_web@db/orchard",
        "DATABASE_OWNER_URL": "postgres://orchard_owner@db/orchard",
        "DATABASE_PASSWORD": "w@b",
        "DATABASE_OWNER_PASSWORD": "own/er",
    }

    made = database.connections(environment=environment, folder=tmp_path)

    assert (made["default"]["PASSWORD"], made["owner"]["PASSWORD"]) == ("w@b", "own/er")
