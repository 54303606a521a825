"""A forecast rests on the fit, and on what its own place knew on the day of issue. On nothing else."""

import numpy as np
import pytest

from scheduling.forecast import fit, score
from scheduling.forecast.so_far import Asked
from tests.scheduling.forecast.country import country, poisoned

LEADS = (28, 14, 7)
COUNTRY = country(places=12)
TRAIN, TEST = COUNTRY.only(range(6)), COUNTRY.only(range(6, 12))


@pytest.fixture(scope="module")
def fitted():
    return fit.fit(TRAIN, leads=LEADS)


@pytest.fixture(scope="module")
def honest(fitted):
    return score.score(fitted, TEST, LEADS)


def forecasts(scored):
    """Each forecast by what it was asked for, without what came."""
    return {row[:5]: row[5:9] for row in score.rows(scored)}


@pytest.mark.parametrize("lead", LEADS)
def test_poison_in_the_future_and_in_other_places_is_not_tasted(fitted, honest, lead):
    asked = honest.cases.asked
    mine = np.flatnonzero((honest.cases.lead == lead) & (asked.season >= 8))
    for row in mine[:: max(len(mine) // 25, 1)]:
        place, season, issued = int(asked.place[row]), int(asked.season[row]), int(asked.issued[row])
        world = poisoned(TEST, place=place, season=season, issued=issued)

        again = forecasts(score.score(fitted, world, LEADS))

        key = (TEST.names[place], 1990 + season, "", "", lead)
        kind = TEST.kinds[asked.kind[row]]
        key = (key[0], key[1], kind.species, kind.event.value, lead)
        assert again[key] == forecasts(honest)[key]


def test_the_same_poison_before_the_day_of_issue_would_be_tasted(fitted, honest):
    asked = honest.cases.asked
    row = np.flatnonzero((honest.cases.lead == 7) & (asked.season == 12))[0]
    world = poisoned(TEST, place=int(asked.place[row]), season=12, issued=int(asked.issued[row]) - 25)

    again, before = forecasts(score.score(fitted, world, LEADS)), forecasts(honest)

    kind = TEST.kinds[asked.kind[row]]
    key = (TEST.names[asked.place[row]], 2002, kind.species, kind.event.value, 7)
    assert key not in again or again[key] != before[key]


def test_places_in_another_order_get_the_same_forecasts(fitted, honest):
    shuffled = TEST.only([4, 2, 0, 5, 1, 3])

    assert forecasts(score.score(fitted, shuffled, LEADS)) == forecasts(honest)


def test_what_came_is_never_before_the_day_after_issue(honest):
    for row in score.rows(honest):
        issued, predicted, low, high, observed = row[5:]
        assert issued < low <= predicted <= high
        assert observed > issued


def test_a_case_wants_five_earlier_seasons(honest):
    noted = ~np.isnan(honest.places.dates)
    asked = honest.cases.asked
    for place, season, kind in zip(asked.place, asked.season, asked.kind, strict=True):
        assert noted[place, :season, kind].sum() >= 5


def test_forecasts_are_better_than_the_running_mean_and_their_odds_hold(honest):
    told = list(score.lines(honest, LEADS))

    assert len(told) == 9
    assert all(line.off < line.mean_off for line in told)
    share = np.average([line.held for line in told], weights=[line.rows for line in told])
    assert 0.7 < share < 0.9


def test_a_place_without_any_weather_is_still_forecast_from_its_notes(fitted):
    blind = TEST.only([0])
    blind.minimum[:], blind.maximum[:] = np.nan, np.nan

    scored = score.score(fitted, blind, LEADS)

    assert len(scored.cases) > 50
    assert np.isfinite(scored.days).all()


def test_a_kind_without_a_model_falls_back_on_the_running_mean(fitted):
    few = fit.fit(TRAIN.for_kinds(TRAIN.kinds[:2]), leads=LEADS)

    scored = score.score(few, TEST, LEADS)

    mine = scored.of(TEST.kinds[2], 14)
    mean = np.maximum(np.floor(scored.cases.mean[mine] + 0.5), scored.cases.asked.issued[mine] + 1)
    assert (scored.days[mine, 1] == mean).all()


def test_asking_again_gives_the_same_answer_to_the_last_digit(fitted):
    places = TEST.for_kinds(fitted.kinds)
    asked = Asked(*(np.array([value]) for value in (2, 12, 1, 60)))

    one, other = (fit.raw(fitted, places, asked, np.array([20.0])) for _ in range(2))

    assert (one == other).all()
