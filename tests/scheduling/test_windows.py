"""Hours in which a spray may be done."""

import itertools
from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from hypothesis import given
from hypothesis import strategies as st

from mixing.quantities import Quantity
from scheduling.bounds import Basis, Bound, Limit, Measure, in_force, of_farm
from scheduling.windows import Place, spray_windows
from tests.scheduling.orchard_weather import NOON, fine_hours, hour

DAYTIME = Place(sunrise=time(7), sunset=time(17))
BOUNDS = in_force(labels=())


def with_hours(*changed, count=40):
    return fine_hours(count) + list(changed)


def at(windows, after):
    moment = NOON + timedelta(hours=after)
    return next(window for window in windows if window.starts_at <= moment < window.ends_at)


def limits(window):
    return [reason.limit for reason in window.closed_by]


def test_a_calm_dry_mild_noon_is_open():
    windows = spray_windows(fine_hours(40), bounds=BOUNDS, place=DAYTIME)

    assert at(windows, 0).open


def test_wind_above_ten_miles_an_hour_closes_the_hour():
    windows = spray_windows(with_hours(hour(2, wind="11")), bounds=BOUNDS, place=DAYTIME)

    assert at(windows, 1).open
    assert limits(at(windows, 2)) == [Limit.WIND]
    assert "11 mph is above 10 mph" in at(windows, 2).closed_by[0].says


def test_a_wind_at_the_limit_is_within_it():
    assert at(spray_windows(with_hours(hour(2, wind="10")), bounds=BOUNDS, place=DAYTIME), 2).open


def test_a_gust_counts_as_wind():
    windows = spray_windows(with_hours(hour(2, wind="6", gust="14")), bounds=BOUNDS, place=DAYTIME)

    assert limits(at(windows, 2)) == [Limit.WIND]


def test_a_wind_that_nobody_measured_is_not_a_low_wind():
    windows = spray_windows(with_hours(hour(2, wind=None)), bounds=BOUNDS, place=DAYTIME)

    assert "not known" in at(windows, 2).closed_by[0].says


def test_rain_due_closes_all_the_hours_whose_dry_time_it_cuts():
    windows = spray_windows(with_hours(hour(30, rain="2.5"), count=70), bounds=BOUNDS, place=Place())

    assert Limit.RAIN not in limits(at(windows, 5))
    assert limits(at(windows, 6)) == [Limit.RAIN]
    assert "rain is due in 24 h (2.5 mm)" in at(windows, 6).closed_by[0].says
    assert Limit.RAIN in limits(at(windows, 30))
    assert Limit.RAIN not in limits(at(windows, 31))


def test_a_trace_is_not_rain():
    windows = spray_windows(with_hours(hour(3, rain="0.04")), bounds=BOUNDS, place=DAYTIME)

    assert at(windows, 3).open


def test_hours_past_the_end_of_the_forecast_are_not_taken_as_dry():
    windows = spray_windows(fine_hours(10), bounds=BOUNDS, place=Place())

    assert Limit.RAIN in limits(at(windows, 0))
    assert "not known 10 h ahead" in at(windows, 0).closed_by[0].says


def test_frost_in_the_night_to_come_closes_the_afternoon():
    windows = spray_windows(with_hours(hour(18, temperature="-1")), bounds=BOUNDS, place=DAYTIME)

    assert limits(at(windows, 0)) == [Limit.FROST]
    assert "30.2 °F" in at(windows, 0).closed_by[0].says


def test_heat_closes():
    windows = spray_windows(
        with_hours(hour(1, temperature="33", humidity="60")), bounds=BOUNDS, place=DAYTIME
    )

    assert limits(at(windows, 1)) == [Limit.HEAT]


def test_still_air_after_sunset_may_be_an_inversion_and_at_noon_is_not():
    still = [hour(after, wind="1") for after in range(40)]

    windows = spray_windows(still, bounds=BOUNDS, place=DAYTIME)

    assert at(windows, 0).open
    assert limits(at(windows, 6)) == [Limit.INVERSION]


def test_still_air_is_suspect_at_any_hour_where_the_sun_is_not_known():
    still = [hour(after, wind="1") for after in range(40)]

    assert limits(at(spray_windows(still, bounds=BOUNDS), 0)) == [Limit.INVERSION]


def test_wet_leaves_close():
    windows = spray_windows(with_hours(hour(1, leaf_wet=True)), bounds=BOUNDS, place=DAYTIME)

    assert limits(at(windows, 1)) == [Limit.WET]


def test_damp_air_wets_leaves_where_no_sensor_says():
    damp = hour(1, leaf_wet=None, humidity="94")

    windows = spray_windows(with_hours(damp), bounds=BOUNDS, place=DAYTIME)

    assert limits(at(windows, 1)) == [Limit.WET]
    assert "94 % humidity" in at(windows, 1).closed_by[0].says


def test_leaves_of_which_neither_a_sensor_nor_the_damp_of_the_air_tells_are_not_taken_for_dry():
    windows = spray_windows(with_hours(hour(1, leaf_wet=None)), bounds=BOUNDS, place=DAYTIME)

    assert limits(at(windows, 1)) == [Limit.WET]
    assert "is not known" in at(windows, 1).closed_by[0].says


def test_a_warm_hour_without_humidity_may_dry_drops_and_a_cold_one_cannot():
    windows = spray_windows(with_hours(hour(1, temperature="25")), bounds=BOUNDS, place=DAYTIME)

    assert limits(at(windows, 1)) == [Limit.HEAT]
    assert "Delta T, by which drops dry before they land, is not known" in at(windows, 1).closed_by[0].says
    assert at(windows, 2).open


def test_a_sensor_knows_better_than_the_damp_of_the_air():
    dry = hour(1, leaf_wet=False, humidity="94")

    assert at(spray_windows(with_hours(dry), bounds=BOUNDS, place=DAYTIME), 1).open


def test_leaves_are_wet_for_an_hour_after_rain():
    rain, after = hour(1, rain="2"), hour(2, leaf_wet=None)

    windows = spray_windows(with_hours(rain, after), bounds=BOUNDS, place=DAYTIME)

    assert limits(at(windows, 2)) == [Limit.WET]
    assert at(windows, 3).open


def test_ice_stays_on_the_trees_after_the_frost():
    windows = spray_windows(with_hours(hour(1, temperature="-1")), bounds=BOUNDS, place=DAYTIME)

    assert limits(at(windows, 2)) == [Limit.FROST]
    assert "1 h ago" in at(windows, 2).closed_by[0].says
    assert at(windows, 4).open


def test_drops_that_dry_before_they_land_close_the_hour():
    dry = hour(1, temperature="31", humidity="20")

    windows = spray_windows(with_hours(dry), bounds=BOUNDS, place=DAYTIME)

    assert limits(at(windows, 1)) == [Limit.HEAT]
    assert "Delta T" in at(windows, 1).closed_by[0].says


def test_still_air_in_one_of_the_nights_given_may_be_an_inversion():
    still = [hour(after, wind="1") for after in range(60)]
    dusk = NOON + timedelta(hours=5, minutes=20)
    place = Place(nights=((dusk, dusk + timedelta(hours=15)),))

    windows = spray_windows(still, bounds=BOUNDS, place=place)

    assert at(windows, 4).open
    assert limits(at(windows, 5)) == [Limit.INVERSION]
    assert limits(at(windows, 20)) == [Limit.INVERSION]
    assert at(windows, 21).open


def test_the_nearness_of_a_closed_block_closes_and_names_it():
    place = Place(time(7), time(17), re_entry=(("so near to Upper Peach", NOON + timedelta(hours=2)),))

    window = at(spray_windows(fine_hours(40), bounds=BOUNDS, place=place), 1)

    assert limits(window) == [Limit.RE_ENTRY]
    assert "nobody may enter so near to Upper Peach before" in window.closed_by[0].says


def test_the_night_that_the_clocks_go_back_has_an_hour_more():
    zone = ZoneInfo("America/Los_Angeles")
    midnight = datetime(2026, 11, 1, 7, tzinfo=UTC)  # 0:00 at the farm; at 2:00 it is 1:00 again
    hours = [replace(hour(0), at=(midnight + timedelta(hours=step)).astimezone(zone)) for step in range(40)]

    windows = spray_windows(hours, bounds=(), place=Place(quiet=(time(1), time(2))))

    assert [
        (one.open, (one.ends_at.astimezone(UTC) - one.starts_at.astimezone(UTC)) / timedelta(hours=1))
        for one in windows[:3]
    ] == [(True, 1), (False, 2), (True, 23)]


def test_an_hour_that_runs_into_the_quiet_hours_is_closed():
    evening, morning = time(21, 30), time(6, 30)

    windows = spray_windows(fine_hours(40), bounds=(), place=Place(quiet=(evening, morning)))

    assert at(windows, 8).open
    assert limits(at(windows, 9)) == [Limit.QUIET_HOURS]
    assert limits(at(windows, 18)) == [Limit.QUIET_HOURS]
    assert at(windows, 19).open


def test_quiet_hours_that_begin_past_midnight_close_the_hour_before():
    windows = spray_windows(fine_hours(40), bounds=(), place=Place(quiet=(time(0, 15), time(5))))

    assert [limits(at(windows, after)) for after in (11, 12, 16, 17)] == [
        [],
        [Limit.QUIET_HOURS],
        [Limit.QUIET_HOURS],
        [],
    ]


def test_re_entry_and_quiet_hours_close_whatever_the_weather():
    place = Place(time(7), time(17), quiet=(time(22), time(6)), re_entry_until=NOON + timedelta(hours=2))

    windows = spray_windows(fine_hours(40), bounds=BOUNDS, place=place)

    assert limits(at(windows, 1)) == [Limit.RE_ENTRY]
    assert at(windows, 2).open
    assert Limit.QUIET_HOURS in limits(at(windows, 11))
    assert at(windows, 11).closed_by[-1].basis == Basis.FARM


def test_every_limit_that_closes_is_said_label_first():
    label = Bound(Measure.WIND_MAXIMUM, Quantity(Decimal(9), "mph"), Basis.LABEL, "Oil 98 EC")
    bounds = in_force(labels=[label], farm=of_farm({"wind_maximum": {"value": "8", "unit": "mph"}}))

    window = at(spray_windows(with_hours(hour(1, wind="12", rain="1")), bounds=bounds, place=DAYTIME), 1)

    assert [(r.limit, r.basis) for r in window.closed_by] == [
        (Limit.WIND, Basis.LABEL),
        (Limit.WIND, Basis.FARM),
        (Limit.RAIN, Basis.PUBLISHED),
    ]
    assert "Oil 98 EC" in window.closed_by[0].says


def test_the_last_report_for_an_hour_counts():
    windows = spray_windows(with_hours(hour(1, wind="20"), hour(1, wind="5")), bounds=BOUNDS, place=DAYTIME)

    assert at(windows, 1).open


winds = st.lists(st.sampled_from(["1", "5", "12", None]), min_size=1, max_size=60)


@given(winds)
def test_windows_cover_every_hour_once_and_in_order(values):
    hours = [hour(after, wind=value) for after, value in enumerate(values)]

    windows = spray_windows(hours, bounds=BOUNDS, place=DAYTIME)

    assert windows[0].starts_at == NOON
    assert windows[-1].ends_at == NOON + timedelta(hours=len(values))
    assert all(a.ends_at == b.starts_at for a, b in itertools.pairwise(windows))


@given(winds, st.randoms())
def test_windows_do_not_depend_on_the_order_of_the_hours(values, shuffle):
    hours = [hour(after, wind=value) for after, value in enumerate(values)]
    mixed = hours[:]
    shuffle.shuffle(mixed)

    assert spray_windows(mixed, bounds=BOUNDS) == spray_windows(hours, bounds=BOUNDS)


@given(st.integers(0, 300), st.integers(1, 120))
def test_a_stricter_farm_never_opens_an_hour(tenths, maximum):
    hours = with_hours(hour(0, wind=str(Decimal(tenths) / 10)))
    farm = of_farm({"wind_maximum": {"value": str(Decimal(maximum) / 10), "unit": "mph"}})

    plain = at(spray_windows(hours, bounds=BOUNDS, place=DAYTIME), 0)
    strict = at(spray_windows(hours, bounds=in_force(labels=(), farm=farm), place=DAYTIME), 0)

    assert plain.open or not strict.open
