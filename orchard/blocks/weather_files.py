"""Weather from a file: a documented CSV or JSON form that any provider's can be turned into.

CSV, hours: a header `at, kind, temperature [degC], humidity_percent, wind [m/s], gust [m/s], wind_direction,
rain [mm], leaf_wet`; days: `on, kind, minimum [degC], maximum [degC], mean [degC], humidity_percent,
wind [m/s], gust [m/s], wind_direction, rain [mm]`. Any unit of the kind may stand in the brackets; columns
may be missing and in any order; an empty cell is not known. `at` is RFC 3339 with an offset, or a local time
with the zone told beside the file: of an hour that a clock change brings twice the first row is the first,
and one that it leaves out is a fault. JSON: what `POST weather/hours` and `weather/days` take.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import re
import zoneinfo
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from mixing.quantities import Quantity, QuantityError, parse_decimal, parse_quantity, unit
from orchard.api.refusals import Fault, Unprocessable
from orchard.api.spoken import of_engine
from orchard.blocks.weather_sense import gaps

AMOUNTS = {
    "temperature": "temperature",
    "minimum": "temperature",
    "maximum": "temperature",
    "mean": "temperature",
    "wind": "length/time",
    "gust": "length/time",
    "rain": "length",
}
OF_HOURS = (
    "at",
    "kind",
    "temperature",
    "humidity_percent",
    "wind",
    "gust",
    "wind_direction",
    "rain",
    "leaf_wet",
)
OF_DAYS = (
    "on",
    "kind",
    "minimum",
    "maximum",
    "mean",
    "humidity_percent",
    "wind",
    "gust",
    "wind_direction",
    "rain",
)
KINDS = ("observed", "forecast")
YES_NO = {"true": True, "1": True, "yes": True, "false": False, "0": False, "no": False}
HEADER = re.compile(r"\s*(?P<name>\w+)\s*(?:\[(?P<unit>[^\]]+)\])?\s*\Z")
MOST_FAULTS = 50
FIRST_YEAR, LAST_YEAR = 1900, 2200


class NoSuchValue(ValueError):
    """A cell that holds no value of its column."""


@dataclass(frozen=True, slots=True)
class Read:
    """What a file holds.

    :ivar when: `at` for hours, `on` for days
    :ivar duplicates: how many rows tell of a time that another row of the file tells of: the last one counts
    :ivar gaps: the hours missing in between, after which and before which
    """

    when: str
    rows: list[dict[str, Any]]
    duplicates: int
    gaps: list[tuple[dt.datetime, dt.datetime]]


def read(text: str, *, zone: zoneinfo.ZoneInfo | None = None, kind: str | None = None) -> Read:
    """Return the rows of a file.

    :param zone: of local times without an offset
    :param kind: `observed` or `forecast`, where the file has no such column
    :raises Unprocessable: with the faults of all rows, fifty at most; rows are counted from 1
    """
    raw = _of_json(text) if text.lstrip().startswith(("{", "[")) else _of_csv(text)
    faults: list[Fault] = []
    rows = list(_rows(raw, zone, kind, faults))
    if faults:
        raise Unprocessable(*faults[:MOST_FAULTS])
    when = "at" if not rows or "at" in rows[0] else "on"
    for number, row in enumerate(rows, start=1):
        if when not in row:
            says = _("one file holds hours or days, not both")
            raise Unprocessable(Fault("invalid", says, f"/{number}"))
    keys = [(row[when], row["kind"]) for row in rows]
    hours = [row["at"] for row in rows] if when == "at" else []
    return Read(when, rows, len(keys) - len(set(keys)), gaps(hours))


def _of_csv(text: str) -> Iterator[dict[str, Any]]:
    lines = csv.reader(io.StringIO(text))
    header = next(lines, [])
    columns = [_column(place, name) for place, name in enumerate(header)]
    names = [name for name, unit_of in columns]
    if ("at" in names) == ("on" in names):
        raise Unprocessable(
            Fault("required", _("the header has a column `at` for hours, or `on` for days"), "/0")
        )
    for place, name in enumerate(names):
        if name in names[:place]:
            says = _("%(name)s stands twice in the header") % {"name": name}
            raise Unprocessable(Fault("invalid", says, f"/0/{place}"))
    number = 0
    for cells in lines:
        if not any(cell.strip() for cell in cells):
            continue
        number += 1
        if len(cells) > len(columns):
            says = _("has more cells than the header has columns: is there a comma within a number?")
            raise Unprocessable(Fault("invalid", says, f"/{number}"))
        yield {
            name: {"value": cell.strip(), "unit": of} if of else cell.strip()
            for (name, of), cell in zip(columns, cells, strict=False)
            if cell.strip()
        }


def _column(place: int, text: str) -> tuple[str, str | None]:
    found = HEADER.match(text.lstrip("\ufeff"))
    name = found["name"] if found else text.strip()
    if found is None or name not in {*OF_HOURS, *OF_DAYS}:
        known = ", ".join(dict.fromkeys((*OF_HOURS, *OF_DAYS)))
        raise Unprocessable(
            Fault(
                "unknown_field",
                _("%(text)s is no column: they are %(known)s") % {"text": repr(text.strip()), "known": known},
                f"/0/{place}",
            )
        )
    if name in AMOUNTS and not found["unit"]:
        raise Unprocessable(
            Fault(
                "required",
                _("say the unit of %(name)s: `%(name)s [degC]`, `[mm]` …") % {"name": name},
                f"/0/{place}",
            )
        )
    if found["unit"] is None:
        return name, None
    try:
        return name, unit(found["unit"].strip()).name
    except QuantityError as fault:
        raise Unprocessable(Fault(fault.code, of_engine(fault), f"/0/{place}")) from None


def _of_json(text: str) -> list[Any]:
    try:
        whole = json.loads(text)
    except json.JSONDecodeError as wrong:
        raise Unprocessable(Fault("invalid", _("this is no JSON: %(wrong)s") % {"wrong": wrong})) from None
    items = whole.get("items") if isinstance(whole, dict) else whole
    if not isinstance(items, list):
        raise Unprocessable(Fault("required", _('the file is {"items": [rows]}'), "/items"))
    return items


def _rows(
    raw: Iterator[dict[str, Any]] | Sequence[Any],
    zone: zoneinfo.ZoneInfo | None,
    kind: str | None,
    faults: list[Fault],
) -> Iterator[dict[str, Any]]:
    told: set[tuple[str, str]] = set()
    for number, one in enumerate(raw, start=1):
        if not isinstance(one, Mapping):
            faults.append(Fault("invalid", _("a row is an object"), f"/{number}"))
            continue
        row: dict[str, Any] = {}
        for name, value in {"kind": kind, **one}.items():
            try:
                row[name] = _value(name, value, zone, told, str(one.get("kind") or kind))
            except QuantityError as wrong:
                faults.append(Fault(wrong.code, of_engine(wrong), f"/{number}/{name}"))
            except NoSuchValue as wrong:
                faults.append(Fault("invalid", str(wrong), f"/{number}/{name}"))
        if len({"at", "on"} & set(row)) != 1 and not faults:
            says = _("a row says its time: `at` of an hour or `on` of a day")
            faults.append(Fault("required", says, f"/{number}"))
        faults.extend(_strange(row, number))
        yield row


def _strange(row: Mapping[str, Any], number: int) -> Iterator[Fault]:
    """Yield a fault for each value of a row of an hour that only days have, or the other way round."""
    known = OF_DAYS if "on" in row else OF_HOURS
    for name in row:
        if name not in known and name in {*OF_HOURS, *OF_DAYS}:
            says = _("an hour has no %(name)s") if known is OF_HOURS else _("a day has no %(name)s")
            yield Fault("unknown_field", says % {"name": name}, f"/{number}/{name}")


def _value(
    name: str, value: Any, zone: zoneinfo.ZoneInfo | None, told: set[tuple[str, str]], kind: str
) -> Any:
    if value is None:
        if name == "kind":
            raise NoSuchValue(_("say whether it was observed or forecast: a column `kind`, or --kind"))
        return None
    if name in AMOUNTS:
        return _amount(name, value)
    match name:
        case "at":
            return _moment(str(value), zone, told, kind)
        case "on":
            return _day(str(value))
        case "kind" if value in KINDS:
            return value
        case "humidity_percent":
            return _between(parse_decimal(str(value)), 0, 100)
        case "wind_direction":
            return _between(int(str(value)) if str(value).isdecimal() else -1, 0, 360)
        case "leaf_wet":
            return _yes_no(value)
    if name == "kind":
        raise NoSuchValue(_("is one of %(choices)s") % {"choices": ", ".join(KINDS)})
    raise NoSuchValue(_("there is no such column"))


def _day(text: str) -> dt.date:
    try:
        day = dt.date.fromisoformat(text)
        _in_our_time(day.year)
        return day
    except ValueError:
        says = _("%(text)s is no day: write it as 2027-01-29")
        raise NoSuchValue(says % {"text": repr(text[:40])}) from None


def _in_our_time(year: int) -> None:
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise ValueError(year)


def _amount(name: str, value: Any) -> Quantity:
    found = parse_quantity(value, dimensions=(AMOUNTS[name],))
    if AMOUNTS[name] != "temperature" and found.value < 0:
        raise NoSuchValue(_("is not below zero"))
    return found


def _between(value: Any, low: int, high: int) -> Any:
    if not low <= value <= high:
        raise NoSuchValue(_("lies between %(low)s and %(high)s") % {"low": low, "high": high})
    return value


def _yes_no(value: Any) -> bool:
    found = value if isinstance(value, bool) else YES_NO.get(str(value).lower())
    if found is None:
        raise NoSuchValue(_("is true or false"))
    return found


def _moment(text: str, zone: zoneinfo.ZoneInfo | None, told: set[tuple[str, str]], kind: str) -> dt.datetime:
    """Return a moment; a local one in its zone, told twice where clocks go back."""
    try:
        moment = dt.datetime.fromisoformat(text)
        _in_our_time(moment.year)
    except ValueError:
        says = _("%(text)s is no moment: write it as 2027-01-29T08:00:00-08:00")
        raise NoSuchValue(says % {"text": repr(text[:40])}) from None
    if moment.tzinfo is not None:
        return moment.astimezone(dt.UTC)
    if zone is None:
        raise NoSuchValue(_("has an offset, as 2026-12-18T10:00:00-08:00; or say the zone of local times"))
    again = (moment.isoformat(), kind) in told
    told.add((moment.isoformat(), kind))
    here = moment.replace(tzinfo=zone, fold=int(again))
    if here.astimezone(dt.UTC).astimezone(zone).replace(tzinfo=None) != moment:
        raise NoSuchValue(_("there is no such hour in %(zone)s: the clocks go forward then") % {"zone": zone})
    return here.astimezone(dt.UTC)
