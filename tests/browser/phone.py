"""A small phone: its memory outlives its browser."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from tests.browser import chromium

SMALL = {"width": 360, "height": 740}
PATIENCE = 30_000  # milliseconds; the machine may be busy


class Phone:
    """A browser with a memory on disk, on a farm's address."""

    def __init__(
        self, playwright: Any, station: Any, memory: Path, size: dict[str, int] | None = None
    ) -> None:
        self.playwright, self.station, self.memory, self.size = playwright, station, memory, size or SMALL
        self.context: Any = None
        self.airplane = False
        self.faults: list[str] = []
        self.open()

    def open(self) -> Any:
        """Start the browser; return its page."""
        self.context = self.playwright.chromium.launch_persistent_context(
            str(self.memory),
            executable_path=chromium.path(),
            headless=True,
            viewport=self.size,
            args=["--no-sandbox", "--disable-dev-shm-usage", "--disable-gpu"],
            locale="en-US",
            timezone_id="America/Los_Angeles",
        )
        self.context.set_default_timeout(PATIENCE)
        self.context.set_offline(self.airplane)
        self.page = self.context.pages[0]
        self.page.on("pageerror", lambda fault: self.faults.append(str(fault)))
        self.page.on("console", lambda told: told.type == "error" and self.faults.append(told.text))
        return self.page

    def kill(self) -> None:
        """End the browser at once."""
        if self.context is not None:
            self.context.close()
            self.context = None

    def airplane_mode(self, on: bool) -> None:
        """Cut the phone off, or let it back; the station falls silent with it, so nothing slips through."""
        self.airplane = on
        if on:
            self.station.fall_silent()
        else:
            self.station.come_back()
        self.context.set_offline(on)

    def go(self, path: str) -> Any:
        """Open an address of the farm."""
        self.page.goto(f"{self.station.url}{path}")
        return self.page

    def faults_of_script(self) -> list[str]:
        """Return what went wrong on the pages, but for the net."""
        return [one for one in self.faults if "net::" not in one]

    def sign_in(self, person: Any, password: str) -> None:
        """Sign in by the form."""
        self.go("/sign-in")
        self.page.fill("#id_username", person.email)
        self.page.fill("#id_password", password)
        self.page.click("button.next")
        self.page.wait_for_load_state()
