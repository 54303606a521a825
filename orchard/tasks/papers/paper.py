"""One PDF: fonts that write every name they can, blocks of text, ticks, and the square code back to a page.

The same input gives the same bytes: the date in the file is that of what is printed.
"""

from __future__ import annotations

import datetime as dt
import logging
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any, Literal

import segno
from django.conf import settings
from django.utils.translation import gettext as _
from fontTools.ttLib import TTFont
from fpdf import FPDF

FONTS = Path(__file__).with_name("fonts")
"""DejaVu Sans Condensed: Latin, Greek and Cyrillic letters; its licence lies beside it."""

FAMILY = "sheet"
GREY, BLACK, LIGHT = 90, 0, 235
MARGIN = 12.0
MISSING = "\N{WHITE VERTICAL RECTANGLE}"
logging.getLogger("fontTools").setLevel(logging.ERROR)


class Paper(FPDF):
    """A document in millimetres, Letter where the farm measures in US units, else A4.

    :ivar cannot_write: some letter had no font, and stands as an empty box
    """

    def __init__(self, *, units: str, made_at: dt.datetime, title: str, language: str) -> None:
        super().__init__(orientation="P", unit="mm", format="letter" if units == "us" else "A4")
        self.set_creation_date(made_at.astimezone(dt.UTC))
        self.set_title(title)
        self.set_lang(language)
        self.set_producer("orchard operations")
        self.set_margins(MARGIN, MARGIN, MARGIN)
        self.set_auto_page_break(True, MARGIN)
        self.cannot_write = False
        self._add_fonts()
        self.add_page()
        self.write_in(10)

    def _add_fonts(self) -> None:
        self.add_font(FAMILY, "", FONTS / "DejaVuSansCondensed.ttf")
        self.add_font(FAMILY, "B", FONTS / "DejaVuSansCondensed-Bold.ttf")
        more = []
        for place, path in enumerate(settings.PAPER_FONTS):
            for style in ("", "B"):
                self.add_font(f"more{place}", style, path)
            more.append(f"more{place}")
        if more:
            self.set_fallback_fonts(more, exact_match=False)

    def write_in(self, size: float, *, bold: bool = False, grey: int = BLACK) -> None:
        """Choose how what follows is written."""
        self.set_font(FAMILY, "B" if bold else "", size)
        self.set_text_color(grey)

    def writable(self, text: str) -> str:
        """Return the text with an empty box for each letter that no font here can write."""
        known = letters(tuple(settings.PAPER_FONTS))
        found = "".join(one if one in " \n" or ord(one) in known else MISSING for one in text)
        self.cannot_write = self.cannot_write or found != text
        return found

    def flow(
        self,
        text: str,
        size: float,
        *,
        bold: bool = False,
        grey: int = BLACK,
        x: float | None = None,
        width: float = 0,
        align: Literal["L", "R", "C"] = "L",
        fill: bool = False,
    ) -> None:
        """Write a paragraph below the last one, from `x` on, as wide as `width` or to the margin."""
        if not text:
            return
        self.write_in(size, bold=bold, grey=grey)
        if x is not None:
            self.set_x(x)
        self.multi_cell(
            width,
            size * 0.44,
            self.writable(text),
            align=align,
            new_x="LMARGIN",
            new_y="NEXT",
            fill=fill,
        )

    def height_of(self, text: str, size: float, *, width: float, bold: bool = False) -> float:
        """Return how high a paragraph would be."""
        if not text:
            return 0.0
        self.write_in(size, bold=bold)
        found: Any = self.multi_cell(
            width, size * 0.44, self.writable(text), align="L", dry_run=True, output="HEIGHT"
        )
        return float(found)

    def rule(self, *, above: float = 0.8, below: float = 0.8, grey: int = 170) -> None:
        """Draw a line across the page."""
        self.set_y(self.get_y() + above)
        self.set_draw_color(grey)
        self.line(self.l_margin, self.get_y(), self.w - self.r_margin, self.get_y())
        self.set_draw_color(BLACK)
        self.set_y(self.get_y() + below)

    def tick(self, x: float, y: float, size: float) -> None:
        """Draw an empty box to tick with a pencil."""
        self.set_line_width(0.3)
        self.rect(x, y, size, size)
        self.set_line_width(0.2)

    def code(self, address: str, *, x: float, y: float, size: float) -> None:
        """Draw a square code (ISO/IEC 18004) that leads to an address."""
        rows: Sequence[Sequence[int]] = tuple(segno.make(address, error="m", micro=False).matrix)
        dot = size / len(rows)
        self.set_fill_color(BLACK)
        for down, row in enumerate(rows):
            for along, dark in enumerate(row):
                if dark:
                    self.rect(x + along * dot, y + down * dot, dot, dot, style="F")

    def say_what_is_missing(self, size: float = 7) -> None:
        """Tell that some letters could not be written, where there were any."""
        if self.cannot_write:
            told = _("Some letters could not be printed here; each stands as an empty box: {box}")
            self.flow(told.format(box=MISSING), size)

    def bytes(self) -> bytes:
        """Return the file."""
        return bytes(self.output())


@cache
def letters(more: tuple[str, ...]) -> frozenset[int]:
    """Return every letter that the fonts can write."""
    paths = [FONTS / "DejaVuSansCondensed-Bold.ttf", *map(Path, more)]
    return frozenset(code for path in paths for code in TTFont(path, fontNumber=0).getBestCmap())
