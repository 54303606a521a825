"""Days in which a spray may be done, where only the day's values are known."""

from datetime import date, timedelta
from decimal import Decimal

from mixing.quantities import Quantity
from scheduling.bounds import Basis, Bound, Limit, Measure, in_force, of_farm
from scheduling.spray_days import judge_days
from tests.scheduling.orchard_weather import day, fine_days

FRIDAY = date(2026, 12, 18)
BOUNDS = in_force(labels=())


def verdict_on(on, *changed, bounds=BOUNDS, **more):
    days = fine_days(FRIDAY - timedelta(days=1), 10) + list(changed)
    return next(v for v in judge_days(days, bounds=bounds, **more) if v.day.on == on)


def limits(verdict):
    return [reason.limit for reason in verdict.closed_by]


def test_a_dry_day_with_a_light_wind_is_open():
    assert verdict_on(FRIDAY).open


def test_a_windy_day_is_closed():
    verdict = verdict_on(FRIDAY, day(FRIDAY, wind="4.5"))  # 10.07 mph

    assert limits(verdict) == [Limit.WIND]
    assert "mean wind of the day 10.1 mph is above 10 mph" in verdict.closed_by[0].says


def test_a_wind_just_over_the_limit_is_told_apart_from_it():
    verdict = verdict_on(FRIDAY, day(FRIDAY, wind="4.4714"))  # 10.002 mph

    assert "10.002 mph is above 10 mph" in verdict.closed_by[0].says


def test_a_wind_just_under_the_limit_is_open():
    assert verdict_on(FRIDAY, day(FRIDAY, wind="4.47")).open  # 9.999 mph


def test_the_farm_may_want_less_wind():
    bounds = in_force(labels=(), farm=of_farm({"wind_maximum": {"value": "8", "unit": "mph"}}))

    verdict = verdict_on(FRIDAY, day(FRIDAY, wind="3.8"), bounds=bounds)

    assert [(r.limit, r.basis) for r in verdict.closed_by] == [(Limit.WIND, Basis.FARM)]


def test_rain_on_the_day_after_counts_as_rain_within_a_day():
    after = FRIDAY + timedelta(days=1)

    verdict = verdict_on(FRIDAY, day(after, rain="0.5"))

    assert limits(verdict) == [Limit.RAIN]
    assert f"rain due on {after} (0.5 mm)" in verdict.closed_by[0].says


def test_rain_two_days_later_closes_only_under_a_longer_dry_time():
    wet = day(FRIDAY + timedelta(days=2), rain="9")
    two_days = Bound(Measure.RAIN_FREE, Quantity(Decimal(36), "h"), Basis.LABEL, "Copper 30 WG")

    assert verdict_on(FRIDAY, wet).open
    assert limits(verdict_on(FRIDAY, wet, bounds=in_force(labels=[two_days]))) == [Limit.RAIN]


def test_frost_in_the_night_after_closes_the_day():
    verdict = verdict_on(FRIDAY, day(FRIDAY + timedelta(days=1), minimum="-0.5"))

    assert limits(verdict) == [Limit.FROST]
    assert "the night after (31.1 °F)" in verdict.closed_by[0].says


def test_frost_in_the_night_before_closes_too():
    assert limits(verdict_on(FRIDAY, day(FRIDAY, minimum="0"))) == [Limit.FROST]


def test_the_last_day_known_is_closed_since_the_next_is_not():
    days = fine_days(FRIDAY, 2)

    last = judge_days(days, bounds=BOUNDS)[-1]

    assert limits(last) == [Limit.RAIN, Limit.FROST]
    assert all("not known" in reason.says for reason in last.closed_by)


def test_a_day_without_a_wind_reading_is_closed():
    assert limits(verdict_on(FRIDAY, day(FRIDAY, wind=None))) == [Limit.WIND]


def test_oil_wants_a_day_above_its_label_temperature():
    cold = Bound(Measure.TEMPERATURE_MINIMUM, Quantity(Decimal(40), "degF"), Basis.LABEL, "Oil 98 EC")

    verdict = verdict_on(FRIDAY, day(FRIDAY, minimum="1", maximum="6"), bounds=in_force(labels=[cold]))

    assert limits(verdict) == [Limit.FROST]
    assert "38.3 °F is below 40 °F (Oil 98 EC)" in verdict.closed_by[0].says


def test_a_block_in_re_entry_is_closed_to_the_end_of_that_day():
    assert limits(verdict_on(FRIDAY, closed_until=FRIDAY)) == [Limit.RE_ENTRY]
    assert verdict_on(FRIDAY + timedelta(days=1), closed_until=FRIDAY).open


def test_dry_days_after_end_with_the_first_wet_one():
    assert verdict_on(FRIDAY, day(FRIDAY + timedelta(days=3), rain="1")).dry_days_after == 2
