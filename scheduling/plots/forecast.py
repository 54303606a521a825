"""A forecast with its odds: when each stage is due, and the last day for a spray that must be on before."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

from scheduling.forecast.records import Event, Forecast
from scheduling.plots.picture import Picture, Sheet

ROW, TOP, WIDTH = 46, 58, 760
NAMES = {Event.BUDBURST: "budburst", Event.FIRST_BLOOM: "first bloom", Event.FULL_BLOOM: "full bloom"}
HEADS = ("stage", "BBCH", "one in ten before", "likeliest", "one in ten after", "issued on", "by")
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
    notes = [*remarks, f"By {forecasts[-1].model}. A bar: eight in ten; a diamond: the likeliest day."]
    bottom = TOP + ROW * len(forecasts)
    height = bottom + 44 + 16 * len(notes)
    sheet = Sheet(WIDTH, height, min(days) - A_WEEK, max(days) + A_WEEK)
    title = f"{block}: stages as seen on {issued:%-d %b %Y}"
    sheet.text(16, 24, title, size=16)
    sheet.days(top=TOP - 12, bottom=bottom)
    for row, one in enumerate(forecasts):
        _stage(sheet, one, TOP + ROW * row + ROW / 2)
    sheet.line(sheet.x(issued), TOP - 12, sheet.x(issued), bottom, dash="2 3")
    sheet.text(sheet.x(issued) + 4, TOP - 14, "today", size=11)
    if last_safe is not None:
        x = sheet.x(last_safe, part=1)
        sheet.line(x, TOP - 12, x, bottom, dash="8 4", width=2)
        sheet.text(x + 4, TOP - 1, f"last safe day {last_safe:%-d %b}", size=11)
    for row, note in enumerate(notes):
        sheet.text(16, bottom + 38 + 16 * row, note, size=11)
    rows = tuple(_row(one) for one in forecasts)
    if last_safe is not None:
        rows = (*rows, ("last safe day", "", "", str(last_safe), "", str(issued), ""))
    told = "; ".join(f"{NAMES[one.event]} {one.low80} to {one.high80}" for one in forecasts)
    return Picture(sheet.drawn(title=title, told=told), HEADS, rows)


def _stage(sheet: Sheet, one: Forecast, y: float) -> None:
    sheet.text(16, y + 4, f"{NAMES[one.event]} ({one.bbch})")
    if one.model == "observed":
        x = sheet.x(one.predicted, part=0.5)
        sheet.line(x, y - 12, x, y + 12, width=4)
        sheet.text(x + 8, y + 4, f"seen {one.predicted:%-d %b}", size=11)
        return
    begins, ends = sheet.x(one.low80), sheet.x(one.high80, part=1)
    sheet.box(begins, y - 9, ends - begins, 18, fill="#cfe3d4", edge="#1b1b1b")
    sheet.diamond(sheet.x(one.predicted, part=0.5), y)
    sheet.text(begins, y + 22, f"{one.low80:%-d %b}", anchor="middle", size=11)
    sheet.text(ends, y + 22, f"{one.high80:%-d %b}", anchor="middle", size=11)


def _row(one: Forecast) -> tuple[str, ...]:
    days = (one.low80, one.predicted, one.high80, one.issued_on)
    return (NAMES[one.event], str(one.bbch), *(str(day) for day in days), one.model)
