"""Weather as it comes in: one hour, or one day where only the day's values exist."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from mixing.quantities import Quantity

MEASURABLE_RAIN = Decimal("0.1")
"""Millimetres; less is a trace, which gauges report as 0."""


@dataclass(frozen=True, slots=True)
class WeatherHour:
    """One hour from `at` on; what is not known is None, and never taken as fine.

    :ivar kind: `observed` or `forecast`
    :ivar rain: rain of this hour
    """

    at: datetime
    kind: str
    temperature: Quantity | None = None
    humidity_percent: Decimal | None = None
    wind: Quantity | None = None
    gust: Quantity | None = None
    rain: Quantity | None = None
    leaf_wet: bool | None = None


def whole_hour(parts: Sequence[WeatherHour]) -> WeatherHour:
    """Return one hour from reports of its parts, all of one kind and station.

    Rain adds up and the strongest wind is the gust, so that a squall of ten minutes closes the hour; what one
    part does not know the hour does not know, unless the others say enough.
    """
    if len(parts) == 1:
        return parts[0]
    return WeatherHour(
        at=parts[0].at,
        kind=parts[0].kind,
        temperature=_temperature([one.temperature for one in parts]),
        humidity_percent=max(
            (one.humidity_percent for one in parts if one.humidity_percent is not None), default=None
        ),
        wind=_mean([one.wind for one in parts], "m/s"),
        gust=_strongest(one for part in parts for one in (part.wind, part.gust)),
        rain=_fallen([one.rain for one in parts]),
        leaf_wet=_any([one.leaf_wet for one in parts]),
    )


def _mean(values: Sequence[Quantity | None], unit: str) -> Quantity | None:
    known = [one.in_base() for one in values if one is not None]
    return Quantity(sum(known, Decimal(0)) / len(known), unit) if len(known) == len(values) else None


def _temperature(values: Sequence[Quantity | None]) -> Quantity | None:
    """Return the mean; the lowest where there was frost."""
    lowest = min((one for one in values if one is not None), key=Quantity.in_base, default=None)
    return lowest if lowest is not None and lowest.in_base() <= 0 else _mean(values, "degC")


def _strongest(values: Iterable[Quantity | None]) -> Quantity | None:
    return max((one for one in values if one is not None), key=Quantity.in_base, default=None)


def _fallen(values: Sequence[Quantity | None]) -> Quantity | None:
    known = [one.to("mm").value for one in values if one is not None]
    total = sum(known, Decimal(0))
    return None if len(known) < len(values) and total < MEASURABLE_RAIN else Quantity(total, "mm")


def _any(values: Sequence[bool | None]) -> bool | None:
    return True if True in values else None if None in values else False


@dataclass(frozen=True, slots=True)
class WeatherDay:
    """One day; `wind` is the mean of the day, `rain` its total, `minimum` that of the night before."""

    on: date
    minimum: Quantity | None
    maximum: Quantity | None
    rain: Quantity | None
    wind: Quantity | None
    humidity_percent: Decimal | None = None

    @property
    def mean(self) -> Quantity | None:
        """Half-way between minimum and maximum, in degC."""
        if self.minimum is None or self.maximum is None:
            return None
        return Quantity((self.minimum.in_base() + self.maximum.in_base()) / 2, "degC")
