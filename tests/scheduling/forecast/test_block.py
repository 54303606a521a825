"""One block's forecast from the shipped fit: what it says, what it could not use, and when it says
nothing."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from scheduling.forecast import CannotForecast, Event, stored
from scheduling.forecast.block import Note, outlook
from scheduling.forecast.sound import Day
from scheduling.season import records

CUT = records.load()
FITTED = stored.load()
ISSUED = date(2024, 3, 1)
NOTES = [Note("peach", bud.event, bud.on) for bud in CUT.bud_dates]


def forecast(*, crop="peach", notes=NOTES, observed=CUT.days, issued_on=ISSUED, **more):
    return outlook(FITTED, crop=crop, notes=notes, observed=observed, issued_on=issued_on, **more)


def of(found, event):
    return next(one for one in found.forecasts if one.event == event)


def changed(days, change, *, since=date(2023, 10, 1)):
    return [change(day) if day.on >= since else day for day in days]


def test_each_event_has_a_date_with_odds_after_the_day_of_issue():
    found = forecast()

    assert [one.event for one in found.forecasts] == list(Event)
    for one in found.forecasts:
        assert ISSUED < one.low80 <= one.predicted <= one.high80
        assert one.bbch in (53, 60, 65)


def test_about_eight_in_ten_of_what_came_lies_in_the_odds():
    """At a station that the shipped fit does not know, a month ahead, ten springs."""
    held = []
    for season in range(2014, 2024):
        found = forecast(issued_on=date(season, 2, 25))
        for note in NOTES:
            if note.on.year == season:
                one = of(found, note.event)
                held.append(one.low80 <= note.on <= one.high80)

    assert len(held) >= 20
    assert 0.6 <= np.mean(held) <= 0.97


def test_every_forecast_says_that_its_fit_is_of_one_country():
    for one in forecast().forecasts:
        assert "one country, Korea" in one.says
        assert "Korea only" in one.model


@pytest.mark.parametrize("issued_on", [date(2024, 1, 31), date(2024, 2, 15), date(2024, 3, 20)])
def test_nothing_after_the_day_of_issue_changes_a_forecast(issued_on):
    days = [Day(day.on, 30.0, 40.0) if day.on > issued_on else day for day in CUT.days]
    notes = [
        replace(note, on=issued_on + timedelta(days=1)) if note.on > issued_on else note for note in NOTES
    ]
    notes.append(Note("peach", Event.BUDBURST, date(2025, 1, 2)))

    assert forecast(notes=notes, observed=days, issued_on=issued_on) == forecast(issued_on=issued_on)


def test_a_warm_february_brings_the_dates_forward():
    warm = changed(
        CUT.days, lambda day: Day(day.on, day.minimum + 4, day.maximum + 4), since=date(2024, 1, 20)
    )

    assert (
        of(forecast(observed=warm), Event.FIRST_BLOOM).predicted < of(forecast(), Event.FIRST_BLOOM).predicted
    )


def test_a_forecast_of_warm_days_brings_the_dates_forward():
    issued = date(2024, 3, 18)
    ahead = [Day(issued + timedelta(days=step), 12.0, 24.0) for step in range(1, 8)]

    with_it = of(forecast(issued_on=issued, forecast=ahead), Event.FIRST_BLOOM)

    assert with_it.predicted < of(forecast(issued_on=issued), Event.FIRST_BLOOM).predicted


def test_a_gap_ends_what_is_used_of_a_weather_forecast():
    issued = date(2024, 3, 18)
    ahead = [Day(issued + timedelta(days=step), 12.0, 24.0) for step in range(2, 8)]

    assert forecast(issued_on=issued, forecast=ahead) == forecast(issued_on=issued)


def test_own_notes_take_over_as_they_come():
    """Trees that are always two weeks later than the station's: with each year of notes the forecast
    follows."""
    late = [replace(note, on=note.on + timedelta(days=14)) for note in NOTES if note.on.year < 2024]
    dates, spreads = [], []
    for many in (0, 1, 3, 10):
        found = of(forecast(notes=[n for n in late if n.on.year >= 2024 - many]), Event.FIRST_BLOOM)
        dates.append(found.predicted)
        spreads.append((found.high80 - found.low80).days)

    assert dates == sorted(dates)
    assert dates[1] > dates[0]
    assert (dates[3] - dates[0]).days >= 7
    assert spreads[3] < spreads[0]


def test_own_notes_far_from_all_fitted_places_take_over_too():
    """A cultivar that blooms five weeks before those of the stations."""
    early = [replace(note, on=note.on - timedelta(days=35)) for note in NOTES if note.on.year >= 2014]
    usual = forecast(issued_on=date(2024, 1, 10))

    found = forecast(notes=[one for one in early if one.on.year < 2024], issued_on=date(2024, 1, 10))

    for event in Event:
        sooner = (of(usual, event).predicted - of(found, event).predicted).days
        assert 28 <= sooner <= 42


def test_a_stage_that_nobody_noted_at_a_place_far_away_moves_with_the_one_before_it():
    early = [replace(note, on=note.on - timedelta(days=35)) for note in NOTES if 2014 <= note.on.year < 2024]
    found = forecast(
        notes=[note for note in early if note.event != Event.FULL_BLOOM], issued_on=date(2024, 1, 10)
    )

    dates = [of(found, event).predicted for event in Event]
    assert dates == sorted(dates)


def test_one_slip_of_the_pen_moves_no_place_far_away():
    slip = [Note("peach", Event.FIRST_BLOOM, date(2023, 2, 10))]

    with_it, without = (
        forecast(notes=slip, issued_on=date(2024, 1, 10)),
        forecast(notes=[], issued_on=date(2024, 1, 10)),
    )

    sooner = (of(without, Event.FIRST_BLOOM).predicted - of(with_it, Event.FIRST_BLOOM).predicted).days
    assert 0 <= sooner <= 21


def test_an_early_budburst_brings_the_bloom_forward():
    issued = date(2024, 3, 18)
    earlier = [note for note in NOTES if note.on.year < 2024]
    seen = [*earlier, Note("peach", Event.BUDBURST, date(2024, 3, 10))]

    found = forecast(notes=seen, issued_on=issued)

    assert of(found, Event.BUDBURST).model == "observed"
    bloom = of(forecast(notes=earlier, issued_on=issued), Event.FIRST_BLOOM).predicted
    assert of(found, Event.FIRST_BLOOM).predicted < bloom


def test_notes_of_another_species_at_the_place_count_too():
    earlier = [note for note in NOTES if note.on.year < 2024]
    early = Note("mume", Event.FIRST_BLOOM, date(2024, 1, 25))

    assert forecast(notes=[*earlier, early]).forecasts != forecast(notes=earlier).forecasts


def test_kinds_that_nobody_noted_change_nothing():
    """A few kinds of the fit give the dates that all of it gives."""
    places = FITTED.only(FITTED.kinds[:3])

    assert places.kinds == FITTED.kinds[:3]
    assert (places.shared.season == FITTED.shared.season[:3, :3]).all()
    assert (
        outlook(
            FITTED.only([kind for kind in FITTED.kinds if kind.species == "peach"]),
            crop="peach",
            notes=NOTES,
            observed=CUT.days,
            issued_on=ISSUED,
        )
        == forecast()
    )


@pytest.mark.parametrize(("crop", "as_species"), [("Nectarine", "peach"), ("sweet_cherry", "cherry")])
def test_crops_go_by_a_species_of_the_fit(crop, as_species):
    assert forecast(crop=crop).forecasts == forecast(crop=as_species).forecasts


def refusal(**given):
    with pytest.raises(CannotForecast) as refused:
        forecast(**given)
    return refused.value


def test_a_species_without_a_model_is_refused():
    refused = refusal(crop="apple")

    assert refused.code == "no_model"
    assert "peach" in refused.remark.facts["species"]


def test_a_block_south_of_the_equator_is_refused():
    assert refusal(latitude=-34.2).code == "other_hemisphere"


def test_a_winter_in_july_is_known_by_its_weather():
    turned = [Day(day.on, 20 - day.minimum, 36 - day.minimum) for day in CUT.days if day.on.month in (1, 2)]
    turned += [Day(date(2023, month, day), 2.0, 12.0) for month in (5, 6) for day in range(1, 29)]

    assert refusal(observed=turned).code == "other_hemisphere"


def test_degrees_fahrenheit_called_celsius_are_refused():
    as_celsius = changed(CUT.days, lambda day: Day(day.on, day.minimum * 1.8 + 32, day.maximum * 1.8 + 32))
    refused = refusal(observed=[day for day in as_celsius if day.maximum < 55])

    assert refused.code == "unit_unlikely"


def test_an_earlier_winter_in_the_wrong_unit_is_left_out_and_said():
    wrong = [
        Day(day.on, day.minimum * 1.8 + 32, day.maximum * 1.8 + 32)
        if date(2014, 10, 1) <= day.on < date(2015, 7, 1)
        else day
        for day in CUT.days
    ]
    found = forecast(observed=wrong)

    assert [one.facts["spring"] for one in found.remarks if one.code == "winter_left_out"] == [2015]
    assert abs((of(found, Event.BUDBURST).predicted - of(forecast(), Event.BUDBURST).predicted).days) <= 2


def test_spikes_are_left_out_and_said():
    spiked = [Day(day.on, 38.0, 45.0) if day.on == date(2024, 2, 10) else day for day in CUT.days]
    found = forecast(observed=spiked)

    assert ("spikes", {"days": 1, "degrees": 15}) in found.remarks
    assert abs((of(found, Event.BUDBURST).predicted - of(forecast(), Event.BUDBURST).predicted).days) <= 1


def test_a_few_holes_hardly_matter():
    holed = [day for day in CUT.days if day.on.day not in (7, 19) or day.on.year < 2024]

    moved = of(forecast(observed=holed), Event.FIRST_BLOOM).predicted
    assert abs((moved - of(forecast(), Event.FIRST_BLOOM).predicted).days) <= 2


def test_without_this_winters_weather_the_notes_carry_it_and_it_says_so():
    past = [day for day in CUT.days if day.on < date(2023, 10, 1)]
    found = of(forecast(observed=past), Event.FIRST_BLOOM)

    assert "no weather of this winter" in found.says
    assert (found.high80 - found.low80) >= (
        of(forecast(), Event.FIRST_BLOOM).high80 - of(forecast(), Event.FIRST_BLOOM).low80
    )


def test_neither_weather_nor_notes_give_no_date():
    assert refusal(observed=[], notes=[]).code == "nothing_to_go_on"
    assert refusal(observed=[], notes=NOTES[:3]).code == "nothing_to_go_on"


def test_a_winter_without_chill_is_refused():
    mild = [
        Day(day.on, 14.0 + np.sin(day.on.day), 23.0) if day.on >= date(2023, 10, 1) else day
        for day in CUT.days
    ]

    assert refusal(observed=mild).code == "no_chill"


def test_a_place_unlike_the_fitted_ones_gets_wider_odds_and_is_told_why():
    cold = [Day(day.on, day.minimum - 12, day.maximum - 12) for day in CUT.days]
    alike, unlike = forecast(notes=[]), forecast(notes=[], observed=cold)

    assert "unlike_winter" in {one.code for one in unlike.remarks}
    assert not {one.code for one in alike.remarks} & {"unlike_winter", "unlike_spring"}


def test_a_place_with_one_winter_of_weather_is_forecast_with_a_remark():
    only = [day for day in CUT.days if day.on >= date(2023, 10, 1)]
    found = forecast(observed=only, notes=[])

    assert "no_past_weather" in {one.code for one in found.remarks}
    assert abs((of(found, Event.FIRST_BLOOM).predicted - CUT.observed(Event.FIRST_BLOOM)).days) <= 15


def test_a_place_with_two_winters_of_weather_promises_no_later_last_safe_day_than_one_with_all():
    """At a station that the shipped fit does not know, in January, without a note, eighteen springs."""
    early = {years: [] for years in (2, 20)}
    for season in range(2006, 2024):
        for years, misses in early.items():
            days = [day for day in CUT.days if day.on >= date(season - years, 10, 1)]
            found = forecast(notes=[], observed=days, issued_on=date(season, 1, 10))
            misses += [
                note.on < of(found, note.event).low80
                for note in NOTES
                if note.on.year == season and note.event != Event.FULL_BLOOM
            ]
            told = "few_past_winters" in {one.code for one in found.remarks}
            assert told == (years == 2 or season < 2008)

    assert sum(early[2]) <= sum(early[20])


def test_high_summer_is_out_of_season():
    assert refusal(issued_on=date(2024, 8, 1)).code == "out_of_season"
