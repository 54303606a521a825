"""Other models, tried on the same footing: fitted to half of the places, forecasting the rest.

`manage.py fit_forecast --from DIR --trials 3` prints the table that stands in `README.md` beside this file.
Each trial changes one thing: another clock (the rest of the model as it is), or a part of the model left out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from scheduling.forecast import chill, fit, score
from scheduling.forecast.axis import Flags, Floats, Kind
from scheduling.forecast.climate import Weather
from scheduling.forecast.clock import DAY, Clock, Warmth
from scheduling.forecast.fit import Fitted, best_start, scatter
from scheduling.forecast.places import Places
from scheduling.forecast.records import Event
from scheduling.forecast.score import Scored
from scheduling.forecast.so_far import ALL, Uses

LEADS = (7, 14, 28)
EACH = 3
"""Every third hour stands for three, to keep a trial short."""
CHILL_FROM = -61
"""1 November: chill is counted from then on."""


class Chill(StrEnum):
    """How chill is counted."""

    HOURS = "hours"
    UTAH = "utah"
    DYNAMIC = "dynamic"


@dataclass(frozen=True, slots=True)
class DegreeDays:
    """Thermal time: degrees above a base, from a day on."""

    base: float
    start: float

    def pace(self, minimum: Floats, maximum: Floats) -> Floats:
        hours = chill.hours_of(minimum, maximum, each=EACH)
        return np.where(self.start <= DAY, np.maximum(hours - self.base, 0).mean(-1), 0.0)


@dataclass(frozen=True, slots=True)
class Sigmoid:
    """A response that levels off in warmth."""

    slope: float
    half_at: float
    start: float

    def pace(self, minimum: Floats, maximum: Floats) -> Floats:
        hours = chill.hours_of(minimum, maximum, each=EACH)
        response = 10 / (1 + np.exp(-self.slope * (hours - self.half_at)))
        return np.where(self.start <= DAY, response.mean(-1), 0.0)


@dataclass(frozen=True, slots=True)
class ChillThenHeat:
    """Growing degree hours, counted once the chill is had."""

    by: Chill
    wanted: float

    def pace(self, minimum: Floats, maximum: Floats) -> Floats:
        hours = chill.hours_of(minimum, maximum, each=EACH)
        had = np.cumsum(np.where(DAY >= CHILL_FROM, _chill_of_days(hours, self.by), 0.0), axis=-1)
        heat = chill.growing_degree_hours(hours).mean(-1)
        had_enough = 1 / (1 + np.exp(-np.clip((had - self.wanted) / (0.04 * self.wanted), -30, 30)))
        paced: Floats = heat * had_enough
        return paced


def _chill_of_days(hours: Floats, by: Chill) -> Floats:
    if by is Chill.HOURS:
        counted: Floats = chill.chill_hours(hours).sum(-1) * EACH
        return counted
    if by is Chill.UTAH:
        units: Floats = chill.utah_units(hours).sum(-1) * EACH
        return units
    every = np.repeat(hours, EACH, axis=-1)
    portions = chill.dynamic_portions(every.reshape(*every.shape[:-2], -1))
    of_days: Floats = portions.reshape(every.shape).sum(-1)
    return of_days


@dataclass(frozen=True, slots=True)
class Trial:
    """One model.

    :ivar choose: gives each kind its clock
    :ivar alone: a place learns from its own notes only, each of its years alike
    """

    choose: Callable[[Places, Weather, int], Clock] = best_start
    uses: Uses = ALL
    alone: bool = False


def one_for_all(clock: Clock) -> Callable[[Places, Weather, int], Clock]:
    """Return a choice of the same clock for every kind."""
    return lambda _places, _weather, _kind: clock


def least_scatter(clocks: Sequence[Clock]) -> Callable[[Places, Weather, int], Clock]:
    """Return a choice of the clock whose readings scatter least."""
    return lambda places, weather, kind: min(clocks, key=lambda one: scatter(one, places, weather, kind))


STARTS = (-15.0, 0.0, 14.0, 31.0)
TRIALS: dict[str, Trial] = {
    "as shipped": Trial(),
    "without the season so far": Trial(uses=Uses(seen=False, not_yet=False)),
    "without what is not yet seen": Trial(uses=Uses(not_yet=False)),
    "without the weather of late": Trial(uses=Uses(recent_weather=False)),
    "each place by its own mean": Trial(alone=True),
    "warmth, steeper (0.13)": Trial(least_scatter([Warmth(0.13, start) for start in fit.STARTS])),
    "warmth, flatter (0.07)": Trial(least_scatter([Warmth(0.07, start) for start in fit.STARTS])),
    "thermal time above 0 degC": Trial(least_scatter([DegreeDays(0.0, start) for start in STARTS])),
    "thermal time above 4 degC": Trial(least_scatter([DegreeDays(4.0, start) for start in STARTS])),
    "sigmoid about 14 degC": Trial(least_scatter([Sigmoid(0.2, 14.0, start) for start in STARTS])),
    "chill hours, then heat": Trial(one_for_all(ChillThenHeat(Chill.HOURS, 700))),
    "Utah units, then heat": Trial(one_for_all(ChillThenHeat(Chill.UTAH, 700))),
    "Dynamic portions, then heat": Trial(one_for_all(ChillThenHeat(Chill.DYNAMIC, 35))),
}
ENSEMBLE = ("as shipped", "thermal time above 0 degC", "sigmoid about 14 degC")
WATCHED = (Kind("peach", Event.FIRST_BLOOM), Kind("peach", Event.BUDBURST))


def table(places: Places, *, splits: int) -> Iterator[str]:
    """Yield mean absolute errors in days at 7, 14 and 28 days, over the splits, as rows of Markdown."""
    heads = [*(str(kind) for kind in WATCHED), "all kinds"]
    yield "| model | " + " | ".join(f"{head} 7 / 14 / 28" for head in heads) + " |"
    yield "|---" * (len(heads) + 1) + "|"
    made: dict[str, list[Scored]] = {}
    for name, trial in TRIALS.items():
        made[name] = [_scored(trial, places, seed) for seed in range(splits)]
        yield _row(name, made[name])
    mixed = [
        replace(rows[0], days=np.mean([one.days for one in rows], axis=0))
        for rows in zip(*(made[name] for name in ENSEMBLE), strict=True)
    ]
    yield _row("mean of " + ", ".join(ENSEMBLE), mixed)
    yield _row("the place's running mean", [_mean_of(one) for one in made["as shipped"]])


def halves(places: Places, seed: int) -> tuple[Places, Places]:
    """Return places to fit and places to forecast."""
    order = np.random.default_rng(seed).permutation(len(places.names)).tolist()
    half = len(order) // 2
    return places.only(sorted(order[:half])), places.only(sorted(order[half:]))


def _scored(trial: Trial, places: Places, seed: int) -> Scored:
    train, test = halves(places, seed)
    fitted = fit.fit(train, leads=LEADS, choose=trial.choose, uses=trial.uses)
    return score.score(_alone(fitted) if trial.alone else fitted, test, LEADS, uses=trial.uses)


def _alone(fitted: Fitted) -> Fitted:
    """Return the fit with every place far from every other, and no part that passes."""
    wide = fitted.shared.lasting + np.eye(len(fitted.kinds)) * 1e3
    whole = fitted.shared.season + fitted.shared.passing
    return replace(
        fitted,
        shared=replace(fitted.shared, lasting=wide, season=whole, passing=fitted.shared.passing * 1e-6),
    )


def _mean_of(scored: Scored) -> Scored:
    mean = np.floor(scored.cases.mean + 0.5)
    return replace(scored, days=np.repeat(mean[:, None], 3, axis=1))


def _row(name: str, made: Sequence[Scored]) -> str:
    cells = [*(_errors(made, kind) for kind in WATCHED), _errors(made, None)]
    return f"| {name} | " + " | ".join(cells) + " |"


def _errors(made: Sequence[Scored], kind: Kind | None) -> str:
    told = []
    for lead in LEADS:
        off = [np.abs(one.days[:, 1] - one.cases.came)[_mine(one, kind, lead)] for one in made]
        told.append(f"{np.concatenate(off).mean():.2f}")
    return " / ".join(told)


def _mine(scored: Scored, kind: Kind | None, lead: int) -> Flags:
    return scored.of(kind, lead) if kind else scored.cases.lead == lead
