"""A phone with a Chromium, and a farm that it reaches, or does not."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from tests.browser import chromium

if chromium.missing():
    collect_ignore_glob = ["test_*.py"]
else:
    from playwright.sync_api import Playwright, sync_playwright

    from tests.browser.phone import Phone
    from tests.browser.station import Station

    @pytest.fixture(scope="module")
    def playwright() -> Iterator[Playwright]:
        # Playwright turns an event loop in this thread, on which Django would refuse the database.
        with pytest.MonkeyPatch.context() as environment, sync_playwright() as started:
            environment.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
            yield started

    @pytest.fixture
    def station(transactional_db: None) -> Iterator[Station]:
        """The farm's server, which can be out of reach."""
        with Station() as running:
            yield running

    @pytest.fixture
    def phone(playwright: Any, station: Any, tmp_path: Any) -> Iterator[Phone]:
        """A phone with its own memory, that can be killed and opened again."""
        one = Phone(playwright, station, tmp_path / "phone")
        yield one
        one.kill()
