"""A clock that a story sets: the service asks Django what time it is, and is told the story's."""

from __future__ import annotations

import datetime as dt
import zoneinfo

import pytest
from django.utils import timezone

HOME = "America/Los_Angeles"


class Clock:
    """What time it is in the story, where the farm is."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, at: str, zone: str = HOME) -> None:
        self.zone = zoneinfo.ZoneInfo(zone)
        self.set(at)
        monkeypatch.setattr(timezone, "now", lambda: self.now)

    def set(self, at: str) -> None:
        """Make it that day and hour on the farm: `2026-12-18 10:00`."""
        self.now = dt.datetime.fromisoformat(at).replace(tzinfo=self.zone).astimezone(dt.UTC)

    def wait(self, **span: float) -> None:
        """Let time pass: `minutes=50`."""
        self.now += dt.timedelta(**span)

    def moment(self, at: str | None = None) -> str:
        """Return a moment as a phone there writes it, now where none is given."""
        local = (
            dt.datetime.fromisoformat(at).replace(tzinfo=self.zone) if at else self.now.astimezone(self.zone)
        )
        return local.isoformat()
