"""What is likely left of the last spray after rain and time, and whether it is time to spray again.

`low` is the worst that a source gives, `high` the best, `likely` half for each 25 mm of rain. The rule of
when to spray again is that of the calculator `wash_off`: 2 in of rain, or 1 in on a deposit of 7 days. It is
told of copper and other protectants; what goes into the plant is another matter. Rain before it had dried
leaves nothing to count on. A label's interval and its yearly number hold, whatever rain has done.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache
from pathlib import Path
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from mixing.calculations import calculate

TABLE = Path(__file__).with_name("cover.toml")
DAY = timedelta(days=1)
LIMITS = gettext_lazy(
    "Measured on kiwifruit, citrus and grapes, not on peach buds; heavy rain takes more than drizzle, and"
    " what had not dried takes no rain at all. Growth since the spray is bare: no cover is on it."
)


@lru_cache(maxsize=1)
def _table() -> dict[str, Any]:
    return tomllib.loads(TABLE.read_text(encoding="utf-8"))


@dataclass(frozen=True, slots=True)
class Rain:
    """Rain since a spray, as far as it was measured.

    :ivar fell: in all [mm]
    :ivar unknown_hours: hours without a gauge; a forecast of that time is none
    :ivar undried: it rained before the spray had dried; None where nobody measured
    :ivar too_soon: it rained within the label's dry time; None where nobody measured or it has none
    """

    fell: float
    unknown_hours: int = 0
    undried: bool | None = False
    too_soon: bool | None = False


@dataclass(frozen=True, slots=True)
class Cover:
    """What is left of a spray, in per cent of what was put on, and when to spray again.

    :ivar rain: since the spray [mm], known hours only; `unknown_hours` are those without a gauge
    :ivar likely: None where too much of the rain is not known
    :ivar spray_again: the published rule says so
    :ivar not_before: when the label's interval ends; never overruled
    """

    sprayed_at: datetime
    rain: float
    unknown_hours: int
    low: int
    likely: int | None
    high: int
    spray_again: bool
    not_before: datetime | None
    says: str


def drying() -> timedelta:
    """Return how long a spray takes to dry."""
    return timedelta(hours=_table()["drying"]["hours"])


def cover(*, sprayed_at: datetime, at: datetime, rain: Rain, interval: timedelta | None = None) -> Cover:
    """Return what is likely left.

    :param interval: the label's shortest time between two sprays
    """
    days = max(0.0, (at - sprayed_at) / DAY)
    rule = calculate(
        "wash_off",
        {
            "rain": {"value": f"{rain.fell:.2f}", "unit": "mm"},
            "age": {"value": f"{days:.2f}", "unit": "d"},
        },
    )
    again = bool(rule["spray_again"]) or rain.undried is True
    low, likely = _left(rain, days, by_rule=float(str(rule["left_percent"])))
    not_before = None if interval is None else sprayed_at + interval
    return Cover(
        sprayed_at=sprayed_at,
        rain=round(rain.fell, 1),
        unknown_hours=rain.unknown_hours,
        low=low,
        likely=likely,
        high=100,
        spray_again=again,
        not_before=not_before,
        says=_says(again, rain, not_before, at),
    )


def _left(rain: Rain, days: float, *, by_rule: float) -> tuple[int, int | None]:
    """Return what is left at the worst, and likely [per cent]."""
    if rain.undried:
        return 0, 0
    table = _table()
    weathered = 100 * (1 - table["weathering"]["lost_percent"] / 100) ** (days / table["weathering"]["days"])
    half, unknown = table["half_by_rain"]["mm"], table["unknown"]
    likely = 100 * 0.5 ** (rain.fell / half)
    may_be = 0.5 ** (rain.unknown_hours * unknown["rain_mm_an_hour"] / half)
    unsure = rain.too_soon or rain.undried is None
    low = 0.0 if unsure else min(by_rule, weathered, likely) * may_be
    return round(low), round(likely) if rain.unknown_hours <= unknown["longest_h"] else None


def _says(again: bool, rain: Rain, not_before: datetime | None, at: datetime) -> str:
    said = [_("spray again") if again else _("no need yet by the rule")]
    if not again and rain.unknown_hours:
        said = [_("no need yet by the rule, as far as the rain is known")]
    if again and not_before is not None and at < not_before:
        says = _("the rain has taken much, but the label's interval holds until %(day)s")
        said = [says % {"day": f"{not_before:%Y-%m-%d %H:%M}"}]
    if rain.undried:
        said.append(_("it rained before the spray had dried: count on no cover"))
    elif rain.too_soon:
        said.append(_("it rained within the dry time that the label wants"))
    if rain.unknown_hours:
        says = _("rain of %(hours)s h is not known: there may be less left")
        said.append(says % {"hours": rain.unknown_hours})
    return "; ".join(said)
