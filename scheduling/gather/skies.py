"""When a mix may be sprayed: open time of each working day, by the hour where hours are known."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from orchard.blocks import queries as blocks
from orchard.farms.models import Farm
from orchard.tasks.windows import outlines_of
from scheduling.bounds import Bound
from scheduling.order_windows import hours_of, place_of, quiet_hours
from scheduling.practice import working_day
from scheduling.sky import HOUR, Sky, sky_of, steps_until
from scheduling.spray_days import DayVerdict, judge_days
from scheduling.weather import MEASURABLE_RAIN, WeatherDay
from scheduling.windows import Place, windows_of

AFTER = dt.timedelta(days=7)
"""Dry days after the last day of a plan count too."""
OVERNIGHT = dt.timedelta(days=3)
"""Hours before and after a plan count too: dry times reach over its ends (our choice, no source)."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """Open time in a row on one day.

    :ivar wind: mean wind [m/s], None where it is not known
    :ivar dry_days: whole days after it that are known to be dry, two at most
    """

    on: dt.date
    start: dt.datetime
    end: dt.datetime
    wind: float | None
    dry_days: int


@dataclass(frozen=True, slots=True)
class Opening:
    """The stretches of a mix, and how many hours of work each limit closed on each day."""

    stretches: tuple[Stretch, ...]
    closed_by: Mapping[dt.date, Counter[str]]

    def limits(self, days: Iterable[dt.date]) -> list[tuple[str, int]]:
        """Return the limits that closed hours of work on some days, the one of most hours first."""
        found: Counter[str] = Counter()
        for on in days:
            found.update(self.closed_by.get(on, {}))
        return found.most_common()


class Skies:
    """The weather of one farm over a plan, and what it leaves open for limits and places."""

    def __init__(self, farm: Farm, *, since: dt.date, until: dt.date, zone: zoneinfo.ZoneInfo) -> None:
        self.farm, self.since, self.until, self.zone = farm, since, until, zone
        first, last = _midnight(since, zone), _midnight(until, zone) + OVERNIGHT
        rows = blocks.hours(farm=farm, since=first - OVERNIGHT, until=last)
        self.sky = sky_of(hours_of(rows.order_by("at", "kind", "station", "id"), zone))
        self.days = weather_days(farm, since=since, until=until + AFTER)
        self._place = Place()
        if self.sky is not None:
            outlines = outlines_of(None, farm=farm)
            self._place = place_of(self.sky, zone=zone, limits=farm.limits or {}, outlines=outlines)
        self._known: dict[tuple[Bound, ...], Opening] = {}

    def opening(self, bounds: Sequence[Bound]) -> Opening:
        """Return the open stretches of the working days under some limits; none of them: all is open."""
        key = tuple(bounds)
        if key not in self._known:
            self._known[key] = self._opening(key)
        return self._known[key]

    def _opening(self, bounds: tuple[Bound, ...]) -> Opening:
        verdicts = {one.day.on: one for one in judge_days(self.days, bounds=bounds)}
        windows = windows_of(self.sky, bounds=bounds, place=self._place) if self.sky is not None else ()
        spells = [(one.starts_at, one.ends_at) for one in windows if one.open]
        closed: dict[dt.date, Counter[str]] = defaultdict(Counter)
        for one in windows:
            for start, end in self._at_work(one.starts_at, one.ends_at):
                for limit in {reason.limit.value for reason in one.closed_by}:
                    closed[start.date()][limit] += round((end - start) / HOUR)
        stretches: list[Stretch] = []
        for on in _days(self.since, self.until):
            if not bounds:
                stretches += [Stretch(on, *span, None, 2) for span in self._not_quiet(on, closed[on])]
            elif self._by_the_hour(on):
                stretches += self._of_hours(on, spells)
            else:
                stretches += self._of_day(on, verdicts.get(on), closed[on])
        return Opening(tuple(stretches), closed)

    def _work(self, on: dt.date) -> tuple[dt.datetime, dt.datetime]:
        begins, ends = working_day()
        return (
            dt.datetime.combine(on, begins, tzinfo=self.zone),
            dt.datetime.combine(on, ends, tzinfo=self.zone),
        )

    def _not_quiet(self, on: dt.date, closed: Counter[str]) -> Iterator[tuple[dt.datetime, dt.datetime]]:
        """Yield what the farm's quiet hours leave of a working day."""
        begins, ends = self._work(on)
        quiet = quiet_hours(self.farm.limits or {})
        if quiet is None:
            yield begins, ends
            return
        for day in (on - dt.timedelta(days=1), on):
            since = dt.datetime.combine(day, quiet[0], tzinfo=self.zone)
            until = dt.datetime.combine(day, quiet[1], tzinfo=self.zone)
            until += dt.timedelta(days=quiet[1] < quiet[0])
            if max(since, begins) < min(until, ends):
                closed["quiet_hours"] += round((min(until, ends) - max(since, begins)) / HOUR)
                if begins < since:
                    yield begins, since
                begins = max(begins, until)
        if begins < ends:
            yield begins, ends

    def _at_work(self, start: dt.datetime, end: dt.datetime) -> Iterator[tuple[dt.datetime, dt.datetime]]:
        """Yield what of a time falls into working hours of the plan."""
        for on in _days(max(start.date(), self.since), min(end.date(), self.until)):
            begins, ends = self._work(on)
            if max(start, begins) < min(end, ends):
                yield max(start, begins), min(end, ends)

    def _by_the_hour(self, on: dt.date) -> bool:
        if self.sky is None:
            return False
        begins, ends = (self._hour(moment) for moment in self._work(on))
        return bool(np.any(self.sky.known[max(0, begins) : max(0, ends)]))

    def _hour(self, moment: dt.datetime) -> int:
        assert self.sky is not None
        return int((moment.astimezone(dt.UTC) - self.sky.first) // HOUR)

    def _of_hours(self, on: dt.date, spells: Sequence[tuple[dt.datetime, dt.datetime]]) -> Iterator[Stretch]:
        assert self.sky is not None
        begins, ends = self._work(on)
        for start, end in spells:
            first, last = max(start, begins), min(end, ends)
            if first < last:
                wind = self.sky.wind[self._hour(first) : self._hour(last)]
                mean = float(np.nanmean(wind)) if np.any(~np.isnan(wind)) else None
                yield Stretch(on, first, last, mean, self._dry_days(self.sky, self._hour(last) - 1))

    def _dry_days(self, sky: Sky, place: int) -> int:
        wet = np.isnan(sky.rain) | (sky.rain >= float(MEASURABLE_RAIN))
        return min(2, int(steps_until(wet)[place]) // 24)

    def _of_day(self, on: dt.date, verdict: DayVerdict | None, closed: Counter[str]) -> Iterator[Stretch]:
        begins, ends = self._work(on)
        hours = round((ends - begins) / HOUR)
        if verdict is None:
            closed["weather that is not known"] += hours
        elif verdict.closed_by:
            for limit in {reason.limit.value for reason in verdict.closed_by}:
                closed[limit] += hours
        else:
            wind = None if verdict.day.wind is None else float(verdict.day.wind.in_base())
            for start, end in self._not_quiet(on, closed):
                yield Stretch(on, start, end, wind, min(2, verdict.dry_days_after))


def weather_days(farm: Farm, *, since: dt.date, until: dt.date) -> list[WeatherDay]:
    """Return the farm's weather days, observed before forecast, one for each day."""
    rows = blocks.days(farm=farm, since=since, until=until).order_by("on", "-kind", "station", "id")
    found: dict[dt.date, WeatherDay] = {}
    for row in rows:
        found.setdefault(
            row.on,
            WeatherDay(
                row.on,
                row.sure("minimum"),
                row.sure("maximum"),
                row.sure("rain"),
                row.sure("wind"),
                row.sure("humidity_percent"),
            ),
        )
    return list(found.values())


def _midnight(on: dt.date, zone: zoneinfo.ZoneInfo) -> dt.datetime:
    return dt.datetime.combine(on, dt.time(), tzinfo=zone)


def _days(first: dt.date, last: dt.date) -> list[dt.date]:
    return [first + dt.timedelta(days=step) for step in range((last - first).days + 1)]
