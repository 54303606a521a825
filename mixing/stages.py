"""Growth stages on the BBCH scale and the windows of them that labels and rules speak of.

The scale runs from 0 (dormant bud) over 57 (pink bud of peach), 65 (full bloom) and 89 (ripe) to 93 (leaves
begin to fall) and 97 (all leaves fallen); then dormancy begins again at 0. A window may wrap round.

Source: U. Meier (editor), Growth stages of mono- and dicotyledonous plants, BBCH Monograph, 2nd ed., 2001.
"""

from __future__ import annotations

from dataclasses import dataclass

FIRST, LAST = 0, 99


@dataclass(frozen=True, slots=True)
class Window:
    """Stages from `start` to `end`, both included, round the turn of the year where start is past end."""

    start: int
    end: int

    def __contains__(self, bbch: object) -> bool:
        if not isinstance(bbch, int):
            return False
        if self.start <= self.end:
            return self.start <= bbch <= self.end
        return bbch >= self.start or bbch <= self.end

    def __str__(self) -> str:
        return f"{self.start:02d}-{self.end:02d}"


def within(bbch: int, windows: tuple[Window, ...]) -> bool:
    """Say whether a stage lies in one of the windows; no window at all is no limit."""
    return not windows or any(bbch in window for window in windows)
