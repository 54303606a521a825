"""The forecast of one block: what the fit says of it, as of a day, and what could not be used.

The fit is from one country. A block's own notes take over as they come: with none it is placed where a
place may lie, with ten the fit gives little but the pace. Never a date from nothing: where neither weather
nor notes are enough, `CannotForecast` says so.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from scheduling.forecast import calibration, far_away, few_winters, fit, futures, score
from scheduling.forecast.axis import (
    DAYS,
    FIRST_DAY,
    Floats,
    Kind,
    column,
    date_of,
    day_of,
    season_of,
)
from scheduling.forecast.fit import Fitted
from scheduling.forecast.places import EARLIEST_EVENT, LATEST_EVENT, Places
from scheduling.forecast.records import CannotForecast, Event, Forecast, Remark
from scheduling.forecast.so_far import Asked
from scheduling.forecast.sound import Day, ended, sound
from scheduling.forecast.species import STANDS_IN, species_of
from scheduling.forecast.stored import SOURCE
from scheduling.forecast.told import COUNTED_FROM, HOLES

FORECAST_DAYS = 7
"""Days of a weather forecast that are used; beyond them the place's own past says as much (our choice, no
source)."""
FEWEST_NOTES = 5
"""Own dates of an event that can carry a forecast without weather."""
USUAL_LEAD = 14
"""Days ahead for which the weather of late is weighed: what it says hardly differs from 7 to 28."""
LATEST_SEASONS = 30
"""Seasons looked back on."""
WIDER_A_DEGREE = 0.15
"""Share by which the odds widen for each degree that a place lies outside the fitted ones (our choice, no
source)."""
WIDER_WITHOUT_A_PAST = 0.25
"""Share by which they widen where no earlier season of the place's weather is known (our choice, no
source)."""
NO_CHILL, LITTLE_CHILL = 0.6, 1.0
"""Shares of the least chill of the fitted places: below the first there is no forecast, below the other it
widens."""
WIDER_FOR_LITTLE_CHILL = 0.3


@dataclass(frozen=True, slots=True)
class Note:
    """An event of a species at the place, observed."""

    species: str
    event: Event
    on: date


@dataclass(frozen=True, slots=True)
class Outlook:
    """What a block has to expect.

    :ivar forecasts: in order of the events
    :ivar remarks: what was left out or is unlike the places fitted; part of every showing
    """

    forecasts: tuple[Forecast, ...]
    remarks: tuple[Remark, ...]


def outlook(
    fitted: Fitted,
    *,
    crop: str,
    notes: Iterable[Note],
    observed: Iterable[Day],
    forecast: Iterable[Day] = (),
    latitude: float | None = None,
    issued_on: date,
) -> Outlook:
    """Return the forecasts of a block's events as of a day.

    :param notes: bud dates of any species at the place, this season's and earlier ones; later than the day
        of issue they are not looked at
    :param observed: daily weather; what is later than the day of issue is not looked at
    :param forecast: the weather forecast of that day
    :param latitude: degrees north
    :raises CannotForecast: `no_model`, `other_hemisphere`, `out_of_season`, `unit_unlikely`, `no_chill`,
        `nothing_to_go_on`
    """
    species = species_of(crop)
    kinds = [kind for kind in fitted.kinds if kind.species == species]
    if species is None or not kinds:
        raise CannotForecast("no_model", crop=crop, species=_species_fitted(fitted))
    if latitude is not None and latitude < 0:
        raise CannotForecast("other_hemisphere")
    season = season_of(issued_on)
    if not 0 <= column(day_of(issued_on, season)) < DAYS:
        raise CannotForecast("out_of_season")
    known = sound((day for day in observed if day.on <= issued_on), season=season)
    ahead = sound((day for day in forecast if day.on > issued_on), season=season)
    noted = [note for note in notes if note.on <= issued_on]
    heard_of = {Kind(note.species, note.event) for note in noted}
    fitted = fitted.only([kind for kind in fitted.kinds if kind in kinds or kind in heard_of])
    place = _place(fitted, known.days, _ahead(ahead.days, issued_on), noted, season)
    here = _Here(fitted, place, season, issued_on)
    remarks = [*known.left_out, *ahead.left_out, *ended(known.days, issued_on)]
    if crop.lower() in STANDS_IN:
        remarks.append(Remark(STANDS_IN[crop.lower()], {}))
    wider = here.wider(remarks)
    return Outlook(tuple(here.forecasts(sorted(kinds, key=_order), wider)), tuple(remarks))


def _order(kind: Kind) -> int:
    return list(Event).index(kind.event)


def _species_fitted(fitted: Fitted) -> str:
    return ", ".join(sorted({kind.species for kind in fitted.kinds}))


def _ahead(days: Sequence[Day], issued_on: date) -> list[Day]:
    """Return the days of a weather forecast that follow the day of issue without a gap."""
    known = {day.on: day for day in days}
    used = []
    for step in range(1, FORECAST_DAYS + 1):
        day = known.get(issued_on + timedelta(days=step))
        if day is None:
            break
        used.append(day)
    return used


def _place(
    fitted: Fitted, observed: Sequence[Day], ahead: Sequence[Day], notes: Sequence[Note], season: int
) -> Places:
    """Return the block as a place: weather and notes of the seasons up to this one."""
    first = season - LATEST_SEASONS
    shape = (1, LATEST_SEASONS + 1, DAYS)
    low, high = np.full(shape, np.nan), np.full(shape, np.nan)
    for day in (*observed, *ahead):
        year = season_of(day.on)
        at = column(day_of(day.on, year))
        if first <= year <= season and 0 <= at < DAYS:
            low[0, year - first, at], high[0, year - first, at] = day.minimum, day.maximum
    dates = np.full((1, LATEST_SEASONS + 1, len(fitted.kinds)), np.nan)
    at_kind = {kind: row for row, kind in enumerate(fitted.kinds)}
    for note in notes:
        row, when = at_kind.get(Kind(note.species, note.event)), day_of(note.on, note.on.year)
        if row is None or not first <= note.on.year <= season or not EARLIEST_EVENT <= when <= LATEST_EVENT:
            continue
        cell = (0, note.on.year - first, row)
        if not dates[cell] <= when:
            dates[cell] = when
    nothing = np.full(shape, np.nan)
    return Places(("block",), first, fitted.kinds, dates, low, high, nothing, nothing)


@dataclass(frozen=True, slots=True)
class _Here:
    """One block as of a day."""

    fitted: Fitted
    place: Places
    season: int
    issued_on: date

    @property
    def issued(self) -> int:
        return day_of(self.issued_on, self.season)

    @property
    def _this(self) -> tuple[Floats, Floats]:
        return self.place.minimum[0, -1], self.place.maximum[0, -1]

    def wider(self, remarks: list[Remark]) -> float:
        """Return how much wider than at the fitted places the odds are, and say why."""
        wider = 1.0 + self._unlike(remarks) * WIDER_A_DEGREE
        if not self._past_weather():
            wider += WIDER_WITHOUT_A_PAST
            remarks.append(Remark("no_past_weather", {}))
        elif few_winters.too_few(self.place):
            remarks.append(Remark("few_past_winters", {"wanted": futures.FEWEST}))
        chill = float(fit.chill_had(*self._this))
        if not np.isnan(chill) and chill < LITTLE_CHILL * self.fitted.least_chill:
            hours: dict[str, str | int] = {"hours": round(chill), "least": round(self.fitted.least_chill)}
            if chill < NO_CHILL * self.fitted.least_chill:
                raise CannotForecast("no_chill", **hours)
            remarks.append(Remark("little_chill", hours))
            wider += WIDER_FOR_LITTLE_CHILL
        return wider

    def _past_weather(self) -> bool:
        return bool((~np.isnan(self.place.minimum[0, :-1])).sum() >= DAYS / 3)

    def _unlike(self, remarks: list[Remark]) -> float:
        """Return how many degrees the place lies outside the fitted ones, the worse of winter and spring."""
        worst = 0.0
        for name, first, last, (low, high) in (
            ("unlike_winter", 0, 59, self.fitted.winters),
            ("unlike_spring", 59, 120, self.fitted.springs),
        ):
            days = slice(column(first), column(last))
            means = (self.place.minimum[0, :, days] + self.place.maximum[0, :, days]) / 2
            known = means[~np.isnan(means)]
            if known.size < 30:
                continue
            beyond = max(low - float(known.mean()), float(known.mean()) - high, 0.0)
            if beyond > 0.5:
                here, low_, high_ = (f"{one:.1f}" for one in (float(known.mean()), low, high))
                remarks.append(Remark(name, {"mean": here, "low": low_, "high": high_}))
                worst = max(worst, beyond)
        return worst

    def forecasts(self, kinds: Sequence[Kind], wider: float) -> Iterator[Forecast]:
        """Yield the forecast of each kind.

        :raises CannotForecast: `nothing_to_go_on`
        """
        measured = self._measured()
        at = [self.fitted.kinds.index(kind) for kind in kinds]
        for kind, row, days in zip(kinds, at, self._days(at, wider), strict=True):
            dates = self.place.dates[0, :, row]
            own = int((~np.isnan(dates[:-1])).sum())
            if not np.isnan(dates[-1]):
                yield self._observed(kind, date_of(float(dates[-1]), self.season), own)
                continue
            if not measured and own < FEWEST_NOTES:
                raise CannotForecast(
                    "nothing_to_go_on", event=kind.event.value, own=own, holes=HOLES, dates=FEWEST_NOTES
                )
            early, middle, late = (date_of(float(day), self.season) for day in days)
            says = self._says(kind, (middle, early, late), own, measured)
            model = model_name(self.fitted)
            yield Forecast(kind.event, middle, early, late, self.issued_on, model, own, says)

    def _observed(self, kind: Kind, on: date, own: int) -> Forecast:
        says = f"{_name(kind)} observed on {on:%-d %b}"
        return Forecast(kind.event, on, on, on, self.issued_on, "observed", own, says)

    def _measured(self) -> bool:
        low, high = self._this
        until = column(self.issued) + 1
        missing = np.isnan(low + high)[min(COUNTED_FROM, until - 1) : until]
        return bool(missing.sum() <= HOLES and not missing.all())

    def _days(self, kinds: Sequence[int], wider: float) -> Floats:
        """Return early edge, date and late edge of each kind, in days from 1 January: [kind, 3]."""
        many = len(kinds)
        issued = np.full(many, self.issued)
        asked = Asked(np.zeros(many, int), np.full(many, LATEST_SEASONS), np.array(kinds), issued)
        low, high = self._this
        known = np.flatnonzero(~np.isnan(low + high))
        until = np.full(many, max(int(known[-1]) + FIRST_DAY if known.size else self.issued, self.issued))
        start = None if self._past_weather() else self._start()
        lead = np.full(many, float(USUAL_LEAD))
        fitted = far_away.moved(self.fitted, self.place, start=start)
        guess = fit.raw(fitted, self.place, asked, lead, start=start, known_until=until)
        lead = np.maximum(guess[:, 1] - issued, 0)
        row = fit.at_lead(self.fitted.calibration.table, self.fitted.calibration.leads, lead, asked.kind)
        made = calibration.applied(guess, row)
        middle = made[:, [1]]
        edges = middle + (made - middle) * wider
        if few_winters.too_few(self.place):
            edges = few_winters.widened(edges, lead)
        return score.whole_days(edges, issued)

    def _start(self) -> Floats:
        """Return how much warmer this season's days are than the fitted places' usual ones."""
        low, high = self._this
        off = (low + high - self.fitted.climate.minimum - self.fitted.climate.maximum) / 2
        known = off[~np.isnan(off)]
        return np.array([known.mean() if known.size else 0.0])

    def _says(self, kind: Kind, days: Sequence[date], own: int, measured: bool) -> str:
        middle, early, late = days
        weather = "the weather up to" if measured else "no weather of this winter, notes up to"
        notes = f"{own} earlier dates of its own" if own else "no date of its own yet"
        return (
            f"{_name(kind)} is due about {middle:%-d %b}, eight in ten between {early:%-d %b} and "
            f"{late:%-d %b}: by {weather} {self.issued_on:%-d %b} and {notes}; fitted to "
            f"{self.fitted.places} stations of one country, {SOURCE['country']}: elsewhere the odds are a "
            "guess until its own dates bear them out"
        )


def model_name(fitted: Fitted) -> str:
    """Return what a stored forecast says of its model."""
    return f"warmth and notes; fitted to {fitted.places} stations in {SOURCE['country']} only"


def _name(kind: Kind) -> str:
    return kind.event.value.replace("_", " ")
