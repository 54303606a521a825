"""Bud-stage forecasts of one place: a date with odds, as of a day, from nothing later than that day."""

from scheduling.forecast.last_safe_day import LastSafeDay, bud_colour_estimate, last_safe_day
from scheduling.forecast.records import BudDate, CannotForecast, Event, Forecast, TooFewSprings
from scheduling.forecast.running_mean import running_mean

__all__ = [
    "BudDate",
    "CannotForecast",
    "Event",
    "Forecast",
    "LastSafeDay",
    "TooFewSprings",
    "bud_colour_estimate",
    "last_safe_day",
    "running_mean",
]
