"""The running mean, and the last safe day."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.forecast import (
    BudDate,
    Event,
    Forecast,
    TooFewSprings,
    bud_colour_estimate,
    last_safe_day,
    running_mean,
)

ISSUED = date(2024, 2, 15)


def test_the_running_mean_is_the_mean_of_the_springs_before():
    buds = [BudDate(2010 + step, Event.BUDBURST, date(2010 + step, 3, 1 + 2 * step)) for step in range(9)]

    forecast = running_mean(buds, event=Event.BUDBURST, season=2019, issued_on=date(2019, 2, 1))

    assert forecast.springs == 9
    assert abs((forecast.predicted - date(2019, 3, 9)).days) <= 1  # leap years shift one of nine by a day
    assert forecast.low80 < forecast.predicted < forecast.high80


def test_seven_springs_are_too_few():
    buds = [BudDate(2010 + step, Event.BUDBURST, date(2010 + step, 3, 1)) for step in range(7)]

    with pytest.raises(TooFewSprings) as raised:
        running_mean(buds, event=Event.BUDBURST, season=2019, issued_on=date(2019, 2, 1))

    assert raised.value.springs == 7


def forecast_of(low, model="warmth and notes", issued_on=ISSUED, event=Event.BUDBURST):
    return Forecast(event, low + timedelta(days=8), low, low + timedelta(days=16), issued_on, model, 20, "")


def test_the_last_safe_day_is_before_the_earlier_of_two_early_edges():
    forecasts = [forecast_of(date(2024, 3, 4), "running_mean"), forecast_of(date(2024, 3, 2))]

    assert last_safe_day(forecasts).on == date(2024, 3, 1)


def test_an_early_edge_that_has_passed_without_buds_gives_way():
    issued = date(2024, 3, 10)
    forecasts = [
        forecast_of(date(2024, 3, 4), "running_mean", issued),
        forecast_of(date(2024, 3, 14), issued_on=issued),
    ]

    assert last_safe_day(forecasts).on == date(2024, 3, 13)


def test_the_last_safe_day_wants_a_forecast_of_budburst():
    with pytest.raises(ValueError, match="budburst"):
        last_safe_day([forecast_of(date(2024, 3, 20), event=Event.FIRST_BLOOM)])


@given(st.integers(0, 60))
def test_bud_colour_is_put_between_budburst_and_bloom(gap):
    burst = date(2024, 3, 10)

    colour = bud_colour_estimate(budburst=burst, first_bloom=burst + timedelta(days=gap))

    assert burst <= colour <= burst + timedelta(days=gap / 2)
