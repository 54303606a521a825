"""Where the sun stands at a farm: nights from astral, and the place from outlines or the zone."""

from __future__ import annotations

import importlib.resources
import re
import zoneinfo
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from pathlib import Path
from typing import Any

from astral import Observer
from astral.sun import elevation, sunrise, sunset

AFTER_SUNRISE = timedelta(hours=1)
"""Still air may be an inversion from sunset until so long after sunrise (common practice, no source)."""
GUESSED = timedelta(minutes=45)
"""So much longer at both ends where only the zone says where the farm is (our estimate)."""
HORIZON = -0.833
TABLE = "zone.tab"
DEGREES = re.compile(r"([+-])(\d{2}|\d{3})(\d{2})(\d{2})?(?=[+-]|$)")


@dataclass(frozen=True, slots=True)
class Spot:
    """Latitude and longitude [degrees, north and east above zero]; guessed where taken from the zone."""

    latitude: float
    longitude: float
    guessed: bool = False


def spot_of(*, outlines: Iterable[Mapping[str, Any]], zone: str) -> Spot | None:
    """Return where a farm is: the middle of its outlines, else the town that its zone is named for."""
    points = [point for outline in outlines for point in outline["coordinates"][0]]
    if points:
        east, north = zip(*points, strict=True)
        return Spot(sum(north) / len(north), sum(east) / len(east))
    return _towns().get(zone)


@lru_cache(maxsize=1)
def _towns() -> dict[str, Spot]:
    """Return the town of each zone, from the table that comes with the time zones."""
    for text in _tables():
        rows = [line.split("\t") for line in text.splitlines() if line and not line.startswith("#")]
        return {row[2]: spot for row in rows if (spot := _read(row[1])) is not None}
    return {}


def _tables() -> Iterable[str]:
    for folder in zoneinfo.TZPATH:
        if (path := Path(folder) / TABLE).is_file():
            yield path.read_text(encoding="utf-8")
    try:
        yield importlib.resources.files("tzdata.zoneinfo").joinpath(TABLE).read_text(encoding="utf-8")
    except (ModuleNotFoundError, FileNotFoundError):
        return


def _read(text: str) -> Spot | None:
    found = [
        (int(degrees) + int(minutes) / 60 + int(seconds or 0) / 3600) * (-1 if sign == "-" else 1)
        for sign, degrees, minutes, seconds in DEGREES.findall(text)
    ]
    return Spot(found[0], found[1], guessed=True) if len(found) == 2 else None


def nights(spot: Spot, *, since: date, until: date) -> tuple[tuple[datetime, datetime], ...]:
    """Return from when until when still air may be an inversion, in UTC, for these local days and their ends.

    Where the sun does not set there is none; where it does not rise the whole day is one.
    """
    wider = GUESSED if spot.guessed else timedelta(0)
    return tuple(
        (dusk - wider, dawn + AFTER_SUNRISE + wider)
        for dusk, dawn in _dark(spot, since - timedelta(days=1), until + timedelta(days=1))
    )


def _dark(spot: Spot, since: date, until: date) -> Iterable[tuple[datetime, datetime]]:
    days = [since + timedelta(days=step) for step in range((until - since).days + 1)]
    moments = [_rise_and_set(spot, on) for on in days]
    dusk: datetime | None = None
    for on, (rises, sets) in zip(days, moments, strict=True):
        begins = datetime.combine(on, datetime.min.time(), UTC) - timedelta(hours=spot.longitude / 15)
        if rises is None or sets is None:
            if _is_up(spot, begins + timedelta(hours=12)):
                if dusk is not None:
                    yield dusk, begins
                dusk = None
            else:
                yield dusk or begins, begins + timedelta(days=1)
                dusk = begins + timedelta(days=1)
            continue
        if dusk is not None:
            yield dusk, rises
        dusk = sets
    if dusk is not None:
        yield dusk, datetime.combine(until, datetime.min.time(), UTC) + timedelta(days=2)


def _rise_and_set(spot: Spot, on: date) -> tuple[datetime | None, datetime | None]:
    place = Observer(spot.latitude, spot.longitude)
    try:
        rises, sets = sunrise(place, date=on, tzinfo=UTC), sunset(place, date=on, tzinfo=UTC)
    except ValueError:  # it does not cross the horizon twice: the day counts as all light or all dark
        return None, None
    return rises, sets if sets > rises else sets + timedelta(days=1)


def _is_up(spot: Spot, at: datetime) -> bool:
    return bool(elevation(Observer(spot.latitude, spot.longitude), at) > HORIZON)
