"""Hourly weather cut into windows in which a spray may be done; a closed one says every limit that closes it.

What is not known closes: a wind that nobody measured is not a low wind. Limits come in as `bounds.Bound`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, time, timedelta
from decimal import Decimal
from math import ceil

import numpy as np
from django.utils.translation import gettext as _

from mixing.quantities import Quantity
from scheduling.bounds import Basis, Bound, Limit, Measure, wet_from
from scheduling.reasons import (
    Reason,
    above,
    because,
    below,
    shown,
    wanted_dry,
)
from scheduling.sky import Numbers, Sky, Truths, sky_of, steps_since, steps_until
from scheduling.weather import MEASURABLE_RAIN, WeatherHour

HOUR = timedelta(hours=1)
AFTER_SUNRISE = HOUR
"""From sunset to this long after sunrise still air may be an inversion (common practice, no source)."""
Span = tuple[datetime, datetime]


@dataclass(frozen=True, slots=True)
class Place:
    """What holds at the place apart from the weather, in local time.

    :ivar sunrise: of these days; where not known, still air at any hour may be an inversion
    :ivar nights: from when until when still air may be one, as `sun.nights` gives them; before `sunrise`
    :ivar quiet: from and until, the farm's quiet hours; may pass midnight
    :ivar re_entry_until: end of the re-entry interval of the block
    :ivar re_entry: further ones, each with whose it is ("so near to Upper Peach") and its end
    """

    sunrise: time | None = None
    sunset: time | None = None
    quiet: tuple[time, time] | None = None
    re_entry_until: datetime | None = None
    re_entry: tuple[tuple[str, datetime], ...] = ()
    nights: tuple[Span, ...] | None = None


@dataclass(frozen=True, slots=True)
class Window:
    """Hours in a row that are open, or closed for the same reasons."""

    starts_at: datetime
    ends_at: datetime
    closed_by: tuple[Reason, ...]

    @property
    def open(self) -> bool:
        """Whether the job may be done."""
        return not self.closed_by


def spray_windows(
    hours: Iterable[WeatherHour], *, bounds: Sequence[Bound], place: Place = Place()
) -> tuple[Window, ...]:
    """Return the windows of these hours in order of time.

    :param hours: at most one for each `at`; what comes last for an hour counts
    :param bounds: limits in force, as `bounds.in_force` gives them
    """
    sky = sky_of(hours)
    return () if sky is None else windows_of(sky, bounds=bounds, place=place)


def windows_of(sky: Sky, *, bounds: Sequence[Bound], place: Place = Place()) -> tuple[Window, ...]:
    """Return the windows of a sky in order of time; a gap in the hours ends one and is in none."""
    limits = _limits(sky, bounds, place)
    closed = np.array([limit.closed for limit in limits]).reshape(len(limits), len(sky))
    edges = np.flatnonzero(np.any(closed[:, 1:] != closed[:, :-1], axis=0) | ~sky.known[1:] | ~sky.known[:-1])
    starts = [0, *(edges + 1).tolist()]
    found = []
    for start, end in zip(starts, [*starts[1:], len(sky)], strict=True):
        if sky.known[start]:
            reasons = tuple(
                reason
                for limit, row in zip(limits, closed[:, start], strict=True)
                if row
                for reason in limit.reasons(start)
            )
            found.append(Window(sky.at(start), sky.at(end), reasons))
    return tuple(found)


def open_hours(sky: Sky, *, bounds: Sequence[Bound], place: Place = Place()) -> Truths:
    """Return which hours are open, without the reasons."""
    limits = _limits(sky, bounds, place)
    is_open = sky.known.copy()
    for limit in limits:
        is_open &= ~limit.closed
    return is_open


@dataclass(frozen=True, slots=True)
class _Limit:
    """Which hours one limit closes, and the reason for one of them."""

    closed: Truths
    why: Callable[[int], Iterable[Reason]]
    said: dict[int, tuple[Reason, ...]] = field(default_factory=dict)

    def reasons(self, place: int) -> tuple[Reason, ...]:
        """Return the reasons for an hour; kept, since many blocks ask."""
        if place not in self.said:
            self.said[place] = tuple(self.why(place))
        return self.said[place]


def _limits(sky: Sky, bounds: Sequence[Bound], place: Place) -> list[_Limit]:
    found: list[_Limit] = []
    for bound in bounds:
        key = (bound, place.nights, place.sunrise, place.sunset)
        if key not in sky.told:
            sky.told[key] = tuple(_of_bound(bound, sky, place))
        found += sky.told[key]
    return [*found, *_of_place(sky, place)]


def _of_bound(bound: Bound, sky: Sky, place: Place) -> Iterator[_Limit]:
    value = float(bound.value.in_base())
    match bound.measure:
        case Measure.WIND_MAXIMUM:
            yield _measured(bound, Limit.WIND, _("wind"), sky, _unknown_wind(sky), value, _strongest)
        case Measure.WIND_MINIMUM:
            yield _measured(bound, Limit.WIND, _("wind"), sky, sky.wind, value, _wind, lowest=True)
        case Measure.CALM:
            yield _still(bound, sky, place, value)
        case Measure.TEMPERATURE_MINIMUM:
            yield _measured(
                bound, Limit.FROST, _("temperature"), sky, sky.temperature, value, _temperature, lowest=True
            )
        case Measure.TEMPERATURE_MAXIMUM:
            yield _measured(bound, Limit.HEAT, _("temperature"), sky, sky.temperature, value, _temperature)
        case Measure.RAIN_FREE:
            yield _rain(bound, sky)
        case Measure.FROST_FREE:
            yield _frost(bound, sky)
        case Measure.FROST_GONE:
            yield _ice(bound, sky)
        case Measure.LEAF_DRY:
            yield _wet(bound, sky)
        case Measure.DELTA_T_MAXIMUM:
            yield _drying(bound, sky, value)


Read = Callable[[WeatherHour], Quantity | None]


def _strongest(hour: WeatherHour) -> Quantity | None:
    """Return wind or gust, whichever is more; None where the wind is not known."""
    if hour.wind is None:
        return None
    return max((one for one in (hour.wind, hour.gust) if one is not None), key=Quantity.in_base)


def _wind(hour: WeatherHour) -> Quantity | None:
    return hour.wind


def _temperature(hour: WeatherHour) -> Quantity | None:
    return hour.temperature


def _unknown_wind(sky: Sky) -> Numbers:
    return np.where(np.isnan(sky.wind), np.nan, sky.strongest)


def _measured(
    bound: Bound,
    limit: Limit,
    what: str,
    sky: Sky,
    column: Numbers,
    value: float,
    read: Read,
    *,
    lowest: bool = False,
) -> _Limit:
    passed = column < value if lowest else column > value
    compare = below if lowest else above

    def why(place: int) -> Iterator[Reason]:
        hour = sky.rows[place]
        return compare(bound, limit, what, None if hour is None else read(hour))

    return _Limit(passed | np.isnan(column), why)


def _still(bound: Bound, sky: Sky, place: Place, value: float) -> _Limit:
    what = _("wind, so still that it may be an inversion,")

    def why(at: int) -> Iterator[Reason]:
        hour = sky.rows[at]
        return below(bound, Limit.INVERSION, what, None if hour is None else hour.wind)

    return _Limit((sky.wind < value) & _near_night(sky, place), why)


def _hours(bound: Bound) -> int:
    return int((bound.value.in_base() / 3600).to_integral_value(rounding="ROUND_CEILING"))


def _rain(bound: Bound, sky: Sky) -> _Limit:
    steps = steps_until(np.isnan(sky.rain) | (sky.rain >= float(MEASURABLE_RAIN)))

    def why(place: int) -> Iterator[Reason]:
        after = int(steps[place])
        hour = sky.rows[place + after] if place + after < len(sky) else None
        if hour is None or hour.rain is None:
            says = _("rain is not known %(hours)s h ahead; %(wanted)s")
            yield because(bound, Limit.RAIN, says % {"hours": after, "wanted": wanted_dry(bound)})
        else:
            says = _("it rains (%(rain)s); %(wanted)s")
            if after:
                says = _("rain is due in %(hours)s h (%(rain)s); %(wanted)s")
            facts = {"hours": after, "rain": shown(hour.rain, "mm"), "wanted": wanted_dry(bound)}
            yield because(bound, Limit.RAIN, says % facts)

    return _Limit(steps <= _hours(bound), why)


def _frost(bound: Bound, sky: Sky) -> _Limit:
    steps = steps_until(np.isnan(sky.temperature) | (sky.temperature <= 0))

    def why(place: int) -> Iterator[Reason]:
        after = int(steps[place])
        hour = sky.rows[place + after] if place + after < len(sky) else None
        if hour is None or hour.temperature is None:
            says = _("temperature is not known %(hours)s h ahead")
            yield because(bound, Limit.FROST, says % {"hours": after})
        else:
            says = _("frost in %(hours)s h (%(degrees)s)") if after else _("frost now (%(degrees)s)")
            facts = {"hours": after, "degrees": shown(hour.temperature, "degF")}
            yield because(bound, Limit.FROST, says % facts)

    return _Limit(steps <= _hours(bound), why)


def _ice(bound: Bound, sky: Sky) -> _Limit:
    """Hours after a frost in which its ice may still be on the trees; the frost itself is another limit's."""
    steps = steps_since(sky.temperature <= 0)

    def why(place: int) -> Iterator[Reason]:
        says = _("frost %(hours)s h ago: ice may be on the trees")
        yield because(bound, Limit.FROST, says % {"hours": int(steps[place])})

    return _Limit((steps > 0) & (steps <= _hours(bound)), why)


def _wet(bound: Bound, sky: Sky) -> _Limit:
    """Leaves that are wet by a sensor; without one by rain of the hour before or by damp air.

    Without any of these nobody knows, and dew falls in clear nights.
    """
    damp = sky.humidity >= wet_from()
    rained = np.append([False], sky.rain[:-1] >= float(MEASURABLE_RAIN))
    unknown = np.isnan(sky.leaf_wet) & np.isnan(sky.humidity) & ~rained
    wet = np.where(np.isnan(sky.leaf_wet), damp | rained | unknown, sky.leaf_wet > 0)

    def why(place: int) -> Iterator[Reason]:
        if unknown[place]:
            says = _("whether leaves or bark are wet is not known: neither a sensor nor the humidity tells")
            yield because(bound, Limit.WET, says)
            return
        if sky.leaf_wet[place] > 0:
            yield because(bound, Limit.WET, _("leaves or bark are wet"))
        elif rained[place]:
            says = _("it rained in the hour before: leaves or bark are likely wet")
            yield because(bound, Limit.WET, says)
        else:
            says = _("leaves or bark are likely wet at %(percent)s %% humidity")
            yield because(bound, Limit.WET, says % {"percent": f"{sky.humidity[place]:g}"})

    return _Limit(wet, why)


def _drying(bound: Bound, sky: Sky, value: float) -> _Limit:
    column = sky.delta_t

    def why(place: int) -> Iterator[Reason]:
        if np.isnan(column[place]) or np.isnan(sky.humidity[place]):
            says = _("Delta T, by which drops dry before they land, is not known")
            yield because(bound, Limit.HEAT, says)
            return
        delta = Quantity(Decimal(repr(round(float(column[place]), 1))), "degC_difference")
        yield from above(bound, Limit.HEAT, _("Delta T, by which drops dry before they land,"), delta)

    return _Limit((column > value) | np.isnan(column), why)


def _of_place(sky: Sky, place: Place) -> Iterator[_Limit]:
    own = [("", place.re_entry_until)] if place.re_entry_until is not None else []
    for whose, until in [*own, *place.re_entry]:
        yield _re_entry(sky, whose, until)
    if place.quiet is not None:
        start, end = place.quiet
        quiet = np.array([_touches(sky.at(step).time(), start, end) for step in range(len(sky))])
        silent = Reason(
            Limit.QUIET_HOURS, Basis.FARM, _("quiet hours until %(time)s") % {"time": f"{end:%H:%M}"}
        )
        yield _Limit(quiet, lambda _at: (silent,))


def _re_entry(sky: Sky, whose: str, until: datetime) -> _Limit:
    count = max(0, min(len(sky), ceil((until.astimezone(UTC) - sky.first) / HOUR)))
    said = _("nobody may enter before %(time)s")
    if whose:
        said = _("nobody may enter %(where)s before %(time)s")
    said %= {"where": whose, "time": until.isoformat(timespec="minutes")}
    reason = Reason(Limit.RE_ENTRY, Basis.LABEL, said)
    return _Limit(np.arange(len(sky)) < count, lambda _at: (reason,))


def _touches(moment: time, start: time, end: time) -> bool:
    """Say whether any of the hour from a moment on is quiet: from 21:30 on, the hour from 21:00 is."""
    until_start = (_minutes(start) - _minutes(moment)) % (24 * 60)
    return _between(moment, start, end) or (start != end and until_start < 60)


def _minutes(clock: time) -> int:
    return clock.hour * 60 + clock.minute


def _between(moment: time, start: time, end: time) -> bool:
    return start <= moment < end if start <= end else moment >= start or moment < end


def _near_night(sky: Sky, place: Place) -> Truths:
    if place.nights is not None:
        found = np.zeros(len(sky), dtype=bool)
        for dusk, dawn in place.nights:
            found[_hour_at(sky, dusk) : _hour_at(sky, dawn, last=True)] = True
        return found
    if place.sunrise is None or place.sunset is None:
        return np.ones(len(sky), dtype=bool)
    any_day = sky.at(0).date()
    until = (datetime.combine(any_day, place.sunrise) + AFTER_SUNRISE).time()
    return np.array([_between(sky.at(step).time(), place.sunset, until) for step in range(len(sky))])


def _hour_at(sky: Sky, moment: datetime, *, last: bool = False) -> int:
    """Return the place of the hour that holds a moment; for an end the one after it, where it has begun."""
    place = (moment.astimezone(UTC) - sky.first) / HOUR
    whole = int(np.ceil(place)) if last else int(np.floor(place))
    return max(0, min(len(sky), whole))
