"""A small pen: SVG elements on a sheet with a time axis, nothing more.

Colour is never the only sign: every kind of mark has a shape or a dash of its own and its name beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from xml.sax.saxutils import escape, quoteattr

from orchard.api.spoken import short_day

INK, QUIET, LINE = "#1b1b1b", "#5a5a5a", "#c9c9c9"
FONT = "font-family='system-ui, sans-serif'"


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawing and what it shows in words.

    :ivar svg: the drawing, a whole document
    :ivar heads: names of the columns; `rows` the same numbers as the drawing
    """

    svg: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(slots=True)
class Sheet:
    """A sheet of paper in pixels, with days from left to right between two margins."""

    width: int
    height: int
    first: date
    last: date
    left: int = 120
    right: int = 24
    marks: list[str] = field(default_factory=list)

    def x(self, on: date, *, part: float = 0.0) -> float:
        """Return where a day begins, or a part of it later."""
        days = max((self.last - self.first).days + 1, 1)
        return self.left + ((on - self.first).days + part) * (self.width - self.left - self.right) / days

    def line(self, x1: float, y1: float, x2: float, y2: float, *, dash: str = "", width: float = 1.5) -> None:
        """Draw a line; a dash tells kinds of lines apart."""
        dashed = f" stroke-dasharray='{dash}'" if dash else ""
        self.marks.append(
            f"<line x1='{x1:.1f}' y1='{y1:.1f}' x2='{x2:.1f}' y2='{y2:.1f}' stroke='{INK}' "
            f"stroke-width='{width}'{dashed}/>"
        )

    def box(self, x: float, y: float, width: float, height: float, *, fill: str, edge: str = "none") -> None:
        """Draw a box."""
        self.marks.append(
            f"<rect x='{x:.1f}' y='{y:.1f}' width='{max(width, 0.5):.1f}' height='{height:.1f}' "
            f"fill='{fill}' stroke='{edge}'/>"
        )

    def path(self, points: Sequence[tuple[float, float]], *, dash: str = "", width: float = 1.5) -> None:
        """Draw a line through points."""
        if not points:
            return
        drawn = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
        dashed = f" stroke-dasharray='{dash}'" if dash else ""
        self.marks.append(
            f"<polyline points='{drawn}' fill='none' stroke='{INK}' stroke-width='{width}'{dashed}/>"
        )

    def diamond(self, x: float, y: float, *, size: float = 7) -> None:
        """Draw the mark of the likeliest day."""
        corners = (
            f"{x:.1f},{y - size:.1f} {x + size:.1f},{y:.1f} {x:.1f},{y + size:.1f} {x - size:.1f},{y:.1f}"
        )
        self.marks.append(f"<polygon points='{corners}' fill='{INK}'/>")

    def text(self, x: float, y: float, said: str, *, anchor: str = "start", size: int = 12) -> None:
        """Write words."""
        self.marks.append(
            f"<text x='{x:.1f}' y='{y:.1f}' font-size='{size}' text-anchor='{anchor}' fill='{INK}' {FONT}>"
            f"{escape(said)}</text>"
        )

    def days(self, *, top: float, bottom: float) -> None:
        """Draw a line at the first of each month and a mark each week, with their dates below."""
        on = self.first
        while on <= self.last:
            if on.day == 1 or (on.day in (8, 15, 22) and (self.last - self.first).days < 120):
                self.marks.append(
                    f"<line x1='{self.x(on):.1f}' y1='{top:.1f}' x2='{self.x(on):.1f}' y2='{bottom:.1f}' "
                    f"stroke='{LINE}' stroke-width='{2 if on.day == 1 else 1}'/>"
                )
                self.text(self.x(on), bottom + 15, short_day(on), anchor="middle", size=11)
            on += timedelta(days=1)

    def drawn(self, *, title: str, told: str) -> str:
        """Return the document; `told` is what a screen reader says of it."""
        return (
            f"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 {self.width} {self.height}' "
            f"width='{self.width}' height='{self.height}' role='img' aria-label={quoteattr(title)}>"
            f"<title>{escape(title)}</title><desc>{escape(told)}</desc>"
            f"<rect width='100%' height='100%' fill='#ffffff'/>{''.join(self.marks)}</svg>"
        )
