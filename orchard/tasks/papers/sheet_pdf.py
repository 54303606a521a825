"""The tank sheet on one page of paper: amounts large, loads that are alike side by side.

A long mix is set smaller, and what is not needed to mix is left out first; amounts are never left out.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from orchard.farms.models import Farm
from orchard.tasks.papers import wording
from orchard.tasks.papers.paper import GREY, LIGHT, Paper

Json = Mapping[str, Any]
CODE = 27.0
MOST_TICKS = 12
"""More loads than this get no box each; the crew keeps a tally."""


@dataclass(frozen=True, slots=True)
class Setting:
    """How large it is set and what it leaves out: `cautions`, then `after`, then `notes`."""

    scale: float
    left_out: frozenset[str] = frozenset()


SETTINGS = (
    Setting(1.0),
    Setting(0.9),
    Setting(0.82),
    Setting(0.9, frozenset({"cautions"})),
    Setting(0.78, frozenset({"cautions"})),
    Setting(0.85, frozenset({"cautions", "after"})),
    Setting(0.72, frozenset({"cautions", "after"})),
    Setting(0.72, frozenset({"cautions", "after", "notes"})),
    Setting(0.6, frozenset({"cautions", "after", "notes"})),
    Setting(0.5, frozenset({"cautions", "after", "notes", "before"})),
)


@dataclass(frozen=True, slots=True)
class Alike:
    """Loads that are mixed alike: their numbers and the steps of one of them."""

    numbers: tuple[int, ...]
    load: Json


def render(sheet: Json, *, farm: Farm, made_at: dt.datetime) -> bytes:
    """Return the sheet as a PDF of one page.

    :param made_at: moment that the file carries: when the order last changed
    """
    for setting in SETTINGS:
        paper = _Sheet(sheet, farm=farm, made_at=made_at, setting=setting)
        paper.draw()
        if paper.page == 1:
            break
    return paper.bytes()


def alike(loads: Sequence[Json]) -> list[Alike]:
    """Return the loads, those in a row with the same steps put together."""
    return [
        Alike(tuple(one["number"] for one in group), group[0])
        for group in (
            list(rows) for _key, rows in groupby(loads, key=lambda one: [one["spray"], one["steps"]])
        )
    ]


def in_rows(loads: Sequence[Sequence[Json]]) -> list[list[Json | None]]:
    """Return the steps of several loads side by side; a load that leaves a step out has None there."""
    keyed = [{_key(steps, place): one for place, one in enumerate(steps)} for steps in loads]
    longest = max(keyed, key=len)
    return [[steps.get(key) for steps in keyed] for key in longest]


def _key(steps: Sequence[Json], place: int) -> tuple[str, str | None, int]:
    """Return what a step is: which of its kind, on which product; only the last filling is ever left out."""
    one = steps[place]
    before = [earlier for earlier in steps[:place] if earlier["action"] == one["action"]]
    return one["action"], one["product"], len(before)


class _Sheet(Paper):
    def __init__(self, sheet: Json, *, farm: Farm, made_at: dt.datetime, setting: Setting) -> None:
        title = _("Tank sheet {number}: {title}").format(number=sheet["number"], title=sheet["title"])
        super().__init__(units=farm.units, made_at=made_at, title=title, language=sheet["language"])
        self.sheet, self.farm, self.setting = sheet, farm, setting
        self.groups = alike(sheet["loads"])

    def sized(self, size: float, least: float = 5) -> float:
        """Return a size in points at this setting."""
        return max(size * self.setting.scale, least)

    def draw(self) -> None:
        """Draw all of it."""
        self._heading()
        self._worn()
        if "before" not in self.setting.left_out:
            self._before()
        self._table()
        self._after()
        self._closing()

    def _heading(self) -> None:
        sheet, wide = self.sheet, self.epw - CODE - 4
        self.code(sheet["url"], x=self.w - self.r_margin - CODE, y=self.t_margin, size=CODE)
        status = _state(sheet["status"])
        told = _("No. {number}, revision {revision}").format(
            number=sheet["number"], revision=sheet["revision"]
        )
        self.flow(
            " · ".join(filter(None, (sheet["farm"], wording.kind(sheet["kind"]), told))),
            self.sized(9),
            grey=GREY,
            width=wide,
        )
        if status:
            self.flow(status, self.sized(13), bold=True, width=wide)
        self.flow(sheet["title"], self.sized(17), bold=True, width=wide)
        self.flow(_place(sheet), self.sized(11), bold=True, width=wide)
        self.flow(self._who_and_when(), self.sized(10), width=wide)
        self.set_y(max(self.get_y(), self.t_margin + CODE + 1))
        self.flow(sheet["url"], 5.5, grey=GREY, align="R")
        self.flow(sheet["instructions"] or "", self.sized(10))

    def _who_and_when(self) -> str:
        sheet = self.sheet
        people = ", ".join(one["name"] for one in sheet["handlers"])
        crew = sheet["crew"]["name"] if sheet["crew"] else ""
        parts = (
            wording.moment(sheet["starts_at"], farm=self.farm),
            f"{crew} ({people})" if crew and people else crew,
            sheet["sprayer"]["name"] if sheet["sprayer"] else "",
            _("against {targets}").format(targets=", ".join(sheet["targets"])) if sheet["targets"] else "",
        )
        return " · ".join(filter(None, parts))

    def _worn(self) -> None:
        sheet = self.sheet
        if sheet["wear"] or sheet["signal_word"]:
            self.set_fill_color(LIGHT)
            worn = ", ".join(sheet["wear"]) or _("what the label says")
            told = _("Wear: {gear}").format(gear=worn)
            self.flow(
                f"{sheet['signal_word']}. {told}" if sheet["signal_word"] else told,
                self.sized(12),
                bold=True,
                fill=True,
            )
        for told in sheet["watch"]:
            self.flow(f"! {told}", self.sized(9), bold=True)

    def _before(self) -> None:
        if not self.sheet["before"]:
            return
        self.set_y(self.get_y() + 1)
        self.flow(_("Before the start"), self.sized(10), bold=True)
        box = self.sized(9) * 0.3
        for told in self.sheet["before"]:
            self.tick(self.l_margin + 1, self.get_y() + box * 0.2, box)
            self.flow(told, self.sized(9), x=self.l_margin + box + 1.5)

    # the table of amounts

    def _table(self) -> None:
        if not self.groups:
            return
        self.set_y(self.get_y() + 1.5)
        self._heads()
        for row in in_rows([group.load["steps"] for group in self.groups]):
            self._row(row)
        self._ticks()

    @property
    def amount_width(self) -> float:
        """How wide a column of amounts is."""
        return min(62.0, self.epw * 0.6 / len(self.groups))

    @property
    def words_width(self) -> float:
        """How wide the column of what and how is."""
        return self.epw - self.amount_width * len(self.groups)

    def _column(self, place: int) -> float:
        return self.l_margin + self.words_width + self.amount_width * place

    def _heads(self) -> None:
        top, size = self.get_y(), self.sized(11)
        lowest = top
        for place, group in enumerate(self.groups):
            self.set_y(top)
            each = wording.quantity(group.load["spray"])
            told = ngettext("Load {numbers}", "Loads {numbers}", len(group.numbers))
            text = f"{told.format(numbers=_numbers(group.numbers))}\n{each}"
            self.flow(text, size, bold=True, x=self._column(place), width=self.amount_width - 1, align="R")
            lowest = max(lowest, self.get_y())
        self.set_y(top)
        self.flow(_("Measure, in this order"), size, bold=True, width=self.words_width - 2)
        self.set_y(max(lowest, self.get_y()))
        self.rule(above=0.3, below=0.8, grey=0)

    def _row(self, steps: Sequence[Json | None]) -> None:
        first, top = next(one for one in steps if one), self.get_y()
        size, small = self.sized(12), self.sized(8)
        wide = self.words_width - 3
        what = f"{first['step']}. {_what(first)}"
        note = "" if "notes" in self.setting.left_out else first["note"]
        high = self.height_of(what, size, width=wide, bold=True) + self.height_of(note, small, width=wide)
        if top + high > self.page_break_trigger:
            self.add_page()
            top = self.get_y()
        self.flow(what, size, bold=first["action"] in ("add", "fill"), width=wide)
        self.flow(note, small, width=wide, grey=60)
        lowest = self.get_y()
        for place, step in enumerate(steps):
            self.set_y(top)
            if step:
                self._amount(step, x=self._column(place))
            lowest = max(lowest, self.get_y())
        self.set_y(lowest)
        self.rule(above=0.5, below=0.7)

    def _amount(self, step: Json, *, x: float) -> None:
        parts = [wording.quantity(one) for one in step["measure"]] or [wording.quantity(step["exact"])]
        shown, exact = " + ".join(parts), wording.quantity(step["exact"])
        wide, large = self.amount_width - 1, self.sized(19, least=11)
        while large > 14 and self._too_wide(shown, large):
            large -= 1
        lines = [shown] if not self._too_wide(shown, large) else self._in_lines(parts, large)
        while large > 8 and any(self._too_wide(line, large) for line in lines):
            large -= 1
        self.flow("\n".join(lines), large, bold=True, x=x, width=wide, align="R")
        if shown != exact and step["measure"]:
            self.flow(f"= {exact}", self.sized(7.5), x=x, width=wide, align="R", grey=60)

    def _too_wide(self, text: str, size: float) -> bool:
        self.write_in(size, bold=True)
        return bool(self.get_string_width(text) > self.amount_width - 3)

    def _in_lines(self, parts: Sequence[str], size: float) -> list[str]:
        """Return the measures in lines that fit, none of them broken in two."""
        lines = [parts[0]]
        for part in parts[1:]:
            longer = f"{lines[-1]} + {part}"
            if self._too_wide(longer, size):
                lines.append(f"+ {part}")
            else:
                lines[-1] = longer
        return lines

    def _ticks(self) -> None:
        top = self.get_y()
        self.flow(_("Mixed and checked off"), self.sized(10), bold=True, width=self.words_width)
        box, lowest = self.sized(14) * 0.36, self.get_y()
        for place, group in enumerate(self.groups):
            self.set_y(top)
            if len(group.numbers) > MOST_TICKS:
                tally = _("keep a tally: {count}").format(count=len(group.numbers))
                self.flow(tally, self.sized(9), x=self._column(place), width=self.amount_width, align="R")
            else:
                self._boxes(group.numbers, x=self._column(place), y=top, box=box)
                self.set_y(top + (box + 1.2) * -(-len(group.numbers) // 4))
            lowest = max(lowest, self.get_y())
        self.set_y(lowest + 1)

    def _boxes(self, numbers: Sequence[int], *, x: float, y: float, box: float) -> None:
        for place, number in enumerate(numbers):
            along, down = place % 4, place // 4
            left = x + self.amount_width - 1 - (4 - along) * (box + 6.5)
            self.tick(left, y + down * (box + 1.2), box)
            self.write_in(self.sized(9))
            self.text(left + box + 0.8, y + down * (box + 1.2) + box * 0.8, str(number))

    # what comes after

    def _after(self) -> None:
        sheet = self.sheet
        if sheet["kind"] == "spray":
            wait = wording.quantity(sheet["re_entry"]) or _("unknown: ask before anybody goes in")
            told = _("Keep out after the end: {wait}. Ended: ____________ Entry from: ____________")
            self.flow(told.format(wait=wait), self.sized(11), bold=True)
        if sheet["after"] and "after" not in self.setting.left_out:
            self.flow(_("Afterwards"), self.sized(10), bold=True)
            for number, told in enumerate(sheet["after"], 1):
                self.flow(f"{number}. {told}", self.sized(7.5))

    def _closing(self) -> None:
        if self.setting.left_out & {"after", "cautions"}:
            told = _("Washing steps and cautions are on the page behind the square code: read them.")
            self.flow(told, self.sized(8), bold=True)
        if "cautions" not in self.setting.left_out:
            self.flow(" ".join(self.sheet["cautions"]), self.sized(6.5), grey=60)
        if self.sheet["emergency"]:
            told = _("In an emergency: {whom}").format(whom=self.sheet["emergency"])
            self.flow(told, self.sized(9), bold=True)
        if self.sheet["kind"] == "spray":
            law = _("The label is the law; local rules and a licensed adviser come before this sheet.")
            self.flow(law, self.sized(8), bold=True)
        self.say_what_is_missing()


def _state(status: str) -> str:
    return {
        "held": _("HELD: do not start before it is released."),
        "done": _("DONE: do not mix again."),
    }.get(status, "")


def _place(sheet: Json) -> str:
    block = sheet["block"]
    return f"{block['name']} ({wording.crop(block['crop'])})" if block else ""


def _what(step: Json) -> str:
    if step["action"] == "agitate":
        return _with_time(_("Agitate"), step)
    if step["action"] == "wait":
        return _with_time(_("Wait"), step)
    return str(step["name"] or "")


def _with_time(what: str, step: Json) -> str:
    return f"{what}, {wording.quantity(step['for'])}" if step["for"] else what


def _numbers(numbers: Sequence[int]) -> str:
    """Return numbers in a row as people write them: `1, 2` or `1-14`."""
    return ", ".join(map(str, numbers)) if len(numbers) < 4 else f"{numbers[0]}–{numbers[-1]}"
