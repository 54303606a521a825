"""What a season has shown up to a day, and what that says of an event still to come.

Events seen by the day of issue, of any species at the place, draw the expectation towards what they read.
Events not seen yet do so too: they must read beyond where their clock stands today. Nothing later is
looked at.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from scheduling.forecast.axis import FIRST_DAY, Flags, Floats, Ints
from scheduling.forecast.pooling import Expected, Shared, conditioned, pulled_in, season_spread
from scheduling.forecast.told import COUNTED_FROM, HOLES, Told

FAR = 6.0
"""Standard deviations beyond which an event that is overdue says no more."""


@dataclass(frozen=True, slots=True)
class Asked:
    """Forecasts asked for, one a row: where, which season (by its column), which kind, as of which day."""

    place: Ints
    season: Ints
    kind: Ints
    issued: Ints

    def __len__(self) -> int:
        return len(self.place)

    def rows(self, chosen: Flags | Ints) -> Asked:
        """Return some of the rows."""
        return Asked(self.place[chosen], self.season[chosen], self.kind[chosen], self.issued[chosen])


@dataclass(frozen=True, slots=True)
class Uses:
    """Which parts of the model are used; all but for trials of what each is worth."""

    seen: bool = True
    not_yet: bool = True
    recent_weather: bool = True


ALL = Uses()


@dataclass(frozen=True, slots=True)
class Awaited:
    """The reading at which an event is awaited, one a row, in days of ordinary weather.

    :ivar now: where the clock stands on the day of issue
    :ivar unmeasured: whether the season's weather is mostly missing
    """

    mean: Floats
    spread: Floats
    now: Floats
    unmeasured: Flags


def await_events(told: Told, shared: Shared, before: Expected, asked: Asked, uses: Uses = ALL) -> Awaited:
    """Return at which reading each event asked for is awaited, by what was seen up to its day of issue."""
    at = (asked.place, asked.season)
    issued = asked.issued - FIRST_DAY
    dates = told.places.dates[at]
    holes = told.holes[(*at, issued)] - told.holes[(*at, COUNTED_FROM)]
    unmeasured = holes > HOLES
    spread = before.spread[at] + season_spread(shared, np.repeat(unmeasured[:, None], dates.shape[1], axis=1))
    mean = shared.level + before.mean[at]
    come = dates <= asked.issued[:, None]
    if uses.seen:
        mean, spread = _with_seen(mean, spread, told.readings.values[at], come)
    now = _clocks_now(told, shared, asked, unmeasured)
    if uses.not_yet:
        open_still = ~come & _followed(told.places.dates, asked)
        open_still[np.arange(len(asked)), asked.kind] = False
        mean, spread = _with_not_yet(mean, spread, now, open_still)
    rows = np.arange(len(asked))
    variance = np.maximum(spread[rows, asked.kind, asked.kind], 1e-6)
    return Awaited(mean[rows, asked.kind], np.sqrt(variance), now[rows, asked.kind], unmeasured)


def _with_seen(mean: Floats, spread: Floats, values: Floats, come: Flags) -> tuple[Floats, Floats]:
    seen = come & ~np.isnan(values)
    gains = conditioned(spread, seen, spread)
    surprise = pulled_in(values - mean, spread, seen)
    mean = mean + np.einsum("ref,re->rf", gains, surprise)
    return mean, spread - np.swapaxes(spread * seen[:, :, None], 1, 2) @ gains


def _followed(dates: Floats, asked: Asked) -> Flags:
    """Return whether somebody noted a kind at the place in one of the two seasons before."""
    noted = ~np.isnan(dates)
    last, before_last = (np.maximum(asked.season - back, 0) for back in (1, 2))
    followed: Flags = noted[asked.place, last] | noted[asked.place, before_last]
    return followed


def _clocks_now(told: Told, shared: Shared, asked: Asked, unmeasured: Flags) -> Floats:
    """Return where each kind's clock stands on the day of issue: [row, kind]."""
    cell = (asked.place, asked.season, asked.issued - FIRST_DAY)
    columns = []
    for kind, one in enumerate(told.hands):
        usual = np.sqrt(one.usual[cell]) / told.gains[kind] - shared.off[kind]
        columns.append(np.where(unmeasured, usual, np.sqrt(one.sums[cell]) / told.gains[kind]))
    return np.stack(columns, axis=1)


def _with_not_yet(mean: Floats, spread: Floats, now: Floats, open_still: Flags) -> tuple[Floats, Floats]:
    """Return mean and spread once each open event is known to read beyond `now`; two moments are kept."""
    for kind in range(mean.shape[1]):
        variance = np.maximum(spread[:, kind, kind], 1e-9)
        size = np.sqrt(variance)
        edge = np.clip(np.where(open_still[:, kind], (now[:, kind] - mean[:, kind]) / size, -9.0), -9.0, FAR)
        pull = np.exp(-(edge**2) / 2) / np.sqrt(2 * np.pi) / np.maximum(ndtr(-edge), 1e-12)
        share = spread[:, :, kind] / variance[:, None]
        mean = mean + share * (size * pull)[:, None]
        narrowing = variance * pull * (pull - edge)
        spread = spread - share[:, :, None] * share[:, None] * narrowing[:, None, None]
    return mean, spread
