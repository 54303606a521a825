"""The season as a picture: blocks down, weeks across; what was seen, what is expected, what is to be done.

Everything in it stands in the table beside it as well. Marks differ in shape and carry letters, since colour
is never the only sign. What would lie on another of its block goes one lane down, so that each can be read.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace

from orchard.api.spoken import short_day

BEFORE, AFTER = 4, 12
LABEL, WEEK, ROW, HEAD = 150, 58, 62, 34
MARK, BAR, AIR, LETTER = 26, 16, 8, 7
"""Heights of a lane of marks and of one of bars, room above and below them, width of a letter on a bar."""


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
    height: float
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
    rows: list[Row] = []
    below = float(HEAD)
    for line in lines:
        rows.append(_row(line, below, first, last))
        below += rows[-1].height
    width = LABEL + len(weeks) * WEEK
    return Chart(width, max(below, HEAD + ROW), _x(today, first), weeks, tuple(rows))


def lanes(reaches: Sequence[tuple[float, float]]) -> list[int]:
    """Return for each reach, from and to, the first lane in which it lies on no other.

    Example: 0 to 5, 3 to 8 and 6 to 9 need lanes 0, 1 and 0.
    """
    ends: list[float] = []
    found = [0] * len(reaches)
    for place in sorted(range(len(reaches)), key=lambda one: reaches[one]):
        since, until = reaches[place]
        lane = next((number for number, end in enumerate(ends) if end <= since), len(ends))
        ends[lane : lane + 1] = [until]
        found[place] = lane
    return found


def _row(line: Line, y: float, first: dt.date, last: dt.date) -> Row:
    marks = [one for one in line.marks if first <= one.on <= last]
    bars = [_bar(one, first, last) for one in line.spans if one.until >= first and one.since <= last]
    half = MARK / 2
    mark_lanes = lanes([(_x(one.on, first) - half, _x(one.on, first) + half) for one in marks])
    bar_lanes = lanes([(one.x, one.x + max(one.width, LETTER * len(one.text) + 4) + 2) for one in bars])
    under = y + AIR + MARK * max((lane + 1 for lane in mark_lanes), default=1)
    height = under - y + BAR * max((lane + 1 for lane in bar_lanes), default=0) + AIR
    return Row(
        y,
        max(height, ROW),
        line.name,
        line.crop,
        tuple(
            Placed(one.look, one.text, one.title, _x(one.on, first), y + AIR + half + lane * MARK)
            for one, lane in zip(marks, mark_lanes, strict=True)
        ),
        tuple(replace(one, y=under + lane * BAR) for one, lane in zip(bars, bar_lanes, strict=True)),
    )


def _bar(span: Span, first: dt.date, last: dt.date) -> Placed:
    begins, ends = _x(max(span.since, first), first), _x(min(span.until, last), first)
    width = round(max(ends - begins, 0) + WEEK / 7, 1)
    return Placed(span.look, span.text, span.title, begins, 0.0, width, begins_before=span.since < first)


def _x(on: dt.date, first: dt.date) -> float:
    return round(LABEL + (on - first).days * WEEK / 7, 1)
