"""The windows of one work order, from plain values: what `orchard` asks for by the name in its settings."""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from mixing.quantities import parse_quantity
from scheduling.bounds import Bound, in_force, of_farm, of_label
from scheduling.sky import Sky, sky_of
from scheduling.sun import nights, spot_of
from scheduling.weather import WeatherHour, whole_hour
from scheduling.windows import Place, Window, windows_of

MEASURED = ("temperature", "humidity_percent", "wind", "gust", "rain", "leaf_wet")


def of_order(**asked: Any) -> list[dict[str, Any]]:
    """Return the windows in order of time: `since`, `until`, `open`, `closed_by` of `limit`, `basis`, `says`.

    :param asked: as `windows_for`
    """
    return [_shown(window) for window in windows_for(**asked)]


def windows_for(
    *,
    hours: Iterable[Any],
    zone: dt.tzinfo,
    spray: bool,
    since: dt.datetime | None = None,
    labels: Sequence[Mapping[str, Any]] = (),
    crop: str = "",
    limits: Mapping[str, Any] | None = None,
    re_entry: Sequence[tuple[str, dt.datetime]] = (),
    outlines: Sequence[Mapping[str, Any]] = (),
) -> tuple[Window, ...]:
    """Return the windows of one work order in order of time.

    :param hours: rows with `at`, `kind`, `station` and what was measured, in order
    :param since: windows begin here; hours before it tell of frost and rain that still count
    :param spray: False for work that weather does not close
    :param re_entry: whose re-entry intervals keep people out, "" for the block's own, and until when
    :param outlines: where the sun is reckoned for; the zone's town where there are none
    """
    sky = sky_of(hours_of(hours, zone))
    if sky is None:
        return ()
    limits = limits or {}
    bounds = bounds_of(labels, crop, limits) if spray else ()
    place = place_of(sky, zone=zone, limits=limits, re_entry=re_entry, outlines=outlines)
    return _from(since, windows_of(sky, bounds=bounds, place=place))


def _from(since: dt.datetime | None, windows: Iterable[Window]) -> tuple[Window, ...]:
    if since is None:
        return tuple(windows)
    return tuple(
        one if one.starts_at >= since else replace(one, starts_at=since.astimezone(one.starts_at.tzinfo))
        for one in windows
        if one.ends_at > since
    )


def place_of(
    sky: Sky,
    *,
    zone: dt.tzinfo,
    limits: Mapping[str, Any],
    re_entry: Sequence[tuple[str, dt.datetime]] = (),
    outlines: Sequence[Mapping[str, Any]] = (),
) -> Place:
    """Return what holds at the place apart from the weather."""
    spot = spot_of(outlines=outlines, zone=str(zone))
    first, last = sky.at(0).date(), sky.at(len(sky)).date()
    return Place(
        nights=None if spot is None else nights(spot, since=first, until=last),
        quiet=quiet_hours(limits),
        re_entry=tuple((whose, until.astimezone(zone)) for whose, until in re_entry),
    )


def quiet_hours(limits: Mapping[str, Any]) -> tuple[dt.time, dt.time] | None:
    """Return from when until when a farm is quiet; may pass midnight."""
    ends = [limits.get(name) for name in ("quiet_from", "quiet_until")]
    if None in ends:
        return None
    start, end = (int(parse_quantity(one).in_base()) % 86400 for one in ends)
    return _clock(start), _clock(end)


def _clock(seconds: int) -> dt.time:
    return dt.time(seconds // 3600, seconds // 60 % 60)


def bounds_of(labels: Sequence[Mapping[str, Any]], crop: str, limits: Mapping[str, Any]) -> tuple[Bound, ...]:
    """Return the limits in force for a mix on a crop."""
    of_labels = [bound for label in labels for bound in of_label(label, crop=crop)]
    return in_force(labels=of_labels, farm=of_farm(limits))


def hours_of(rows: Iterable[Any], zone: dt.tzinfo) -> Iterator[WeatherHour]:
    """Yield the hours that stored rows in order of time tell of, each once.

    What was observed goes before a forecast, and the last station by name before the others. Reports of ten
    minutes are put together to the hour that they begin in: none of their rain is lost.
    """
    for _at, parts in itertools.groupby(rows, key=lambda row: _hour_at(row.at, zone).astimezone(dt.UTC)):
        told = list(parts)
        best = max((row.kind, row.station) for row in told)
        yield whole_hour([_hour_of(row, zone) for row in told if (row.kind, row.station) == best])


def _hour_of(row: Any, zone: dt.tzinfo) -> WeatherHour:
    measured = {name: _sure(row, name) for name in MEASURED}
    return WeatherHour(at=_hour_at(row.at, zone), kind=row.kind, **measured)


def _hour_at(moment: dt.datetime, zone: dt.tzinfo) -> dt.datetime:
    return moment.astimezone(zone).replace(minute=0, second=0, microsecond=0)


def _sure(row: Any, name: str) -> Any:
    """Return what was measured; None where it is doubted."""
    return None if name in getattr(row, "doubts", ()) else getattr(row, name)


def _shown(window: Window) -> dict[str, Any]:
    return {
        "since": window.starts_at,
        "until": window.ends_at,
        "open": window.open,
        "closed_by": [
            {"limit": reason.limit.value, "basis": reason.basis.value, "says": reason.says}
            for reason in window.closed_by
        ],
    }
