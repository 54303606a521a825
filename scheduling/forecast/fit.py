"""Fitting the stage model to places with weather and bud dates."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from scheduling.forecast import asking, chill, climate, futures, pooling, so_far, told
from scheduling.forecast.axis import Floats, Ints, Kind, column
from scheduling.forecast.calibration import Calibration, calibrated_on
from scheduling.forecast.climate import Climate
from scheduling.forecast.clock import Clock, Warmth, gain_in_a_day, hands, reading
from scheduling.forecast.places import Places
from scheduling.forecast.pooling import Shared
from scheduling.forecast.so_far import ALL, Asked, Uses
from scheduling.forecast.told import Told

PER_DEGREE = 0.1
"""Held-out errors hardly change from 0.07 to 0.13 (see `trials`)."""
STARTS = (-15.0, -5.0, 5.0, 12.0, 20.0, 28.0, 36.0)
"""Days from 1 January that are tried for each kind."""
NEIGHBOURS = 8
"""Seasons to each side against which a season's reading is held, to choose a start."""
FEWEST_DATES = 30
"""Dates of a kind with measured weather, below which it has no model."""
ROUNDS = 4
LEADS = (7, 14, 28)


class TooLittleToFit(ValueError):
    """No kind has dates enough with weather."""


@dataclass(frozen=True, slots=True)
class Fitted:
    """A fit: all that a forecast takes from other places.

    :ivar gains: [kind] what a reading gains in a day
    :ivar persistence: [lead, kind, 2] what the weather of late says of the weeks ahead: constant and share
    :ivar places: how many it rests on; `first_season`, `last_season`
    :ivar least_chill: chill hours up to the end of January that one in a hundred of its winters stayed below
    :ivar winters: coldest and mildest mean of January and February over its places [degC]; `springs` of March
        and April
    """

    kinds: tuple[Kind, ...]
    clocks: tuple[Clock, ...]
    gains: Floats
    climate: Climate
    shared: Shared
    leads: tuple[int, ...]
    persistence: Floats
    calibration: Calibration
    places: int
    first_season: int
    last_season: int
    winters: tuple[float, float]
    springs: tuple[float, float]
    least_chill: float

    def only(self, kinds: Sequence[Kind]) -> Fitted:
        """Return the fit of some kinds; exact where none of the others was ever noted at a place."""
        rows = [self.kinds.index(kind) for kind in kinds]
        pairs = np.ix_(rows, rows)
        shared = Shared(
            level=self.shared.level[rows],
            lasting=self.shared.lasting[pairs],
            passing=self.shared.passing[pairs],
            season=self.shared.season[pairs],
            season_unmeasured=self.shared.season_unmeasured[pairs],
            off=self.shared.off[rows],
        )
        return replace(
            self,
            kinds=tuple(kinds),
            clocks=tuple(self.clocks[row] for row in rows),
            gains=self.gains[rows],
            shared=shared,
            persistence=self.persistence[:, rows],
            calibration=Calibration(self.calibration.leads, self.calibration.table[:, rows]),
        )


ClockChoice = Callable[[Places, climate.Weather, int], Clock]


def fit(
    places: Places, *, leads: Sequence[int] = LEADS, choose: ClockChoice | None = None, uses: Uses = ALL
) -> Fitted:
    """Return the model fitted to places.

    The odds are set on places that were not fitted: each half of the places by the fit to the other half.

    :raises TooLittleToFit: where no kind has dates enough with weather
    """
    choose = choose or best_start
    whole = _fitted(places, tuple(leads), choose)
    halves = [range(odd, len(places.names), 2) for odd in (0, 1)]
    if len(places.names) < 4:
        halves = [range(len(places.names))] * 2
    tries = []
    for mine, others in (halves, halves[::-1]):
        try:
            other = _fitted(places.only(others), tuple(leads), choose)
        except TooLittleToFit:
            other = whole
        held_out = places.only(mine).for_kinds(other.kinds)
        cases = asking.cases(held_out, leads)
        tries.append(
            (other.kinds, cases, raw(other, held_out, cases.asked, cases.lead.astype(float), uses=uses))
        )
    return replace(whole, calibration=calibrated_on(tries, kinds=whole.kinds, leads=tuple(leads)))


def _fitted(places: Places, leads: tuple[int, ...], choose: ClockChoice) -> Fitted:
    usual = climate.climate_of(places)
    places = places.for_kinds(enough(places))
    if not places.kinds:
        raise TooLittleToFit(f"no kind of bud date has {FEWEST_DATES} dates with weather")
    weather = climate.filled(places, usual)
    clocks = tuple(choose(places, weather, kind) for kind in range(len(places.kinds)))
    turned = told.all_hands(clocks, weather)
    gains = np.array([gain_in_a_day(one.sums, places.dates[:, :, kind]) for kind, one in enumerate(turned)])
    first = told.tell(places, climate=usual, clocks=clocks, gains=gains, off=np.zeros(len(clocks)))
    measured, by_usual = told.both_readings(places, turned, gains)
    shared = pooling.start(told.only_measured(first.readings, measured), by_usual)
    heard = told.tell(places, climate=usual, clocks=clocks, gains=gains, off=shared.off)
    shared = pooling.improved(heard.readings, shared, rounds=ROUNDS)
    return Fitted(
        kinds=places.kinds,
        clocks=clocks,
        gains=gains,
        climate=usual,
        shared=shared,
        leads=leads,
        persistence=_persistence(heard, leads),
        calibration=Calibration.none(leads, len(clocks)),
        places=len(places.names),
        first_season=places.first_season,
        last_season=places.first_season + places.dates.shape[1] - 1,
        winters=_range(weather, slice(92, 151)),
        springs=_range(weather, slice(151, 212)),
        least_chill=_least_chill(weather),
    )


def enough(places: Places) -> tuple[Kind, ...]:
    """Return the kinds with dates enough in seasons with weather."""
    measured = (~np.isnan(places.minimum)).mean(-1) > 0.5
    counts = (~np.isnan(places.dates) & measured[:, :, None]).sum((0, 1))
    return tuple(kind for kind, many in zip(places.kinds, counts, strict=True) if many >= FEWEST_DATES)


def best_start(places: Places, weather: climate.Weather, kind: int) -> Clock:
    """Return the clock whose readings of a kind scatter least from season to season, in days."""
    clocks = [Warmth(PER_DEGREE, start) for start in STARTS]
    return min(clocks, key=lambda clock: scatter(clock, places, weather, kind))


def scatter(clock: Clock, places: Places, weather: climate.Weather, kind: int) -> float:
    """Return how far readings lie from those of the seasons about them, in days: the mean."""
    sums = hands(clock, weather).sums
    dates = np.where(weather.known.mean(-1) > 0.9, places.dates[:, :, kind], np.nan)
    if np.isnan(dates).all():
        return np.inf
    values = reading(sums, dates)
    noted = ~np.isnan(values)
    about = np.lib.stride_tricks.sliding_window_view(
        np.pad(
            np.stack([np.where(noted, values, 0), noted.astype(float)]), ((0, 0), (0, 0), (NEIGHBOURS,) * 2)
        ),
        2 * NEIGHBOURS + 1,
        axis=2,
    ).sum(-1)
    others = about[1] - noted
    near = (about[0] - np.where(noted, values, 0)) / np.maximum(others, 1)
    off = np.abs(values - near)[noted & (others >= 4)]
    return float(off.mean() / gain_in_a_day(sums, dates)) if off.size else np.inf


def _range(weather: climate.Weather, days: slice) -> tuple[float, float]:
    mean = np.where(weather.known, (weather.minimum + weather.maximum) / 2, np.nan)[:, :, days]
    known = ~np.isnan(mean)
    each = np.where(known, mean, 0).sum((1, 2)) / np.maximum(known.sum((1, 2)), 1)
    each = each[known.any((1, 2))]
    return (float(each.min()), float(each.max())) if each.size else (0.0, 0.0)


CHILL_DAYS = slice(column(-61), column(31))
"""From 1 November to the end of January."""


def chill_had(minimum: Floats, maximum: Floats) -> Floats:
    """Return the chill hours from November to January: [...], from [..., day]; nan where a day misses."""
    hours = chill.hours_of(minimum[..., CHILL_DAYS], maximum[..., CHILL_DAYS])
    counted: Floats = np.where(np.isnan(hours), np.nan, chill.chill_hours(hours)).sum((-2, -1))
    return counted


def _least_chill(weather: climate.Weather) -> float:
    whole = weather.known[:, :, CHILL_DAYS].mean(-1) > 0.95
    had = chill_had(weather.minimum, weather.maximum)[whole]
    return float(np.quantile(had, 0.01)) if had.size else 0.0


def _persistence(heard: Told, leads: tuple[int, ...]) -> Floats:
    """Return for each lead and kind what the weather of late says of the weeks ahead: [lead, kind, 2]."""
    fitted = np.zeros((len(leads), len(heard.hands), 2))
    for at, lead in enumerate(leads):
        cases = asking.cases(heard.places, [lead])
        late, ahead = futures.of_late(heard, cases.asked), futures.just_ahead(heard, cases.asked)
        for kind in range(len(heard.hands)):
            mine = (cases.asked.kind == kind) & (late != 0)
            if mine.sum() >= FEWEST_DATES:
                forms = np.stack([np.ones(int(mine.sum())), late[mine]], axis=1)
                fitted[at, kind] = np.linalg.lstsq(forms, ahead[mine], rcond=None)[0]
    return fitted


def at_lead(table: Floats, leads: Sequence[int], lead: Floats, kind: Ints) -> Floats:
    """Return a table's rows at leads between those it was made for: [row, ...]."""
    order = np.argsort(leads)
    known, ordered = np.array(leads, dtype=float)[order], table[order]
    above = np.clip(np.searchsorted(known, lead), 1, max(len(known) - 1, 1))
    if len(known) == 1:
        only: Floats = ordered[0, kind]
        return only
    below = above - 1
    part = np.clip((lead - known[below]) / (known[above] - known[below]), 0, 1)[:, None]
    mixed: Floats = ordered[below, kind] * (1 - part) + ordered[above, kind] * part
    return mixed


def raw(
    fitted: Fitted,
    places: Places,
    asked: Asked,
    lead: Floats,
    *,
    uses: Uses = ALL,
    start: Floats | None = None,
    known_until: Ints | None = None,
) -> Floats:
    """Return the dates that one in ten, half and nine in ten come before, not yet calibrated: [row, 3].

    Place by place, so that no place can touch another's forecast even in the last digit.

    :param places: with the kinds of the fit, in its order
    :param start: [place] how much warmer than the fitted places it is known to be, where no season was before
    :param known_until: [row] last day whose weather is known or forecast; the day of issue if absent
    """
    made = np.full((len(asked), 3), np.nan)
    for place in np.unique(asked.place):
        rows = np.flatnonzero(asked.place == place)
        here = asked.rows(rows)
        alone = Asked(np.zeros(len(rows), dtype=np.int64), here.season, here.kind, here.issued)
        heard = told.tell(
            places.only([int(place)]),
            climate=fitted.climate,
            clocks=fitted.clocks,
            gains=fitted.gains,
            off=fitted.shared.off,
            start=start,
        )
        before = pooling.expected(heard.readings, fitted.shared)
        awaited = so_far.await_events(heard, fitted.shared, before, alone, uses)
        hastened = np.zeros(len(rows))
        until = None if known_until is None else known_until[rows]
        if uses.recent_weather:
            late = futures.of_late(heard, alone)
            constant, share = at_lead(fitted.persistence, fitted.leads, lead[rows], alone.kind).T
            hastened = np.where((late != 0) & ~awaited.unmeasured, constant + share * late, 0.0)
        made[rows] = futures.possible_dates(heard, alone, awaited, fitted.shared.off, hastened, until)
    return made
