"""The open hours of a fortnight: one row a day, one cell an hour, with a letter for what closes it."""

from __future__ import annotations

import datetime as dt
import itertools
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import escape

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from orchard.api.spoken import short_day
from scheduling.bounds import Limit
from scheduling.plots.picture import Picture
from scheduling.windows import Window

HOUR = dt.timedelta(hours=1)
SIGNS = {
    Limit.WIND: ("W", gettext_lazy("wind")),
    Limit.RAIN: ("R", gettext_lazy("rain, or rain to come")),
    Limit.FROST: ("F", gettext_lazy("frost")),
    Limit.HEAT: ("H", gettext_lazy("heat, or drops dry too soon")),
    Limit.INVERSION: ("I", gettext_lazy("still air, maybe an inversion")),
    Limit.WET: ("L", gettext_lazy("wet leaves")),
    Limit.RE_ENTRY: ("E", gettext_lazy("re-entry")),
    Limit.QUIET_HOURS: ("Q", gettext_lazy("quiet hours")),
}
OPEN, UNKNOWN = "✓", "?"
LEFT, TOP, CELL, ROW, RIGHT, LEGEND = 96, 82, 26, 26, 150, 158
GREEN, GREY, DARK, LINE = "#17694b", "#ececf0", "#26262b", "#8a8a94"


@dataclass(frozen=True, slots=True)
class Hour:
    """One hour of a day on the wall's clock; the second of two alike where clocks go back has `again`."""

    on: dt.date
    hour: int
    again: bool
    limits: tuple[Limit, ...] | None
    """What closes it, none where it is open; None where no weather is known."""

    @property
    def sign(self) -> str:
        """The letter of the cell: of the first limit, with a + where there are more."""
        if self.limits is None:
            return UNKNOWN
        if not self.limits:
            return OPEN
        return SIGNS[self.limits[0]][0] + ("+" if len(self.limits) > 1 else "")


@dataclass(frozen=True, slots=True)
class DayRow:
    """The numbers of one day.

    :ivar first: the first open hour; `longest` is the longest run of open hours
    :ivar closed_by: how many hours each limit closes
    """

    on: dt.date
    open_hours: int
    first: int | None
    longest: int
    unknown: int
    closed_by: dict[str, int]


def hours_of(windows: Sequence[Window]) -> list[Hour]:
    """Return the hours of windows in order, in the zone that the windows are told in."""
    found = []
    for window in windows:
        limits = tuple(dict.fromkeys(reason.limit for reason in window.closed_by))
        moment = window.starts_at.astimezone(dt.UTC)
        while moment < window.ends_at.astimezone(dt.UTC):
            here = moment.astimezone(window.starts_at.tzinfo)
            found.append(Hour(here.date(), here.hour, bool(here.fold), limits))
            moment += HOUR
    return found


def table(windows: Sequence[Window]) -> list[DayRow]:
    """Return the numbers of the plot, one row a day."""
    return [_row(on, list(hours)) for on, hours in itertools.groupby(hours_of(windows), lambda one: one.on)]


def _row(on: dt.date, hours: Sequence[Hour]) -> DayRow:
    is_open = [one.hour for one in hours if one.limits == ()]
    runs = [len(list(run)) for fit, run in itertools.groupby(hours, lambda one: one.limits == ()) if fit]
    closed = Counter(limit.value for one in hours for limit in one.limits or ())
    return DayRow(
        on,
        len(is_open),
        min(is_open, default=None),
        max(runs, default=0),
        24 - len(hours) if len(hours) < 24 else 0,
        dict(sorted(closed.items())),
    )


def picture(windows: Sequence[Window], *, title: str, stale_from: dt.datetime | None = None) -> Picture:
    """Return the plot with its numbers, one row a day, in the language in use.

    :param stale_from: the first hour whose forecast is old, in the zone of the windows
    """
    heads = (
        _("day"),
        _("open hours"),
        _("first open hour"),
        _("longest run"),
        _("not known"),
        _("closed by (hours)"),
    )
    rows = tuple(
        (
            _day_name(row.on),
            str(row.open_hours),
            "–" if row.first is None else f"{row.first:02}:00",
            str(row.longest),
            str(row.unknown),
            ", ".join(f"{SIGNS[Limit(limit)][1]} {hours}" for limit, hours in row.closed_by.items()) or "–",
        )
        for row in table(windows)
    )
    return Picture(svg(windows, title=title, stale_from=stale_from), heads, rows)


def as_text(windows: Sequence[Window]) -> str:
    """Return the numbers as a table of text, tab separated, with a head."""
    head = "day\topen hours\tfirst open\tlongest run\tnot known\tclosed by (hours)"
    lines = [
        "\t".join(
            [
                row.on.isoformat(),
                str(row.open_hours),
                "-" if row.first is None else f"{row.first:02}:00",
                str(row.longest),
                str(row.unknown),
                ", ".join(f"{limit} {hours}" for limit, hours in row.closed_by.items()) or "-",
            ]
        )
        for row in table(windows)
    ]
    return "\n".join([head, *lines]) + "\n"


def svg(windows: Sequence[Window], *, title: str, stale_from: dt.datetime | None = None) -> str:
    """Return the plot as an SVG document that stands alone."""
    rows = table(windows)
    told = _told(rows) + _stale(stale_from)
    cells = {(one.on, one.hour): one for one in hours_of(windows)}  # of an hour told twice the second
    width, height = LEFT + 24 * CELL + RIGHT, TOP + max(1, len(rows)) * ROW + LEGEND
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" '
        f'height="{height}" role="img" aria-labelledby="title told" font-family="sans-serif">',
        f'<title id="title">{escape(title)}</title>',
        f'<desc id="told">{escape(told)}</desc>',
        f'<rect width="{width}" height="{height}" fill="#ffffff"/>',
        _text(LEFT, 26, title, size=17, weight="bold"),
        *[_text(LEFT, 44 + 14 * row, says, size=12) for row, says in enumerate(told.split("\n"))],
        *_head(),
    ]
    for place, row in enumerate(rows):
        parts += _day(row, cells, TOP + place * ROW)
    parts += _legend(TOP + max(1, len(rows)) * ROW)
    return "\n".join([*parts, "</svg>"]) + "\n"


def _told(rows: Sequence[DayRow]) -> str:
    total = sum(row.open_hours for row in rows)
    fit = [row for row in rows if row.open_hours]
    if not rows:
        return _("no weather hours are stored")
    if not fit:
        return _("no open hour in %(days)s days") % {"days": len(rows)}
    best = max(fit, key=lambda row: (row.longest, row.on.toordinal() * -1))
    return _(
        "%(total)s open hours on %(fit)s of %(days)s days; the longest run is %(longest)s h on %(day)s"
    ) % {
        "total": total,
        "fit": len(fit),
        "days": len(rows),
        "longest": best.longest,
        "day": _day_name(best.on),
    }


def _stale(since: dt.datetime | None) -> str:
    if since is None:
        return ""
    says = _("OLD FORECAST from %(day)s on: more than a day old, post a newer one")
    return "\n" + says % {"day": short_day(since, weekday=True, more=", H:i")}


def _day_name(on: dt.date) -> str:
    return short_day(on, weekday=True)


def _head() -> Iterator[str]:
    for hour in range(0, 24, 3):
        yield _text(LEFT + hour * CELL + CELL / 2, TOP - 8, f"{hour:02}", size=12, anchor="middle")
    yield _text(LEFT + 24 * CELL + 12, TOP - 8, _("open h, longest run"), size=12)


def _day(row: DayRow, cells: dict[tuple[dt.date, int], Hour], top: int) -> Iterator[str]:
    middle = top + ROW / 2 + 5
    yield _text(LEFT - 10, middle, _day_name(row.on), size=13, anchor="end")
    for hour in range(24):
        yield from _cell(cells.get((row.on, hour)), LEFT + hour * CELL, top)
    yield _text(LEFT + 24 * CELL + 12, middle, f"{row.open_hours}", size=13, weight="bold")
    yield _text(LEFT + 24 * CELL + 48, middle, f"{row.longest}", size=13)


def _cell(hour: Hour | None, x: int, y: int) -> Iterator[str]:
    limits = None if hour is None else hour.limits
    sign = UNKNOWN if hour is None else hour.sign
    fill = GREEN if limits == () else "#ffffff" if limits is None else GREY
    dash = ' stroke-dasharray="3 2"' if limits is None else ""
    yield (
        f'<rect x="{x + 1}" y="{y + 1}" width="{CELL - 2}" height="{ROW - 2}" rx="3" fill="{fill}" '
        f'stroke="{LINE if limits is None else fill}"{dash}/>'
    )
    yield _text(
        x + CELL / 2,
        y + ROW / 2 + 4,
        sign,
        size=12,
        anchor="middle",
        fill="#ffffff" if limits == () else DARK,
        weight="bold" if limits == () else "normal",
    )


def _legend(top: int) -> Iterator[str]:
    told = [
        (OPEN, _("open")),
        *((sign, str(words)) for sign, words in SIGNS.values()),
        (UNKNOWN, _("not known")),
        ("+", _("and more than one limit")),
    ]
    for place, (sign, words) in enumerate(told):
        x, y = LEFT + (place % 2) * 360, top + 26 + (place // 2) * 22  # the longest of any language fits
        yield _text(x, y, sign, size=12, weight="bold")
        yield _text(x + 18, y, words, size=12)


def _text(
    x: float,
    y: float,
    words: str,
    *,
    size: int,
    anchor: str = "start",
    weight: str = "normal",
    fill: str = DARK,
) -> str:
    return (
        f'<text x="{x:g}" y="{y:g}" font-size="{size}" text-anchor="{anchor}" font-weight="{weight}" '
        f'fill="{fill}">{escape(words)}</text>'
    )
