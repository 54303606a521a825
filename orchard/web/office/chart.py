"""The season as a picture: blocks down, weeks across; what was seen, what is expected, what is to be done.

Everything in it stands in the table beside it as well. Marks differ in shape and carry letters, since colour
is never the only sign.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from orchard.api.spoken import short_day

BEFORE, AFTER = 4, 12
LABEL, WEEK, ROW, HEAD = 150, 58, 62, 34


@dataclass(frozen=True, slots=True)
class Mark:
    """Something on one day.

    :ivar look: `seen`, `job`, `done` or `limit`, a class of the stylesheet
    :ivar text: at most a few letters
    """

    on: dt.date
    look: str
    text: str
    title: str


@dataclass(frozen=True, slots=True)
class Span:
    """Something from one day to another, both included.

    :ivar look: `expected` or `closed`, a class of the stylesheet
    """

    since: dt.date
    until: dt.date
    look: str
    text: str
    title: str


@dataclass(frozen=True, slots=True)
class Line:
    """One block's line of the chart."""

    name: str
    crop: str
    marks: tuple[Mark, ...]
    spans: tuple[Span, ...]


@dataclass(frozen=True, slots=True)
class Placed:
    """A mark or a span with its place on the sheet."""

    look: str
    text: str
    title: str
    x: float
    y: float
    width: float = 0.0
    begins_before: bool = False


@dataclass(frozen=True, slots=True)
class Week:
    """One column, named by the Monday it begins with."""

    x: float
    name: str


@dataclass(frozen=True, slots=True)
class Row:
    """One block's place on the sheet."""

    y: float
    name: str
    crop: str
    marks: tuple[Placed, ...]
    spans: tuple[Placed, ...]


@dataclass(frozen=True, slots=True)
class Chart:
    """The sheet: `width` by `height`, with a line at today."""

    width: float
    height: float
    today: float
    weeks: tuple[Week, ...]
    rows: tuple[Row, ...]


def chart(lines: Sequence[Line], *, today: dt.date) -> Chart:
    """Return the chart from four weeks ago to twelve weeks ahead."""
    first = today - dt.timedelta(days=today.weekday(), weeks=BEFORE)
    last = first + dt.timedelta(weeks=BEFORE + 1 + AFTER) - dt.timedelta(days=1)
    weeks = tuple(
        Week(LABEL + number * WEEK, short_day(first + dt.timedelta(weeks=number)))
        for number in range(BEFORE + 1 + AFTER)
    )
    rows = tuple(_row(line, place, first, last) for place, line in enumerate(lines))
    width = LABEL + len(weeks) * WEEK
    return Chart(width, HEAD + max(len(rows), 1) * ROW, _x(today, first), weeks, rows)


def _row(line: Line, place: int, first: dt.date, last: dt.date) -> Row:
    y = HEAD + place * ROW
    marks = tuple(
        Placed(one.look, one.text, one.title, _x(one.on, first), y + 20)
        for one in line.marks
        if first <= one.on <= last
    )
    spans = tuple(
        Placed(
            one.look,
            one.text,
            one.title,
            _x(max(one.since, first), first),
            y + (34 if one.look == "expected" else 48),
            max(_x(min(one.until, last), first) - _x(max(one.since, first), first), 0) + WEEK / 7,
            begins_before=one.since < first,
        )
        for one in line.spans
        if one.until >= first and one.since <= last
    )
    return Row(y, line.name, line.crop, marks, spans)


def _x(on: dt.date, first: dt.date) -> float:
    return round(LABEL + (on - first).days * WEEK / 7, 1)
