"""Application records on paper: all that the rules ask for, old versions marked as such."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from django.utils.translation import gettext as _

from orchard.farms.models import Farm
from orchard.tasks.models import ApplicationRecord
from orchard.tasks.papers import wording
from orchard.tasks.papers.paper import GREY, LIGHT, Paper
from orchard.tasks.told import said_of

Json = Mapping[str, Any]
NAMES = 44.0
"""Width of the column of names, in millimetres."""

MARGIN_OF_FOOT = 10.0


def render(
    rows: Sequence[ApplicationRecord], *, farm: Farm, made_at: dt.datetime, left_out: int = 0
) -> bytes:
    """Return the records as a PDF.

    :param left_out: how many more there are, which the last page says
    """
    title = _("Application records")
    paper = _Records(farm=farm, made_at=made_at, title=title, language=wording.language())
    paper.flow(farm.name, 10, grey=GREY)
    paper.flow(title, 18, bold=True)
    for row in rows:
        paper.record(row)
    if not rows:
        paper.flow(_("No record answers to this."), 11)
    if left_out:
        told = _("{count} more records are not printed here: ask for fewer days.")
        paper.flow(told.format(count=left_out), 11, bold=True)
    paper.say_what_is_missing()
    return paper.bytes()


class _Records(Paper):
    def __init__(self, *, farm: Farm, made_at: dt.datetime, title: str, language: str) -> None:
        super().__init__(units=farm.units, made_at=made_at, title=title, language=language)
        self.farm = farm

    def footer(self) -> None:
        """Write the number of the page at its foot."""
        self.set_y(-MARGIN_OF_FOOT)
        self.flow(f"{self.farm.name} · {self.page_no()}", 7, grey=GREY, align="R")

    def moment(self, at: dt.datetime | None) -> str:
        """Return a moment in the farm's time."""
        return wording.moment(at, farm=self.farm)

    def record(self, row: ApplicationRecord) -> None:
        """Write one record."""
        if self.get_y() + 75 > self.page_break_trigger:
            self.add_page()
        self.rule(above=2, below=1.5, grey=0)
        place = row.body.get("place") or {}
        self.flow(f"{place.get('name')}, {self.moment(row.finished_at)}", 14, bold=True)
        if row.status != "current" or row.kind != "application":
            self.set_fill_color(LIGHT)
            self.flow(_standing(row), 10, bold=True, fill=True)
        for name, told in self._lines(row, place):
            self._line(name, told)
        for one in row.body["products"]:
            self._product(one)
        for flag in row.flags:
            self._line(_("Flag"), said_of(flag))
        for one in row.body.get("not_stated") or []:
            self._line(_("Not stated"), f"{one['element']} ({one['rule']})")
        self.flow(str(row.id), 6.5, grey=GREY)

    def _line(self, name: str, told: str) -> None:
        if not told:
            return
        high = self.height_of(told, 9.5, width=self.epw - NAMES)
        if self.get_y() + high > self.page_break_trigger:
            self.add_page()
        top = self.get_y()
        self.flow(name, 8.5, grey=GREY, width=NAMES)
        below = self.get_y()
        self.set_y(top)
        self.flow(told, 9.5, x=self.l_margin + NAMES)
        self.set_y(max(below, self.get_y()))

    def _lines(self, row: ApplicationRecord, place: Json) -> Iterator[tuple[str, str]]:
        spray = row.body.get("spray") or {}
        yield _("Began, ended"), f"{self.moment(row.started_at)} – {self.moment(row.finished_at)}"
        eppo = f" (EPPO {place['eppo']})" if place.get("eppo") else ""
        yield _("Crop"), f"{wording.crop(place.get('crop') or '')}{eppo}"
        yield _("Use"), _("Plant protection, spraying of a crop in the open") if row.body.get("use") else ""
        yield _("Area, trees"), _listed(wording.quantity(spray.get("area")), spray.get("trees"))
        yield _("Spray"), wording.quantity(spray.get("total"))
        yield _("Against"), ", ".join(row.body.get("targets") or [])
        yield _("Stage (BBCH)"), _listed((row.body.get("stage") or {}).get("bbch"))
        yield _("Sprayer"), (row.body.get("sprayer") or {}).get("name") or ""
        yield _("Applied by"), "; ".join(map(_person, row.body.get("people") or []))
        yield _("Weather"), _weather(row.body.get("weather") or {})
        yield _("Entry allowed from"), self.moment(row.re_entry_until) or _unknown_unless_void(row)
        yield _("Harvest not before"), wording.day(row.harvest_not_before)
        yield _("Left over"), _left_over(row.body.get("leftover") or {})
        yield _("Anything unusual"), _("Nothing unusual") if row.body.get("nothing_unusual") else ""
        yield _("Incidents"), ", ".join(row.body.get("incidents") or [])
        yield _("Note"), row.body.get("note") or ""
        yield _("Entered"), self.moment(row.received_at)

    def _product(self, one: Json) -> None:
        self.set_y(self.get_y() + 1)
        self.flow(f"{one['name']}: {wording.quantity(one['amount'])}", 11, bold=True)
        for name, told in _of_product(one):
            self._line(name, told)


def _of_product(one: Json) -> Iterator[tuple[str, str]]:
    yield _("Registration number"), one.get("registration") or _("not stated")
    yield _("Active ingredients"), ", ".join(one.get("active_ingredients") or []) or _("not stated")
    yield _("Rate put on"), wording.quantity(one.get("rate_applied"))
    yield _("Per area"), wording.quantity(one.get("per_area"))
    metal = [f"{wording.quantity(part['amount'])} {part['of']}" for part in one.get("metal") or []]
    yield _("Metal in it"), ", ".join(metal)
    yield _("Keep-out interval"), wording.quantity(one.get("re_entry")) or _("not stated")
    yield _("Days before harvest"), wording.quantity(one.get("pre_harvest"))
    lots = [f"{lot['number']}: {wording.quantity(lot['amount'])}" for lot in one.get("lots") or []]
    yield _("Lots"), ", ".join(lots)


def _standing(row: ApplicationRecord) -> str:
    if row.status == "void":
        told = _("VOID: this application is taken back.")
    elif row.status == "corrected":
        told = _("CORRECTED: record {id} stands in its place.").format(
            id=row.corrected_by and row.corrected_by.id
        )
    else:
        told = _("This corrects record {id}.").format(id=row.corrects and row.corrects.id)
    reason = _("Reason: {reason}").format(reason=row.reason) if row.reason else ""
    return f"{told} {reason}".rstrip()


def _unknown_unless_void(row: ApplicationRecord) -> str:
    return "" if row.status == "void" else _("unknown: ask before anybody goes in")


def _listed(*parts: Any) -> str:
    return ", ".join(str(one) for one in parts if one not in (None, ""))


def _person(one: Json) -> str:
    if one.get("licence"):
        return _("{name} (licence {number})").format(name=one["name"], number=one["licence"])
    return str(one["name"])


def _weather(seen: Json) -> str:
    parts = (
        _("wind {speed}").format(speed=wording.quantity(seen["wind"])) if seen.get("wind") else "",
        _("from {degrees}°").format(degrees=seen["wind_direction"])
        if seen.get("wind_direction") is not None
        else "",
        wording.quantity(seen.get("temperature")),
        _("humidity {percent} %").format(percent=seen["humidity_percent"])
        if seen.get("humidity_percent")
        else "",
    )
    return ", ".join(filter(None, parts))


def _left_over(rest: Json) -> str:
    fates = {
        "none": _("nothing"),
        "sprayed_out": _("sprayed out"),
        "kept_labelled": _("kept, labelled"),
        "disposed": _("disposed of"),
    }
    fate = rest.get("fate")
    return _listed(wording.quantity(rest.get("volume")), fates.get(fate or "", fate)) if rest else ""
