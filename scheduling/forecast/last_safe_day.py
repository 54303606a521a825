"""The last day on which a spray is still before bud colour in nine springs of ten."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from scheduling.forecast.records import Event, Forecast


@dataclass(frozen=True, slots=True)
class LastSafeDay:
    """The day, the forecast it rests on, and the sentence for a person."""

    on: date
    rests_on: Forecast
    says: str


def last_safe_day(forecasts: Sequence[Forecast]) -> LastSafeDay:
    """Return the day before budburst's early edge, the earliest that any of the forecasts gives.

    Bud colour is not among the events; it cannot show before the scales have burst, so budburst stands in for
    it. That errs to the safe side. One spring in ten is earlier still: look at the buds before the spray.
    A forecast whose early edge has passed without the event says nothing any more, where another one does.
    :raises ValueError: where none of the forecasts is of budburst
    """
    budburst = [forecast for forecast in forecasts if forecast.event == Event.BUDBURST]
    if not budburst:
        raise ValueError("a forecast of budburst is wanted")
    ahead = [forecast for forecast in budburst if forecast.low80 > forecast.issued_on]
    seen = [forecast for forecast in budburst if forecast.model == "observed"]
    earliest = min(seen or ahead or budburst, key=lambda forecast: (forecast.low80, forecast.model))
    on = earliest.low80 - timedelta(days=1)
    if seen:
        return LastSafeDay(on, earliest, f"{on:%-d %b} was the last day before budburst")
    says = (
        f"{on:%-d %b} is the last day before bud colour in nine springs of ten (by budburst, to be safe; "
        f"{_rests_on(earliest.model)})"
    )
    return LastSafeDay(on, earliest, says)


def _rests_on(model: str) -> str:
    return "running mean; odds from one station" if model == "running_mean" else model


def bud_colour_estimate(*, budburst: date, first_bloom: date) -> date:
    """Return our estimate of the day of bud colour (BBCH 57): half-way, rounded down.

    Common practice, no source: stations do not record it. Never more than an estimate; the buds decide.
    """
    return budburst + (first_bloom - budburst) // 2
