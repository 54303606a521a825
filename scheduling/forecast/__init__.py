"""Bud-stage forecasts of one place: a date with odds, as of a day, from nothing later than that day."""

from scheduling.forecast.last_safe_day import LastSafeDay, bud_colour_estimate, last_safe_day
from scheduling.forecast.records import BudDate, Event, Forecast, SpringDay, TooFewSprings
from scheduling.forecast.running_mean import running_mean
from scheduling.forecast.thermal_time import thermal_time

__all__ = [
    "BudDate",
    "Event",
    "Forecast",
    "LastSafeDay",
    "SpringDay",
    "TooFewSprings",
    "bud_colour_estimate",
    "last_safe_day",
    "running_mean",
    "thermal_time",
]
