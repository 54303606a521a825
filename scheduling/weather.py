"""Weather as it comes in: one hour, or one day where only the day's values exist."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from mixing.quantities import Quantity


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
