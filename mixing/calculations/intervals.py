"""Intervals after a spray: when people may go in again, and when fruit may be picked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from math import ceil
from zoneinfo import ZoneInfo

from mixing.calculations import bare, fields, lists
from mixing.calculations.exact import Amount
from mixing.calculations.registry import calculation
from mixing.calculations.results import measured, result, whole
from mixing.calculations.worksheet import Worksheet
from mixing.catalogue import said
from mixing.reading import TIME

INTERVALS = lists.many(
    "intervals", "one of each product in the tank", fields.interval("interval", "an interval")
)
RULES = whole("rules", "which of `intervals` rules, counted from 0; the first where several are as long")


def _longest(intervals: Sequence[Amount]) -> int:
    return max(range(len(intervals)), key=lambda rank: (intervals[rank].base, -rank))


@calculation(
    does="When people may go into the block again: the longest re-entry interval of the tank.",
    inputs=(
        bare.moment("finished_at", "the end of the application, with its offset"),
        INTERVALS,
        bare.word("zone", "the farm's time zone, such as America/Los_Angeles").optional(),
    ),
    results=(
        result("until", "nobody goes in before", {"type": "string", "format": "date-time"}),
        RULES,
        measured("interval", TIME, "the interval that rules"),
    ),
    sources=("wps-rei",),
    example={
        "finished_at": "2027-01-29T08:00:00-08:00",
        "intervals": [{"value": "48", "unit": "h"}, {"value": "4", "unit": "h"}],
    },
)
def re_entry(
    sheet: Worksheet, *, finished_at: datetime, intervals: Sequence[Amount], zone: str | None = None
) -> Mapping[str, object]:
    """until = end of application + longest interval; a day is 24 hours."""
    place = _zone(sheet, zone) if zone is not None else None
    rules = _longest(intervals)
    longest = intervals[rules]
    span = timedelta(microseconds=ceil(longest.base * 1_000_000))
    until = (finished_at.astimezone(UTC) + span).astimezone(place or finished_at.tzinfo)
    sheet.note(said("step.longest", all=", ".join(str(one) for one in intervals), longest=longest))
    sheet.note(said("step.until", start=finished_at.isoformat(), longest=longest, until=until.isoformat()))
    return {"until": until.isoformat(), "rules": rules, "interval": sheet.answer("interval", longest)}


def _zone(sheet: Worksheet, name: str) -> ZoneInfo | None:
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        sheet.refuse("zone", "invalid", said("fault.unknown_zone", name=repr(name[:40])))
        return None


@calculation(
    does="The first day on which fruit may be picked: the longest pre-harvest interval of the tank.",
    inputs=(bare.day("applied_on", "the day of the application"), INTERVALS),
    results=(
        result("not_before", "fruit is not picked before this day", {"type": "string", "format": "date"}),
        RULES,
        measured("interval", TIME, "the interval that rules"),
    ),
    sources=("label-phi",),
    example={
        "applied_on": "2027-05-01",
        "intervals": [{"value": "21", "unit": "d"}, {"value": "7", "unit": "d"}],
    },
)
def harvest(sheet: Worksheet, *, applied_on: date, intervals: Sequence[Amount]) -> Mapping[str, object]:
    """not before = day of application + days of the longest interval; hours count as begun days."""
    rules = _longest(intervals)
    longest = intervals[rules]
    days = ceil(longest.base / 86400)
    not_before = applied_on + timedelta(days=days)
    sheet.note(said("step.longest", all=", ".join(str(one) for one in intervals), longest=longest))
    sheet.note(said("step.not_before", start=applied_on.isoformat(), days=days, day=not_before.isoformat()))
    return {
        "not_before": not_before.isoformat(),
        "rules": rules,
        "interval": sheet.answer("interval", longest),
    }
