"""A forecast with its odds: when each stage is due, and the last day for a spray that must be on before."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

from django.utils.translation import gettext as _

from orchard.api.spoken import short_day
from orchard.blocks.outlook_words import EVENTS, by_model
from scheduling.forecast.records import Event, Forecast
from scheduling.plots.picture import Picture, Sheet

ROW, TOP, WIDTH = 46, 58, 760
A_WEEK = timedelta(days=7)


def forecast_picture(
    forecasts: Sequence[Forecast], *, block: str, last_safe: date | None = None, remarks: Sequence[str] = ()
) -> Picture:
    """Return a picture of a block's forecasts.

    A bar holds eight in ten, a diamond stands on the likeliest day, a thick line marks what was observed.

    :param last_safe: last day of a spray that must be on before bud colour
    :param remarks: what the forecast could not use; written below
    :raises ValueError: without a forecast
    """
    if not forecasts:
        raise ValueError("there is no forecast to draw")
    issued = forecasts[0].issued_on
    days = [day for one in forecasts for day in (one.low80, one.high80)] + [issued]
    days += [last_safe] if last_safe else []
    by = _("By %(model)s. A bar: eight in ten; a diamond: the likeliest day.")
    notes = [*remarks, by % {"model": by_model(forecasts[-1].model)}]
    bottom = TOP + ROW * len(forecasts)
    height = bottom + 44 + 16 * len(notes)
    sheet = Sheet(WIDTH, height, min(days) - A_WEEK, max(days) + A_WEEK)
    title = _("%(block)s: stages as seen on %(day)s") % {
        "block": block,
        "day": short_day(issued, more=" Y"),
    }
    sheet.text(16, 24, title, size=16)
    sheet.days(top=TOP - 12, bottom=bottom)
    for row, one in enumerate(forecasts):
        _stage(sheet, one, TOP + ROW * row + ROW / 2)
    sheet.line(sheet.x(issued), TOP - 12, sheet.x(issued), bottom, dash="2 3")
    sheet.text(sheet.x(issued) + 4, TOP - 14, _("made this day"), size=11)
    if last_safe is not None:
        x = sheet.x(last_safe, part=1)
        sheet.line(x, TOP - 12, x, bottom, dash="8 4", width=2)
        safe = _("last safe day %(day)s") % {"day": day_of(last_safe)}
        sheet.text(x + 4, TOP - 1, safe, size=11)
    for row, note in enumerate(notes):
        sheet.text(16, bottom + 38 + 16 * row, note, size=11)
    rows = tuple(_row(one) for one in forecasts)
    if last_safe is not None:
        rows = (*rows, (_("last safe day"), "", "", str(last_safe), "", str(issued), ""))
    told = "; ".join(f"{name_of(one.event)} {one.low80} – {one.high80}" for one in forecasts)
    heads = (
        _("stage"),
        "BBCH",
        _("one in ten before"),
        _("likeliest"),
        _("one in ten after"),
        _("issued on"),
        _("by"),
    )
    return Picture(sheet.drawn(title=title, told=told), heads, rows)


def name_of(event: Event) -> str:
    """Return an event in the language in use."""
    return str(EVENTS[event.value])


def day_of(on: date) -> str:
    """Return a day and its month in the language in use."""
    return short_day(on)


def _stage(sheet: Sheet, one: Forecast, y: float) -> None:
    sheet.text(16, y + 4, f"{name_of(one.event)} ({one.bbch})")
    if one.model == "observed":
        x = sheet.x(one.predicted, part=0.5)
        sheet.line(x, y - 12, x, y + 12, width=4)
        sheet.text(x + 8, y + 4, _("seen %(day)s") % {"day": day_of(one.predicted)}, size=11)
        return
    begins, ends = sheet.x(one.low80), sheet.x(one.high80, part=1)
    sheet.box(begins, y - 9, ends - begins, 18, fill="#cfe3d4", edge="#1b1b1b")
    sheet.diamond(sheet.x(one.predicted, part=0.5), y)
    # Outwards, so that they cross neither each other nor the line of the last safe day.
    sheet.text(begins - 4, y + 22, day_of(one.low80), anchor="end", size=11)
    sheet.text(ends + 4, y + 22, day_of(one.high80), size=11)


def _row(one: Forecast) -> tuple[str, ...]:
    days = (one.low80, one.predicted, one.high80, one.issued_on)
    return (name_of(one.event), str(one.bbch), *(str(day) for day in days), by_model(one.model))
