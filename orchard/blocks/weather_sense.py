"""Whether a weather report can be true: what is refused, what is doubted, what is old.

A doubted value is kept as it came, named in `doubts` of its row, and taken as not known by whatever asks. No
value is ever changed: a temperature in degF called degC is for whoever sent it to put right.
"""

from __future__ import annotations

import datetime as dt
import statistics
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any

from django.utils.translation import gettext as _

from mixing.quantities import Quantity
from orchard.api.refusals import Fault

TABLE = Path(__file__).with_name("weather_sense.toml")
TEMPERATURES = ("temperature", "minimum", "maximum", "mean")
WINDS = ("wind", "gust")
NEAR = dt.timedelta(hours=2)
CLOCKS = dt.timedelta(minutes=5)
"""So far two clocks may be apart."""
Row = Mapping[str, Any]


@lru_cache(maxsize=1)
def _table() -> dict[str, Any]:
    return tomllib.loads(TABLE.read_text(encoding="utf-8"))


@dataclass(frozen=True, slots=True)
class Doubt:
    """A value that is likely wrong: which row, which column, and the sentence for whoever sent it.

    :ivar code: `spike`, `unit_suspect` or `gust_below_wind`
    """

    place: int
    name: str
    code: str
    says: str


def impossible(rows: Sequence[Row]) -> Iterator[Fault]:
    """Yield a fault for each value that nothing on Earth ever had, and for each day upside down."""
    limits = _table()["impossible"]
    for place, row in enumerate(rows):
        rain = "hour_rain" if "at" in row else "day_rain"
        kinds = [*((name, "temperature") for name in TEMPERATURES), *((name, "wind") for name in WINDS)]
        for name, kind in [*kinds, ("rain", rain)]:
            value: Quantity | None = row.get(name)
            if value is not None:
                yield from _outside(value, limits[kind], f"/items/{place}/{name}/value")
        low, high = row.get("minimum"), row.get("maximum")
        if low is not None and high is not None and low.in_base() > high.in_base():
            yield Fault("invalid", _("the minimum is above the maximum"), f"/items/{place}/minimum")


def ahead(rows: Sequence[Row], *, now: dt.datetime, today: dt.date) -> Iterator[Fault]:
    """Yield a fault for each hour and day that was told as observed and is still to come.

    :param today: the farm's
    """
    says = _(
        "this is still to come: nobody has observed it. Post it as a forecast, or look at the date and zone"
    )
    for place, row in enumerate(rows):
        if row.get("kind") == "observed":
            if row.get("at") is not None and row["at"] > now + CLOCKS:
                yield Fault("time_in_future", says, f"/items/{place}/at")
            elif row.get("on") is not None and row["on"] > today:
                yield Fault("time_in_future", says, f"/items/{place}/on")


def _outside(value: Quantity, limit: Mapping[str, str], pointer: str) -> Iterator[Fault]:
    here = value.to(limit["unit"]).value
    if not Decimal(limit["least"]) <= here <= Decimal(limit["most"]):
        facts = {"value": f"{value.value} {value.unit}"}
        if value.unit == "degC" and here > 0:
            says = _("%(value)s was never measured on Earth: is it degF?") % facts
        else:
            says = _("%(value)s was never measured on Earth: is the unit right?") % facts
        yield Fault("out_of_range", says, pointer)


def doubts(
    rows: Sequence[Row], *, near: Sequence[float] = (), beside: Sequence[Row] = (), before: Sequence[Row] = ()
) -> list[Doubt]:
    """Return what is likely wrong in rows of one station, in their order; places past their end are `beside`.

    A station that posts each hour by itself is judged by what it posted before: one row tells nothing.

    :param near: temperatures [degC] of the days before and after that are stored and not doubted
    :param beside: hours next to the rows that are stored and not doubted; of them spikes are found
    :param before: the latest hours before the rows as they were posted, doubted or not
    """
    found = [*_gusts(rows), *_spikes([*rows, *beside])]
    for name in TEMPERATURES:
        of_days = near if name in ("temperature", "mean") else ()
        found += _fahrenheit(rows, name, of_days, before if name == "temperature" else ())
    return sorted(found, key=lambda one: (one.place, one.name))


def _gusts(rows: Sequence[Row]) -> Iterator[Doubt]:
    for place, row in enumerate(rows):
        wind, gust = row.get("wind"), row.get("gust")
        if wind is not None and gust is not None and gust.in_base() < wind.in_base():
            says = f"a gust of {gust.value} {gust.unit} below the wind of {wind.value} {wind.unit}"
            yield Doubt(place, "gust", "gust_below_wind", says)


def _spikes(rows: Sequence[Row]) -> Iterator[Doubt]:
    """Yield single hours that lie far from both neighbours, which agree."""
    limits = _table()["doubtful"]
    hours = sorted(
        (row["at"], place, float(row["temperature"].in_base()))
        for place, row in enumerate(rows)
        if row.get("at") is not None and row.get("temperature") is not None
    )
    for before, here, after in zip(hours, hours[1:], hours[2:], strict=False):
        if after[0] - before[0] > NEAR:
            continue
        middle = (before[2] + after[2]) / 2
        agree = abs(before[2] - after[2]) <= limits["neighbours_degC"]
        if agree and abs(here[2] - middle) > limits["spike_degC"]:
            says = f"{here[2]:.1f} degC between {before[2]:.1f} and {after[2]:.1f} degC"
            yield Doubt(here[1], "temperature", "spike", says)


def _fahrenheit(
    rows: Sequence[Row], name: str, near: Sequence[float], before: Sequence[Row]
) -> Iterator[Doubt]:
    """Yield values in degC that are likely degF: too warm together, or far from the days on either side."""
    limits = _table()["doubtful"]
    said = _in_celsius(rows, name)
    wanted = max(0, limits["fahrenheit_rows"] - len(said))
    earlier = _in_celsius(before, name)
    series = (
        [value for _, value in (*earlier[len(earlier) - wanted :], *said)] if wanted <= len(earlier) else []
    )
    if not said or len(series) < limits["fahrenheit_rows"]:
        return
    middle = statistics.median(series)
    hot = middle > limits["fahrenheit_from_degC"]
    if not hot and near:
        usual = statistics.median(near)
        turned = (middle - 32) / 1.8
        far = abs(middle - usual) > limits["jump_degC"]
        hot = far and abs(turned - usual) < limits["fits_degC"]
    if hot:
        for place, value in said:
            yield Doubt(place, name, "unit_suspect", f"{value:g} degC: likely degF")


def _in_celsius(rows: Sequence[Row], name: str) -> list[tuple[int, float]]:
    return [
        (place, float(row[name].value))
        for place, row in enumerate(rows)
        if row.get(name) is not None and row[name].unit == "degC"
    ]


def gaps(moments: Sequence[dt.datetime]) -> list[tuple[dt.datetime, dt.datetime]]:
    """Return the hours that are missing between hours in order: after which, before which."""
    ordered = sorted(set(moments))
    hour = dt.timedelta(hours=1)
    return [(one, other) for one, other in pairwise(ordered) if other - one > hour]


def is_stale(*, kind: str, received_at: dt.datetime, now: dt.datetime) -> bool:
    """Say whether a forecast is so old that there should be a newer one; what was observed stays true."""
    return kind == "forecast" and received_at < stale_before(now)


def stale_before(now: dt.datetime) -> dt.datetime:
    """Return the moment; a forecast that was received before it is stale."""
    return now - dt.timedelta(hours=_table()["stale"]["forecast_hours"])
