"""What is likely wrong in weather that comes in, judged by what its station posted before and after."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

from orchard.blocks import weather_sense
from orchard.blocks.models import WeatherHour
from orchard.farms.models import Farm

TWO_DAYS = dt.timedelta(days=2)
HALF_A_DAY = dt.timedelta(hours=12)
Row = Mapping[str, Any]


def of_rows(
    model: Any, when: str, *, farm: Farm, station: str, rows: Sequence[Row]
) -> list[weather_sense.Doubt]:
    """Return what is likely wrong in rows; a stored hour that they show to be a spike is doubted then."""
    if not rows:
        return []
    near = _near(model, when, farm=farm, station=station, rows=rows)
    beside = _beside(farm=farm, station=station, rows=rows) if when == "at" else []
    first = min(row[when] for row in rows)
    found = weather_sense.doubts(
        rows,
        near=near,
        beside=[{"at": one.at, "temperature": one.sure("temperature")} for one in beside],
        before=[{"temperature": one.temperature} for one in beside if one.at < first],
    )
    for doubt in found:
        if doubt.place >= len(rows):
            _doubt(beside[doubt.place - len(rows)], doubt.name)
    return [one for one in found if one.place < len(rows)]


def _doubt(row: WeatherHour, name: str) -> None:
    WeatherHour.objects.filter(pk=row.pk).update(doubts=sorted({*row.doubts, name}))


def _beside(*, farm: Farm, station: str, rows: Sequence[Row]) -> list[WeatherHour]:
    """Return the hours that a station posted for half a day about the rows, of the kind of the first."""
    times = [row["at"] for row in rows]
    around = WeatherHour.objects.for_farm(farm).filter(
        station=station,
        kind=rows[0]["kind"],
        at__gte=min(times) - HALF_A_DAY,
        at__lte=max(times) + HALF_A_DAY,
    )
    return list(around.exclude(at__in=times).order_by("at", "id"))


def _near(model: Any, when: str, *, farm: Farm, station: str, rows: Sequence[Row]) -> list[float]:
    """Return temperatures [degC] of the station within two days of the rows, of other times."""
    times = [row[when] for row in rows]
    near = {f"{when}__gte": min(times) - TWO_DAYS, f"{when}__lte": max(times) + TWO_DAYS}
    name = "temperature" if when == "at" else "mean"
    there = model.objects.for_farm(farm).filter(station=station, **near).exclude(**{f"{when}__in": times})
    found = [row.sure(name) for row in there.order_by(when, "id")]
    return [float(value.in_base()) for value in found if value is not None]
