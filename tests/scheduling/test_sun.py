"""Where a farm lies, and the nights in which still air may be an inversion."""

from datetime import UTC, date, datetime, timedelta

import pytest
from astral import Observer
from astral.sun import sunrise, sunset

from scheduling.sun import GUESSED, Spot, nights, spot_of

SQUARE = {"type": "Polygon", "coordinates": [[[-120, 38], [-119, 38], [-119, 39], [-120, 39], [-120, 38]]]}
VALLEY = Spot(38.5, -120.5)


def night_of(spot, moment):
    day = moment.date()
    return [one for one in nights(spot, since=day, until=day) if one[0] <= moment < one[1]]


def test_a_farm_lies_in_the_middle_of_its_outlines():
    spot = spot_of(outlines=[SQUARE], zone="America/Los_Angeles")

    assert (round(spot.latitude), round(spot.longitude), spot.guessed) == (38, -120, False)


def test_without_an_outline_the_town_of_its_zone_stands_for_it():
    spot = spot_of(outlines=[], zone="America/Los_Angeles")

    assert (round(spot.latitude), round(spot.longitude), spot.guessed) == (34, -118, True)


def test_a_zone_without_a_town_leaves_the_sun_unknown():
    assert spot_of(outlines=[], zone="UTC") is None


def test_a_night_runs_from_sunset_until_an_hour_after_sunrise():
    midnight = datetime(2026, 12, 18, 8, tzinfo=UTC)

    ((dusk, dawn),) = night_of(VALLEY, midnight)

    place = Observer(VALLEY.latitude, VALLEY.longitude)
    assert abs(dusk - sunset(place, date=date(2026, 12, 18), tzinfo=UTC)) < timedelta(minutes=2)
    rises = sunrise(place, date=date(2026, 12, 18), tzinfo=UTC)
    assert abs(dawn - rises - timedelta(hours=1)) < timedelta(minutes=2)


def test_noon_is_in_no_night():
    assert night_of(VALLEY, datetime(2026, 12, 18, 20, tzinfo=UTC)) == []


def test_a_guessed_place_has_longer_nights():
    midnight = datetime(2026, 12, 18, 8, tzinfo=UTC)

    ((dusk, dawn),) = night_of(Spot(VALLEY.latitude, VALLEY.longitude, guessed=True), midnight)

    ((sure_dusk, sure_dawn),) = night_of(VALLEY, midnight)
    assert (sure_dusk - dusk, dawn - sure_dawn) == (GUESSED, GUESSED)


@pytest.mark.parametrize("hour", [0, 6, 12, 18])
def test_where_the_sun_does_not_rise_the_whole_day_is_night(hour):
    assert night_of(Spot(69.6, 19), datetime(2026, 12, 21, hour, tzinfo=UTC))


@pytest.mark.parametrize("hour", [0, 6, 12, 18])
def test_where_the_sun_does_not_set_there_is_no_night(hour):
    assert night_of(Spot(69.6, 19), datetime(2026, 6, 21, hour, tzinfo=UTC)) == []


def test_a_white_night_is_short():
    ((dusk, dawn),) = night_of(Spot(63, 19), datetime(2026, 6, 21, 23, tzinfo=UTC))

    assert timedelta(hours=1) < dawn - dusk < timedelta(hours=6)


def test_the_far_side_of_the_date_line_has_its_night_too():
    auckland = Spot(-36.9, 174.8)

    assert night_of(auckland, datetime(2026, 12, 18, 12, tzinfo=UTC))  # one in the morning there
    assert night_of(auckland, datetime(2026, 12, 18, 23, tzinfo=UTC)) == []  # noon
