"""The windows of one work order, from plain values: what `orchard` asks for by the name in its settings."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from scheduling.bounds import Bound, in_force, of_farm, of_label
from scheduling.weather import WeatherHour
from scheduling.windows import Place, Window, spray_windows

MEASURED = ("temperature", "humidity_percent", "wind", "gust", "rain", "leaf_wet")


def of_order(
    *,
    hours: Iterable[Any],
    zone: dt.tzinfo,
    spray: bool,
    labels: Sequence[Mapping[str, Any]] = (),
    crop: str = "",
    limits: Mapping[str, Any] | None = None,
    re_entry_until: dt.datetime | None = None,
) -> list[dict[str, Any]]:
    """Return the windows in order of time: `since`, `until`, `open`, `closed_by` of `limit`, `basis`, `says`.

    :param hours: rows with `at`, `kind` and what was measured; of one hour the last one counts
    :param spray: False for work that weather does not close
    """
    place = Place(re_entry_until=None if re_entry_until is None else re_entry_until.astimezone(zone))
    bounds = _bounds(labels, crop, limits or {}) if spray else ()
    return [
        _shown(window)
        for window in spray_windows((_hour(one, zone) for one in hours), bounds=bounds, place=place)
    ]


def _bounds(labels: Sequence[Mapping[str, Any]], crop: str, limits: Mapping[str, Any]) -> tuple[Bound, ...]:
    of_labels = [bound for label in labels for bound in of_label(label, crop=crop)]
    return in_force(labels=of_labels, farm=of_farm(limits))


def _hour(row: Any, zone: dt.tzinfo) -> WeatherHour:
    start = row.at.astimezone(zone).replace(minute=0, second=0, microsecond=0)
    return WeatherHour(at=start, kind=row.kind, **{name: getattr(row, name) for name in MEASURED})


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
