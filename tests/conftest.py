"""What all tests stand on: a real PostgreSQL, and in it a database of this test process alone."""

import os
from collections.abc import Iterator

import pytest
from django.test import TransactionTestCase
from django.test.client import ClientHandler
from django.utils import translation

from tests import database
from tests.browser import chromium


def pytest_configure() -> None:
    database.use_throw_away_server()
    # Tests that commit leave by emptying the tables; Django's way needs the web role to own them.
    TransactionTestCase._fixture_teardown = lambda _test: database.empty_tables()
    # A request begins as it does in a web process, with no farm's rows in sight.
    ClientHandler.__call__ = database.with_no_farm_open(ClientHandler.__call__)


def pytest_sessionstart() -> None:
    if os.environ.get(chromium.REQUIRED) and (missing := chromium.missing()):
        pytest.exit(missing, returncode=1)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    if missing := chromium.missing():
        terminalreporter.write_line(missing)


@pytest.fixture(autouse=True)
def english_again() -> Iterator[None]:
    """Leave no test in the language that the last request of another was answered in."""
    yield
    translation.deactivate()


@pytest.fixture(scope="session")
def django_db_setup(
    django_test_environment: None, django_db_blocker: pytest.FixtureRequest
) -> Iterator[None]:
    """Make the database at the first test that wants one."""
    with django_db_blocker.unblock():
        name = database.make()
    yield
    with django_db_blocker.unblock():
        database.drop(name)


@pytest.fixture
def database_environment(transactional_db: None) -> dict[str, str]:
    """The environment of a child process that uses this test's database; what it sees must be committed."""
    return database.environment()
