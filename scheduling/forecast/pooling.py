"""What bud dates have in common: how much lasts at a place, passes over years, and is of one season alone.

A reading (see `clock`) of kind k at place p in season s is

    level[k] + lasting[p, k] + passing[p, s, k] + of_the_season[p, s, k]

each part a draw from a normal law with covariances between the kinds. `passing` fades from season to season
(another tree, another observer). The covariances are started from differences between seasons and then
improved by expectation and maximisation over all places (Shumway and Stoffer, "An approach to time series
smoothing and forecasting using the EM algorithm", J. Time Series Analysis 3, 1982; equations from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from scheduling.forecast.axis import Flags, Floats

FADES = 0.6
"""Share of the passing part that is left a season later (by held-out error)."""
LAGS = (1, 2, 3, 4, 6, 8, 10)
SEEMS_A_SLIP = 3.0
"""Robust standard deviations beyond which a difference between two seasons counts no further."""
PULLED_IN = 2.5
"""Standard deviations beyond which one season's surprise counts no further."""
FEWEST_SEASONS = 5
"""Seasons of a kind from which a place's mean is told, for the start only."""


@dataclass(frozen=True, slots=True)
class Shared:
    """What is common to all places, in days of ordinary weather: [kind] and [kind, kind].

    :ivar off: how much later a date reads by the usual weather alone; `season_unmeasured` the covariance then
    """

    level: Floats
    lasting: Floats
    passing: Floats
    season: Floats
    season_unmeasured: Floats
    off: Floats


@dataclass(frozen=True, slots=True)
class Readings:
    """[place, season, kind].

    :ivar values: readings, by the usual weather where it was not measured; nan without a date
    :ivar unmeasured: where the weather was not measured
    """

    values: Floats
    unmeasured: Flags


@dataclass(frozen=True, slots=True)
class Expected:
    """What is expected of a season before it begins, less the level: [place, season, kind (, kind)]."""

    mean: Floats
    spread: Floats


def positive(matrix: Floats, *, least: float = 1e-4) -> Floats:
    """Return the nearest matrix that can be a covariance."""
    values, vectors = np.linalg.eigh((matrix + matrix.T) / 2)
    kept = np.maximum(values, max(least * float(values.max()), 1e-9))
    made: Floats = (vectors * kept) @ vectors.T
    return made


def start(measured: Floats, usual: Floats) -> Shared:
    """Return a first guess.

    :param measured: readings by measured weather, nan elsewhere; `usual` the same dates by the usual weather
    """
    off = _mean_of(_pulled(usual - measured))
    level, lasting = _levels(measured)
    season, passing = _parts(measured)
    unmeasured, passing_too = _parts(np.where(np.isnan(measured), np.nan, usual - off))
    return Shared(
        level=level,
        lasting=lasting,
        passing=passing,
        season=season,
        season_unmeasured=positive(unmeasured + passing_too - passing + np.eye(len(off))),
        off=off,
    )


def _mean_of(values: Floats) -> Floats:
    known = ~np.isnan(values)
    mean: Floats = np.where(known, values, 0).sum((0, 1)) / np.maximum(known.sum((0, 1)), 1)
    return mean


def _pulled(differences: Floats) -> Floats:
    flat = np.abs(differences).reshape(-1, differences.shape[-1])
    bound = np.array([_middle(column[~np.isnan(column)]) for column in flat.T]) * 1.4826 * SEEMS_A_SLIP
    pulled: Floats = np.clip(differences, -bound, bound)
    return pulled


def _middle(values: Floats) -> float:
    return float(np.median(values)) if values.size else 1.0


def _products(values: Floats) -> Floats:
    """Return the mean products of pairs of kinds, over the rows in which both are known."""
    rows = values.reshape(-1, values.shape[-1])
    counted = (~np.isnan(rows)).astype(float)
    zeroed = np.nan_to_num(rows)
    mean: Floats = zeroed.T @ zeroed / np.maximum(counted.T @ counted, 1)
    return mean


def _levels(values: Floats) -> tuple[Floats, Floats]:
    known = ~np.isnan(values)
    many = known.sum(1)
    means = np.where(known, values, 0).sum(1) / np.maximum(many, 1)
    means = np.where(many >= FEWEST_SEASONS, means, np.nan)
    columns = (means[:, kind] for kind in range(means.shape[1]))
    level = np.array([_middle(column[~np.isnan(column)]) for column in columns])
    return level, positive(_products(means - level))


def _parts(values: Floats) -> tuple[Floats, Floats]:
    """Return the covariances of the part of one season and of the part that fades, from pairs of seasons."""
    halves = np.array([_products(_pulled(values[:, lag:] - values[:, :-lag])) / 2 for lag in LAGS])
    forms = np.stack([np.ones(len(LAGS)), 1 - FADES ** np.array(LAGS)], axis=1)
    weights = 1 / np.sqrt(np.array(LAGS))
    solved = np.linalg.pinv(forms * weights[:, None]) @ (halves.reshape(len(LAGS), -1) * weights[:, None])
    season, passing = solved.reshape(2, *halves.shape[1:])
    return _held(season), _held(passing)


def _held(matrix: Floats) -> Floats:
    """Return the covariances with variances above nothing and correlations below one."""
    sizes = np.sqrt(np.maximum(np.diag(matrix), 0.5))
    within = np.clip(matrix / np.outer(sizes, sizes), -0.2, 0.95)
    np.fill_diagonal(within, 1.0)
    return positive(within * np.outer(sizes, sizes))


@dataclass(frozen=True, slots=True)
class _Step:
    """One season of the filter: before and after what it showed."""

    before: Floats
    spread_before: Floats
    after: Floats
    spread_after: Floats
    surprise: Floats
    seen: Flags


def expected(readings: Readings, shared: Shared) -> Expected:
    """Return what each season lets expect from the seasons before it alone (a Kalman filter over years)."""
    steps = _filter(readings, shared)
    kinds = len(shared.level)
    mean = np.stack([step.before[:, :kinds] + step.before[:, kinds:] for step in steps], axis=1)
    return Expected(mean, np.stack([_both(step.spread_before, kinds) for step in steps], axis=1))


def _both(spread: Floats, kinds: int) -> Floats:
    """Return the covariance of the lasting and the passing part together."""
    rows = spread[:, :kinds] + spread[:, kinds:]
    return rows[:, :, :kinds] + rows[:, :, kinds:]


def season_spread(shared: Shared, unmeasured: Flags) -> Floats:
    """Return the covariance of one season's part: [..., kind, kind]; wider where weather was not measured."""
    either = unmeasured[..., :, None] | unmeasured[..., None, :]
    spread: Floats = np.where(either, shared.season_unmeasured, shared.season)
    return spread


def conditioned(spread: Floats, seen: Flags, gains_of: Floats) -> Floats:
    """Return spread[seen, seen]^-1 @ gains_of[seen] for each row, nothing where not seen."""
    pairs = seen[:, :, None] & seen[:, None, :]
    known: Floats = np.where(pairs, spread, 0.0) + np.eye(spread.shape[-1]) * ~seen[:, :, None]
    wanted: Floats = gains_of * seen[:, :, None]
    solved: Floats = np.linalg.solve(known, wanted).astype(np.float64)
    return solved


def pulled_in(surprise: Floats, spread: Floats, seen: Flags) -> Floats:
    """Return the surprises, none beyond what an ordinary season can bring, nothing where not seen."""
    bound = PULLED_IN * np.sqrt(np.einsum("ree->re", spread))
    return np.where(seen, np.clip(np.nan_to_num(surprise), -bound, bound), 0.0)


def _filter(readings: Readings, shared: Shared) -> list[_Step]:
    places, seasons, kinds = readings.values.shape
    state = np.zeros((places, 2 * kinds))
    spread = np.zeros((places, 2 * kinds, 2 * kinds))
    spread[:, :kinds, :kinds], spread[:, kinds:, kinds:] = shared.lasting, shared.passing
    keeps: Floats = np.repeat(np.array([1.0, FADES]), kinds)
    fresh = np.zeros((2 * kinds, 2 * kinds))
    fresh[kinds:, kinds:] = (1 - FADES**2) * shared.passing
    steps = []
    for season in range(seasons):
        values = readings.values[:, season]
        seen = ~np.isnan(values)
        of_season = season_spread(shared, readings.unmeasured[:, season])
        rows = spread[:, :kinds] + spread[:, kinds:]
        whole = rows[:, :, :kinds] + rows[:, :, kinds:] + of_season
        surprise = values - shared.level - state[:, :kinds] - state[:, kinds:]
        surprise = pulled_in(surprise, whole, seen)
        gains = conditioned(whole, seen, rows)
        after = state + np.einsum("sef,se->sf", gains, surprise)
        narrowed = spread - np.swapaxes(rows * seen[:, :, None], 1, 2) @ gains
        narrowed = (narrowed + np.swapaxes(narrowed, 1, 2)) / 2
        steps.append(_Step(state, spread, after, narrowed, surprise, seen))
        state, spread = after * keeps, narrowed * keeps[:, None] * keeps + fresh
    return steps


def improved(readings: Readings, shared: Shared, *, rounds: int) -> Shared:
    """Return the covariances after some rounds of expectation and maximisation."""
    for _ in range(rounds):
        shared = _improved(readings, shared)
    return shared


def _improved(readings: Readings, shared: Shared) -> Shared:
    steps, kinds = _filter(readings, shared), len(shared.level)
    keeps = np.repeat([1.0, FADES], kinds)
    whole = np.array([step.seen.any(1) for step in steps])  # [season, place]
    begins, ends = whole.argmax(0), len(steps) - 1 - whole[::-1].argmax(0)
    state, spread = steps[-1].after, steps[-1].spread_after
    passing, passing_rows = np.zeros((kinds, kinds)), 0
    of_season, season_rows = np.zeros((kinds, kinds)), 0
    for season in range(len(steps) - 1, -1, -1):
        step = steps[season]
        if season < len(steps) - 1:
            later, later_state, later_spread = steps[season + 1], state, spread
            back = np.swapaxes(np.linalg.solve(later.spread_before, keeps[:, None] * step.spread_after), 1, 2)
            state = step.after + np.einsum("sij,sj->si", back, later_state - later.before)
            spread = step.spread_after + back @ (later_spread - later.spread_before) @ np.swapaxes(back, 1, 2)
            within = (season >= begins) & (season < ends)
            passing += _moved(later_state, later_spread, state, spread, back, kinds)[within].sum(0)
            passing_rows += int(within.sum())
        counted = step.seen.any(1) & ~readings.unmeasured[:, season].any(1)
        if counted.any():
            left = step.surprise + step.before[:, :kinds] + step.before[:, kinds:]
            left = np.where(step.seen, left - state[:, :kinds] - state[:, kinds:], 0.0)
            rows = left[counted], _both(spread[counted], kinds), step.seen[counted]
            of_season += _season_products(*rows, shared.season).sum(0)
            season_rows += int(counted.sum())
    first = spread[:, :kinds, :kinds] + state[:, :kinds, None] * state[:, None, :kinds]
    return replace(
        shared,
        lasting=positive(first.mean(0)),
        passing=positive(passing / max(passing_rows, 1) / (1 - FADES**2)) if passing_rows else shared.passing,
        season=positive(of_season / season_rows) if season_rows else shared.season,
    )


def _moved(
    later: Floats, later_spread: Floats, state: Floats, spread: Floats, back: Floats, kinds: int
) -> Floats:
    """Return the products of what came anew to the passing part from one season to the next."""
    both = later_spread @ np.swapaxes(back, 1, 2)
    new, old = later[:, kinds:], state[:, kinds:]
    new_new = later_spread[:, kinds:, kinds:] + new[:, :, None] * new[:, None]
    new_old = both[:, kinds:, kinds:] + new[:, :, None] * old[:, None]
    old_old = spread[:, kinds:, kinds:] + old[:, :, None] * old[:, None]
    return new_new - FADES * (new_old + np.swapaxes(new_old, 1, 2)) + FADES**2 * old_old


def _season_products(left: Floats, spread: Floats, seen: Flags, of_season: Floats) -> Floats:
    """Return the expected products of one season's part; kinds not noted are filled from those that were."""
    pairs = seen[:, :, None] & seen[:, None, :]
    told = (left[:, :, None] * left[:, None] + spread) * pairs
    rows = np.broadcast_to(of_season, spread.shape)
    share = np.swapaxes(conditioned(rows, seen, rows), 1, 2)
    filled = share @ told @ np.swapaxes(share, 1, 2)
    return filled + of_season - share @ (of_season * seen[:, :, None])
