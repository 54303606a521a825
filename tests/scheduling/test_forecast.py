"""Bud-stage forecasts: dates with odds, from nothing later than the day of issue."""

import math
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.forecast import (
    BudDate,
    Event,
    Forecast,
    SpringDay,
    TooFewSprings,
    bud_colour_estimate,
    last_safe_day,
    running_mean,
    thermal_time,
)
from scheduling.forecast.thermal_time import LAST, fit, reached, warmth
from scheduling.season import records

SEASON = 2024
ISSUED = date(2024, 2, 15)
CUT = records.load()


def both(bud_dates, days, *, event=Event.BUDBURST, issued_on=ISSUED):
    return (
        running_mean(bud_dates, event=event, season=SEASON, issued_on=issued_on),
        thermal_time(bud_dates, days, event=event, season=SEASON, issued_on=issued_on),
    )


def poisoned(issued_on):
    """The cut with everything after the day of issue made absurd."""
    days = [SpringDay(d.on, 35.0) if d.on > issued_on else d for d in CUT.springs]
    buds = [
        BudDate(b.season, b.event, issued_on + timedelta(days=1)) if b.on > issued_on else b
        for b in CUT.bud_dates
    ]
    later_seasons = [BudDate(SEASON + 1, event, date(SEASON + 1, 1, 2)) for event in Event]
    return [*buds, *later_seasons], days


@pytest.mark.parametrize("event", [Event.BUDBURST, Event.FIRST_BLOOM])
@pytest.mark.parametrize("issued_on", [date(2024, 1, 31), ISSUED, date(2024, 3, 20)])
def test_nothing_after_the_day_of_issue_changes_a_forecast(event, issued_on):
    honest = both(CUT.bud_dates, CUT.springs, event=event, issued_on=issued_on)

    assert both(*poisoned(issued_on), event=event, issued_on=issued_on) == honest


def test_the_poison_would_be_seen_if_it_came_before_the_day_of_issue():
    buds, days = poisoned(date(2024, 1, 31))

    assert both(buds, days) != both(CUT.bud_dates, CUT.springs)


def test_a_warm_season_brings_the_date_forward():
    warm = [SpringDay(d.on, d.mean + 3 if d.on.year == SEASON else d.mean) for d in CUT.springs]
    march = date(2024, 3, 5)

    as_it_was = both(CUT.bud_dates, CUT.springs, event=Event.FIRST_BLOOM, issued_on=march)[1]
    warmer = both(CUT.bud_dates, warm, event=Event.FIRST_BLOOM, issued_on=march)[1]

    assert warmer.predicted < as_it_was.predicted


def test_an_event_that_was_seen_is_not_forecast_any_more():
    seen = thermal_time(
        CUT.bud_dates, CUT.springs, event=Event.BUDBURST, season=SEASON, issued_on=date(2024, 3, 28)
    )

    assert (seen.model, seen.predicted) == ("observed", date(2024, 3, 27))


def test_a_forecast_never_lies_in_the_past():
    late = date(2024, 3, 26)  # the day before budburst, later than in most springs

    forecast = both(CUT.bud_dates, CUT.springs, issued_on=late)[1]

    assert forecast.low80 > late


def test_a_forecast_says_that_its_odds_come_from_one_station():
    assert all("one station" in forecast.says for forecast in both(CUT.bud_dates, CUT.springs))


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


def test_a_spring_whose_weather_has_a_gap_is_not_fitted():
    holed = [day for day in CUT.springs if day.on != date(2015, 2, 3)]

    forecast = both(CUT.bud_dates, holed)[1]

    assert forecast.springs == both(CUT.bud_dates, CUT.springs)[1].springs - 1


def steady(mean):
    return (mean,) * (LAST + 1)


def test_the_fit_finds_the_base_that_made_the_dates():
    """Springs whose event comes when 100 degree-days above 4 degrees from 1 January on are reached."""
    springs = []
    for step in range(12):
        temperatures = tuple(
            2 + step / 3 + day / 12 + 3 * math.sin(day * (step + 1)) for day in range(LAST + 1)
        )
        springs.append((temperatures, reached(temperatures, 4.0, 0, 100)))

    model = fit(tuple(springs))

    assert (model.base, model.start) == (4.0, 0)
    assert max(map(abs, model.misses)) <= 2


def test_warmth_counts_both_ends():
    assert warmth(steady(5.0), 3.0, 0, 9) == 20


def test_what_is_never_reached_is_put_at_the_end_of_april():
    assert reached(steady(0.0), 4.0, 0, 10) == LAST


@given(st.floats(1, 12), st.floats(0.5, 300), st.floats(0.5, 300))
def test_more_warmth_needed_is_never_earlier(mean, one, other):
    low, high = sorted((one, other))

    assert reached(steady(mean), 0.0, 0, low) <= reached(steady(mean), 0.0, 0, high)


def forecast_of(low, model="thermal_time", issued_on=ISSUED, event=Event.BUDBURST):
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
