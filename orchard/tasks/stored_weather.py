"""The weather at a moment from the farm's stored hours, as far as they reach without a gap."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from mixing.quantities import EXACT, Quantity, plain
from orchard.api.remembered import remembered
from orchard.blocks import queries as blocks
from orchard.blocks.models import WeatherHour
from orchard.farms.models import Farm

LOOK_AHEAD_H = 72

DRY = Decimal("0")

HOUR = dt.timedelta(hours=1)


@remembered
def stored_weather(*, farm: Farm, at: dt.datetime) -> dict[str, Any] | None:
    """Return the weather at a moment from the stored hours; None where there is none.

    Hours until rain are counted as far as the stored hours reach without a gap; the minimum of the next
    24 h is given only where all of them are there.
    """
    hour = blocks.weather_at(farm=farm, at=at)
    if hour is None:
        return None
    ahead = _hours_ahead(farm=farm, at=at)
    found: dict[str, Any] = {
        "wind": _said(hour.sure("wind")),
        "temperature": _said(hour.sure("temperature")),
        "humidity_percent": plain(hour.humidity_percent) if hour.humidity_percent is not None else None,
        "rain_within_h": _dry_hours(ahead, at=at),
        "minimum_next_24h": _minimum(ahead[:24]),
    }
    return {name: value for name, value in found.items() if value is not None} or None


def _said(quantity: Quantity | None) -> dict[str, str] | None:
    return None if quantity is None else quantity.as_json()


def _hours_ahead(*, farm: Farm, at: dt.datetime) -> list[WeatherHour]:
    """Return one row an hour from the hour after a moment on, without a gap, observed before forecast."""
    rows = blocks.hours(farm=farm, since=at, until=at + LOOK_AHEAD_H * HOUR).order_by(
        "at", "-kind", "station"
    )
    line: list[WeatherHour] = []
    for row in rows:
        if line and row.at == line[-1].at:
            continue
        if row.at - (line[-1].at if line else at) > HOUR:
            break
        line.append(row)
    return line


def _dry_hours(ahead: Sequence[WeatherHour], *, at: dt.datetime) -> str | None:
    """Return the hours until rain, or until the stored hours end; None where none say."""
    known = None
    for row in ahead:
        if row.rain is None:
            break
        known = row.at
        if row.rain.value > DRY:
            break
    if known is None:
        return None
    return plain(EXACT.divide(Decimal((known - at).total_seconds()), Decimal(3600)), 1)


def _minimum(ahead: Sequence[WeatherHour]) -> dict[str, str] | None:
    known = [row.sure("temperature") for row in ahead if row.sure("temperature") is not None]
    if len(known) < 24:
        return None
    return min(known, key=lambda quantity: quantity.in_base()).as_json()
