"""A block's season: temperature and rain day by day, the stages seen and forecast, and what was sprayed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext as _

from orchard.api.spoken import short_day
from scheduling.forecast.records import Forecast
from scheduling.forecast.sound import Day
from scheduling.plots.forecast import name_of
from scheduling.plots.picture import Picture, Sheet

WIDTH, HEIGHT, TOP, BOTTOM, LANE = 900, 430, 50, 260, 34
DEGREES = (-20, -10, 0, 10, 20, 30)
MOST_RAIN = 40.0


@dataclass(frozen=True, slots=True)
class Mark:
    """Something that happened on a day: a stage that was seen, or a spray."""

    on: date
    what: str


def season_picture(
    *,
    block: str,
    days: Sequence[Day],
    rain: Sequence[tuple[date, float]] = (),
    seen: Sequence[Mark] = (),
    sprays: Sequence[Mark] = (),
    forecasts: Sequence[Forecast] = (),
) -> Picture:
    """Return a picture of a block's season.

    :param days: minimum and maximum of each day [degC], in order
    :param rain: rain of days [mm]
    :raises ValueError: without a day of weather
    """
    if not days:
        raise ValueError("there is no weather to draw")
    last = max([days[-1].on, *(one.high80 for one in forecasts), *(one.on for one in (*seen, *sprays))])
    sheet = Sheet(WIDTH, HEIGHT, days[0].on, last)
    title = _("%(block)s: season from %(day)s") % {"block": block, "day": short_day(days[0].on, more=" Y")}
    sheet.text(16, 24, title, size=16)
    lanes = BOTTOM + 3 * LANE
    sheet.days(top=TOP, bottom=lanes + 10)
    _temperatures(sheet, days)
    _rain(sheet, rain)
    for row, (name, marks) in enumerate(((_("stages seen"), seen), (_("sprays"), sprays))):
        y = BOTTOM + LANE * (row + 0.6)
        sheet.text(16, y + 4, name)
        for one in marks:
            _mark(sheet, one, y, square=row == 1)
    y = BOTTOM + LANE * 2.6
    sheet.text(16, y + 4, _("forecast"))
    for row, due in enumerate(forecasts):
        middle = y + 11 * (row - (len(forecasts) - 1) / 2)
        begins, ends = sheet.x(due.low80), sheet.x(due.high80, part=1)
        sheet.box(begins, middle - 4, ends - begins, 8, fill="#cfe3d4", edge="#1b1b1b")
        sheet.diamond(sheet.x(due.predicted, part=0.5), middle, size=4)
        sheet.text(begins - 5, middle + 4, name_of(due.event), anchor="end", size=9)
    said = _(
        "Whole line: maximum; dashed line: minimum, °C. Bars from the top: rain, 40 mm and more full height."
    )
    sheet.text(16, lanes + 46, said, size=11)
    shapes = _(
        "Triangle: a stage seen (BBCH). Square: a spray. Bar: eight in ten; diamond: the likeliest day."
    )
    sheet.text(16, lanes + 62, shapes, size=11)
    rows = tuple(_rows(days, rain, seen, sprays, forecasts))
    told = _("%(seen)s stages seen, %(sprays)s sprays, %(forecast)s stages forecast") % {
        "seen": len(seen),
        "sprays": len(sprays),
        "forecast": len(forecasts),
    }
    heads = (_("day"), _("what"), _("value"))
    return Picture(sheet.drawn(title=title, told=told), heads, rows)


def _y(degrees: float) -> float:
    low, high = DEGREES[0], DEGREES[-1]
    return BOTTOM - (min(max(degrees, low), high) - low) * (BOTTOM - TOP) / (high - low)


def _temperatures(sheet: Sheet, days: Sequence[Day]) -> None:
    for degrees in DEGREES:
        sheet.text(sheet.left - 8, _y(degrees) + 4, f"{degrees} °C", anchor="end", size=11)
        sheet.line(sheet.left, _y(degrees), WIDTH - sheet.right, _y(degrees), dash="1 4", width=0.7)
    for part, dash in (("maximum", ""), ("minimum", "4 3")):
        points: list[tuple[float, float]] = []
        before: date | None = None
        for day in days:
            if before is not None and (day.on - before).days > 1:  # a gap is drawn as a gap
                sheet.path(points, dash=dash)
                points = []
            points.append((sheet.x(day.on, part=0.5), _y(getattr(day, part))))
            before = day.on
        sheet.path(points, dash=dash)


def _rain(sheet: Sheet, rain: Sequence[tuple[date, float]]) -> None:
    for on, fell in rain:
        if fell > 0 and sheet.first <= on <= sheet.last:
            tall = min(fell, MOST_RAIN) / MOST_RAIN * (BOTTOM - TOP)
            sheet.box(
                sheet.x(on, part=0.2),
                TOP,
                sheet.x(on, part=0.8) - sheet.x(on, part=0.2),
                tall,
                fill="#7fa8d9",
            )


def _mark(sheet: Sheet, one: Mark, y: float, *, square: bool) -> None:
    x = sheet.x(one.on, part=0.5)
    if square:
        sheet.box(x - 5, y - 5, 10, 10, fill="#b5651d", edge="#1b1b1b")
    else:
        sheet.path([(x - 6, y + 5), (x, y - 6), (x + 6, y + 5), (x - 6, y + 5)])
    sheet.text(x + 9, y + 4, one.what, size=10)


def _rows(
    days: Sequence[Day],
    rain: Sequence[tuple[date, float]],
    seen: Sequence[Mark],
    sprays: Sequence[Mark],
    forecasts: Sequence[Forecast],
) -> list[tuple[str, ...]]:
    degrees, due = _("minimum and maximum"), _("%(stage)s forecast")
    rows = [(str(day.on), degrees, f"{day.minimum:g} – {day.maximum:g} °C") for day in days]
    rows += [(str(on), _("rain"), f"{fell:g} mm") for on, fell in rain if fell > 0]
    rows += [(str(one.on), _("stage seen"), one.what) for one in seen]
    rows += [(str(one.on), _("spray"), one.what) for one in sprays]
    rows += [
        (str(one.predicted), due % {"stage": name_of(one.event)}, f"{one.low80} – {one.high80}")
        for one in forecasts
    ]
    return sorted(rows)
