"""What the heat of a day asks of those who work in it: water, shade, rest; each with its source.

The table is `heat.toml`. Where no weather is stored nothing is known, and nothing is said to be fine.
"""

from __future__ import annotations

import datetime as dt
import functools
import tomllib
from decimal import Decimal
from pathlib import Path
from typing import Any

from mixing.quantities import EXACT, Quantity, parse_quantity, plain
from orchard.blocks import queries as blocks
from orchard.farms.models import Farm
from orchard.tasks.services import checking

TABLE = Path(__file__).parent / "heat.toml"
LANGUAGES = ("en", "es")


@functools.cache
def _table() -> dict[str, Any]:
    return tomllib.loads(TABLE.read_text("utf-8"))


def advice(
    *, farm: Farm, on: dt.date, people: int, hours: Decimal | None = None, language: str = "en"
) -> dict[str, Any] | None:
    """Return what a day's heat asks for; None where no weather of that day is stored.

    :param hours: length of the work [h]; the water is told per hour where it is not known
    :returns: `highest`, `people`, `hours`, `water` (for all, over all hours), `points` [{code, says, source}]
    """
    highest = _highest(farm, on=on)
    if highest is None:
        return None
    points = [_point(one, language) for one in _table()["point"] if _reached(highest, one["from"])]
    return {
        "on": on.isoformat(),
        "highest": highest.as_json(),
        "people": people,
        "hours": None if hours is None else plain(hours, 2),
        "water": _water(people, hours) if points else None,
        "points": points,
    }


def _highest(farm: Farm, *, on: dt.date) -> Quantity | None:
    """Return the highest temperature of a day by the stored days, else by the stored hours."""
    found = [day.maximum for day in blocks.days(farm=farm, since=on, until=on) if day.maximum is not None]
    if not found:
        midnight = dt.datetime.combine(on, dt.time(), tzinfo=checking.zone(farm))
        hours = blocks.hours(farm=farm, since=midnight, until=midnight + dt.timedelta(hours=24))
        found = [hour.temperature for hour in hours if hour.temperature is not None]
    return max(found, key=Quantity.in_base, default=None)


def _reached(highest: Quantity, bound: dict[str, str]) -> bool:
    return highest.in_base() >= parse_quantity(bound).in_base()


def _water(people: int, hours: Decimal | None) -> dict[str, str]:
    each = parse_quantity(_table()["water"]["per_person_per_hour"])
    shifts = EXACT.multiply(Decimal(people), hours if hours is not None else Decimal(1))
    return Quantity(EXACT.multiply(each.value, shifts), each.unit).as_json()


def _point(one: dict[str, Any], language: str) -> dict[str, Any]:
    source = _table()["sources"][one["source"]]
    return {
        "code": one["code"],
        "says": one[language if language in LANGUAGES else "en"],
        "source": {
            "title": source["title"],
            "publisher": source["publisher"] or None,
            "year": source.get("year"),
            "where": ", ".join(filter(None, (source["where"], one["locator"]))) or None,
        },
    }
