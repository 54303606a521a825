"""What is likely left of the last spray after rain and time, and whether it is time to spray again.

`low` is the worst that a source gives, `high` the best, `likely` half for each 25 mm of rain. The rule of
when to spray again is that of the calculator `wash_off`: 2 in of rain, or 1 in on a deposit of 7 days. It is
told of copper and other protectants; what goes into the plant is another matter. A label's interval and its
yearly number hold, whatever rain has done.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache
from pathlib import Path
from typing import Any

from mixing.calculations import calculate

TABLE = Path(__file__).with_name("cover.toml")
DAY = timedelta(days=1)
LIMITS = (
    "Measured on kiwifruit, citrus and grapes, not on peach buds; heavy rain takes more than drizzle, and "
    "what had not dried takes no rain at all. Growth since the spray is bare: no cover is on it."
)


@lru_cache(maxsize=1)
def _table() -> dict[str, Any]:
    return tomllib.loads(TABLE.read_text(encoding="utf-8"))


@dataclass(frozen=True, slots=True)
class Cover:
    """What is left of a spray, in per cent of what was put on, and when to spray again.

    :ivar rain: since the spray [mm], known hours only; `unknown_hours` are those without a gauge
    :ivar spray_again: the published rule says so
    :ivar not_before: when the label's interval ends; never overruled
    """

    sprayed_at: datetime
    rain: float
    unknown_hours: int
    low: int
    likely: int
    high: int
    spray_again: bool
    not_before: datetime | None
    says: str


def cover(
    *,
    sprayed_at: datetime,
    at: datetime,
    rain: float,
    unknown_hours: int = 0,
    interval: timedelta | None = None,
) -> Cover:
    """Return what is likely left.

    :param rain: since the spray had dried [mm]
    :param interval: the label's shortest time between two sprays
    """
    days = max(0.0, (at - sprayed_at) / DAY)
    rule = calculate(
        "wash_off",
        {
            "rain": {"value": f"{rain:.2f}", "unit": "mm"},
            "age": {"value": f"{days:.2f}", "unit": "d"},
        },
    )
    by_rule = float(str(rule["left_percent"]))
    table = _table()
    weathered = 100 * (1 - table["weathering"]["lost_percent"] / 100) ** (days / table["weathering"]["days"])
    likely = 100 * 0.5 ** (rain / table["half_by_rain"]["mm"])
    again = bool(rule["spray_again"])
    not_before = None if interval is None else sprayed_at + interval
    return Cover(
        sprayed_at=sprayed_at,
        rain=round(rain, 1),
        unknown_hours=unknown_hours,
        low=round(min(by_rule, weathered, likely)),
        likely=round(likely),
        high=100,
        spray_again=again,
        not_before=not_before,
        says=_says(again, unknown_hours, not_before, at),
    )


def _says(again: bool, unknown_hours: int, not_before: datetime | None, at: datetime) -> str:
    said = ["spray again" if again else "no need yet by the rule"]
    if again and not_before is not None and at < not_before:
        said = [f"the rain has taken much, but the label's interval holds until {not_before:%Y-%m-%d %H:%M}"]
    if unknown_hours:
        said.append(f"rain of {unknown_hours} h is not known: there may be less left")
    return "; ".join(said)
