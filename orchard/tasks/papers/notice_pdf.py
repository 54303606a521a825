"""The posting notice on paper: a frame an application, the time of entry large enough to read from afar."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext as _

from mixing import catalogue
from orchard.farms.models import Farm
from orchard.tasks import elements
from orchard.tasks.papers import notices, wording
from orchard.tasks.papers.paper import GREY, LIGHT, Paper

Json = Mapping[str, Any]


def render(notice: Json, *, farm: Farm, made_at: dt.datetime) -> bytes:
    """Return the notice as a PDF, as many pages as it takes."""
    paper = _Notice(farm=farm, made_at=made_at, title=_("Treated blocks"), language=wording.language())
    paper.heading(notice)
    for item in notice["items"]:
        paper.item(item)
    paper.closing(notice)
    return paper.bytes()


class _Notice(Paper):
    def __init__(self, *, farm: Farm, made_at: dt.datetime, title: str, language: str) -> None:
        super().__init__(units=farm.units, made_at=made_at, title=title, language=language)
        self.farm = farm

    def moment(self, at: dt.datetime | None) -> str:
        """Return a moment in the farm's time."""
        return wording.moment(at, farm=self.farm)

    def heading(self, notice: Json) -> None:
        """Write what this is and when it was true."""
        self.flow(notice["farm"], 10, grey=GREY)
        self.flow(_("Treated blocks: when you may go in"), 20, bold=True)
        as_of = _("As of {moment}").format(moment=self.moment(notice["as_of"]))
        self.flow(as_of, 10)
        self.rule(above=1.5, below=1.5, grey=0)
        if not notice["items"]:
            self.flow(_("Nothing to post: no block was treated in the time that the rules ask for."), 12)

    def item(self, item: Json) -> None:
        """Write one treated block; a frame is never torn over two pages unless it fills one."""
        if self.get_y() + self._high(item) > self.page_break_trigger:
            self.add_page()
        block = item["block"]
        self.flow(f"{block['name']} ({wording.crop(block['crop'])})", 15, bold=True)
        self.set_fill_color(LIGHT)
        self.flow(self._entry(item), 14, bold=True, fill=True)
        if item["harvest_not_before"]:
            told = _("Harvest not before {day}").format(day=wording.day(item["harvest_not_before"]))
            self.flow(told, 11, bold=True)
        self.flow(self._when(item), 10)
        for one in item["products"]:
            self.flow(self._product(one), 10)
        worn = [catalogue.word("gear", one, wording.language()) for one in item["early_entry"]]
        if worn:
            told = _("Who must go in sooner wears: {gear}. Ask first.").format(gear=", ".join(worn))
            self.flow(told, 9)
        if item["post_until"]:
            told = _("Leave posted until {moment}").format(moment=self.moment(item["post_until"]))
            self.flow(told, 8, grey=GREY)
        self.rule(above=1.5, below=2)

    def _high(self, item: Json) -> float:
        lines = [self._product(one) for one in item["products"]]
        return 38 + sum(self.height_of(line, 10, width=self.epw) for line in lines)

    def _entry(self, item: Json) -> str:
        if item["state"] == notices.BEING_SPRAYED:
            return _("KEEP OUT: it is being sprayed")
        if item["state"] == notices.UNKNOWN:
            return _("KEEP OUT: no label states when entry is allowed. Ask the manager.")
        at = self.moment(item["entry_allowed_from"])
        if item["state"] == notices.CLOSED:
            return _("KEEP OUT until {moment}").format(moment=at)
        return _("Entry allowed since {moment}").format(moment=at)

    def _when(self, item: Json) -> str:
        size = _("Area {area}").format(area=wording.quantity(item["area"])) if item["area"] else ""
        started, ended = self.moment(item["started_at"]), self.moment(item["finished_at"])
        told = _("Sprayed {started} to {ended}").format(started=started, ended=ended or _("not yet ended"))
        return " · ".join(filter(None, (told, size)))

    def _product(self, one: Json) -> str:
        wait = wording.quantity(one["re_entry"])
        parts = (
            one["name"],
            _("Reg. No. {number}").format(number=one["registration"] or _("not stated")),
            ", ".join(one["active_ingredients"] or []) or _("active ingredient not stated"),
            _("keep out {time}").format(time=wait) if wait else "",
        )
        return "• " + " · ".join(filter(None, parts))

    def closing(self, notice: Json) -> None:
        """Write what hangs beside it and whom to call."""
        hours = int(elements.post_within().total_seconds() // 3600)
        told = _(
            "Hang beside it the safety data sheet of each product. Post within {hours} hours of the end of "
            "an application, where everybody can see and read it (40 CFR 170.311(b))."
        )
        self.flow(told.format(hours=hours), 9)
        if notice["emergency"]:
            self.flow(_("In an emergency: {whom}").format(whom=notice["emergency"]), 12, bold=True)
        law = _("The label is the law; local rules and a licensed adviser come before this notice.")
        self.flow(law, 8, bold=True)
        self.say_what_is_missing()
