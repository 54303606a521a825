"""Seasons played again: what counts as saved, and that a rule knows nothing that came later."""

import numpy as np
import pytest
from django.core.management import call_command

from scheduling.forecast import fit, hindcast
from scheduling.forecast.axis import DAYS, column
from scheduling.forecast.hindcast import Played, Season
from tests.scheduling.forecast.country import country, write

COLOUR = 80


def season(*, open_on=(), colour=COLOUR, middle=None, burst=None):
    opened = np.zeros(DAYS, dtype=bool)
    opened[[column(day) for day in open_on]] = True
    forecast = np.full(DAYS, float(middle if middle is not None else colour + 7))
    return Season(opened, colour, colour + 7.0, burst, forecast - 6, forecast)


def test_a_season_is_saved_by_a_spray_within_three_weeks_before_colour():
    late = season(open_on=(-20, 60))

    assert hindcast.saved(late, Played((60,), 0))
    assert not hindcast.saved(late, Played((58,), 0))
    assert not hindcast.saved(late, Played((), 1))


def test_a_season_without_an_open_day_at_leaf_fall_is_not_saved():
    assert not hindcast.saved(season(open_on=(60,)), Played((60,), 0))
    assert hindcast.last_in_time(season(open_on=(60,)), Played((60,), 0))


def test_the_forecast_rule_sprays_on_the_first_open_day_within_its_lead():
    played = hindcast.by_forecast(14)(season(open_on=(40, 64, 68, 75)))

    assert played == Played((68,), 0)


def test_a_forecast_that_moves_far_later_brings_a_second_spray():
    moved = season(open_on=(40, 75), middle=50)
    moved.middle[column(41) :], moved.early[column(41) :] = 90.0, 84.0

    assert hindcast.by_forecast(14)(moved).sprays == (40, 75)


def test_a_trip_after_colour_is_in_vain():
    played = hindcast.by_date(78)(season(open_on=(82, 83)))

    assert played == Played((), 1)


def test_budburst_that_nobody_noted_brings_no_spray():
    assert hindcast.at_budburst(season(open_on=(60,))) == Played((), 0)
    assert hindcast.at_budburst(season(open_on=(60, 70), burst=65)).sprays == (70,)


def test_perfect_knowledge_takes_any_open_day_of_the_three_weeks():
    assert hindcast.by_perfect_knowledge(season(open_on=(58, 79))).sprays == (79,)
    assert hindcast.by_perfect_knowledge(season(open_on=(58, 80))).sprays == ()


def test_wind_rain_today_and_tomorrow_and_frost_close_a_day():
    places = country(places=1)
    for name, value in (("wind", 2.0), ("rain", 0.0), ("minimum", 3.0), ("maximum", 12.0)):
        getattr(places, name)[:] = value
    assert hindcast.open_days(places)[0, 0, :-1].all()

    places.wind[0, 0, 100] = 6.0
    places.rain[0, 0, 110] = 0.4
    places.minimum[0, 0, 120] = -1.0
    places.wind[0, 0, 130] = np.nan

    closed = set(np.flatnonzero(~hindcast.open_days(places)[0, 0, :-1]).tolist())
    assert closed == {100, 109, 110, 119, 129, 130}


def test_what_a_morning_knows_ends_on_the_evening_before():
    places = country(places=8)
    fitted = fit.fit(places.only(range(6)), leads=(7, 21))
    test = places.only([6])
    known, _ = hindcast.seasons(fitted, test)
    one = known[-1]
    day = int(one.mean) - 20
    late = places.only([6])
    late.minimum[0, -1, column(day) :] = 20.0
    late.maximum[0, -1, column(day) :] = 30.0

    again = hindcast.seasons(fitted, late)[0][-1]

    assert again.middle[column(day)] == one.middle[column(day)]
    assert again.middle[column(day + 6)] != one.middle[column(day + 6)]


@pytest.fixture(scope="module")
def printed(tmp_path_factory):
    base, places = tmp_path_factory.mktemp("hindcast"), country(places=8)
    write(places.only(range(5)), base / "train")
    write(places.only(range(5, 8)), base / "test")
    return base


def test_the_command_prints_every_rule_beside_perfect_knowledge(printed, capsys):
    call_command("hindcast", train=printed / "train", test=printed / "test")

    told = capsys.readouterr().out
    for rule in ("by forecast", "fixed date", "station mean", "at budburst", "perfect knowledge"):
        assert rule in told
    assert "springs of peach" in told
