"""Hourly weather cut into windows in which a spray may be done; a closed one says every limit that closes it.

What is not known closes: a wind that nobody measured is not a low wind. Limits come in as `bounds.Bound`.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta

from mixing.quantities import Quantity
from scheduling.bounds import Basis, Bound, Limit, Measure
from scheduling.reasons import Reason, above, because, below, rains, shown, wanted_dry
from scheduling.weather import WeatherHour

HOUR = timedelta(hours=1)
SUN_MARGIN = HOUR
"""From this long before sunset to this long after sunrise still air may be an inversion (common practice)."""


@dataclass(frozen=True, slots=True)
class Place:
    """What holds at the place apart from the weather, in local time.

    :ivar sunrise: of these days; where not known, still air at any hour may be an inversion
    :ivar quiet: from and until, the farm's quiet hours; may pass midnight
    :ivar re_entry_until: end of the re-entry interval of the block or of one beside it
    """

    sunrise: time | None = None
    sunset: time | None = None
    quiet: tuple[time, time] | None = None
    re_entry_until: datetime | None = None


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
    by_time = {hour.at: hour for hour in hours}
    judged = [
        (at, hour_reasons(by_time[at], by_time=by_time, bounds=bounds, place=place)) for at in sorted(by_time)
    ]
    return tuple(_joined(judged))


def _joined(judged: Sequence[tuple[datetime, tuple[Reason, ...]]]) -> Iterator[Window]:
    start: datetime | None = None
    for (at, reasons), following in itertools.zip_longest(judged, judged[1:]):
        start = at if start is None else start
        if following is None or following[0] != at + HOUR or _codes(following[1]) != _codes(reasons):
            first = next(given for moment, given in judged if moment == start)
            yield Window(start, at + HOUR, first)
            start = None


def _codes(reasons: Sequence[Reason]) -> tuple[tuple[Limit, Basis], ...]:
    return tuple((reason.limit, reason.basis) for reason in reasons)


def hour_reasons(
    hour: WeatherHour, *, by_time: dict[datetime, WeatherHour], bounds: Sequence[Bound], place: Place
) -> tuple[Reason, ...]:
    """Return every limit that closes one hour, in the order of the bounds, the place's last."""
    found = [reason for bound in bounds for reason in _hour_against(bound, hour, by_time, place)]
    return (*found, *_place_reasons(hour.at, place))


def _hour_against(
    bound: Bound, hour: WeatherHour, by_time: dict[datetime, WeatherHour], place: Place
) -> Iterator[Reason]:
    match bound.measure:
        case Measure.WIND_MAXIMUM:
            strongest = max(filter(None, (hour.wind, hour.gust)), key=Quantity.in_base, default=None)
            yield from above(bound, Limit.WIND, "wind", None if hour.wind is None else strongest)
        case Measure.WIND_MINIMUM:
            yield from below(bound, Limit.WIND, "wind", hour.wind)
        case Measure.CALM if _near_night(hour.at, place) and hour.wind is not None:
            yield from below(bound, Limit.INVERSION, "wind, so still that it may be an inversion,", hour.wind)
        case Measure.TEMPERATURE_MINIMUM:
            yield from below(bound, Limit.FROST, "temperature", hour.temperature)
        case Measure.TEMPERATURE_MAXIMUM:
            yield from above(bound, Limit.HEAT, "temperature", hour.temperature)
        case Measure.RAIN_FREE:
            yield from _rain_in_hours(bound, hour, by_time)
        case Measure.FROST_FREE:
            yield from _frost_in_hours(bound, hour, by_time)
        case Measure.LEAF_DRY if hour.leaf_wet:
            yield because(bound, Limit.WET, "leaves or bark are wet")


def _span(bound: Bound, hour: WeatherHour) -> list[datetime]:
    hours = int((bound.value.in_base() / 3600).to_integral_value(rounding="ROUND_CEILING"))
    return [hour.at + HOUR * step for step in range(hours + 1)]


def _rain_in_hours(bound: Bound, hour: WeatherHour, by_time: dict[datetime, WeatherHour]) -> Iterator[Reason]:
    for after, at in enumerate(_span(bound, hour)):
        ahead = by_time.get(at)
        if ahead is None or ahead.rain is None:
            yield because(bound, Limit.RAIN, f"rain is not known {after} h ahead; {wanted_dry(bound)}")
            return
        if rains(ahead.rain):
            when = "it rains" if after == 0 else f"rain is due in {after} h"
            yield because(bound, Limit.RAIN, f"{when} ({shown(ahead.rain, 'mm')}); {wanted_dry(bound)}")
            return


def _frost_in_hours(
    bound: Bound, hour: WeatherHour, by_time: dict[datetime, WeatherHour]
) -> Iterator[Reason]:
    for after, at in enumerate(_span(bound, hour)):
        ahead = by_time.get(at)
        if ahead is None or ahead.temperature is None:
            yield because(bound, Limit.FROST, f"temperature is not known {after} h ahead")
            return
        if ahead.temperature.in_base() <= 0:
            when = "now" if after == 0 else f"in {after} h"
            yield because(bound, Limit.FROST, f"frost {when} ({shown(ahead.temperature, 'degF')})")
            return


def _place_reasons(at: datetime, place: Place) -> Iterator[Reason]:
    if place.re_entry_until is not None and at < place.re_entry_until:
        until = place.re_entry_until.isoformat(timespec="minutes")
        yield Reason(Limit.RE_ENTRY, Basis.LABEL, f"nobody may enter before {until}")
    if place.quiet is not None and _between(at.time(), *place.quiet):
        yield Reason(Limit.QUIET_HOURS, Basis.FARM, f"quiet hours until {place.quiet[1]:%H:%M}")


def _between(moment: time, start: time, end: time) -> bool:
    return start <= moment < end if start <= end else moment >= start or moment < end


def _near_night(at: datetime, place: Place) -> bool:
    if place.sunrise is None or place.sunset is None:
        return True
    dusk = (datetime.combine(at.date(), place.sunset) - SUN_MARGIN).time()
    dawn = (datetime.combine(at.date(), place.sunrise) + SUN_MARGIN).time()
    return _between(at.time(), dusk, dawn)
