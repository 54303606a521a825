"""Days in which a spray may be done, where only the values of whole days are known.

The mean wind of the day is taken as the wind on the spot. Rain on a following day counts as rain within the
dry time, since its hour is not known. Half-way between minimum and maximum stands for the hours of work.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from scheduling.bounds import Basis, Bound, Limit, Measure
from scheduling.reasons import Reason, above, because, below, rains, shown, wanted_dry
from scheduling.weather import WeatherDay

LOOK_AHEAD = 7
"""Days looked at when dry days are counted."""


@dataclass(frozen=True, slots=True)
class DayVerdict:
    """One day, open or closed with every reason.

    :ivar dry_days_after: whole days after it that are known to be dry, at most a week
    """

    day: WeatherDay
    closed_by: tuple[Reason, ...]
    dry_days_after: int

    @property
    def open(self) -> bool:
        """Whether the job may be done."""
        return not self.closed_by


def judge_days(
    days: Iterable[WeatherDay], *, bounds: Sequence[Bound], closed_until: date | None = None
) -> tuple[DayVerdict, ...]:
    """Return a verdict for each day in order, where only the values of whole days are known.

    :param bounds: limits in force, as `bounds.in_force` gives them
    :param closed_until: last day of a re-entry interval
    """
    known = {day.on: day for day in days}
    return tuple(
        DayVerdict(
            known[on],
            tuple(reason for bound in bounds for reason in _day_against(bound, known[on], known))
            + _re_entry_day(on, closed_until),
            _dry_days_after(on, known),
        )
        for on in sorted(known)
    )


def _day_against(bound: Bound, day: WeatherDay, known: dict[date, WeatherDay]) -> Iterator[Reason]:
    match bound.measure:
        case Measure.WIND_MAXIMUM:
            yield from above(bound, Limit.WIND, "mean wind of the day", day.wind)
        case Measure.WIND_MINIMUM:
            yield from below(bound, Limit.WIND, "mean wind of the day", day.wind)
        case Measure.TEMPERATURE_MINIMUM:
            yield from below(bound, Limit.FROST, "mean temperature of the day", day.mean)
        case Measure.TEMPERATURE_MAXIMUM:
            yield from above(bound, Limit.HEAT, "maximum of the day", day.maximum)
        case Measure.RAIN_FREE:
            yield from _rain_in_days(bound, day, known)
        case Measure.FROST_FREE:
            yield from _frost_in_days(bound, day, known)
        case _:  # still air and wet leaves are matters of an hour, and not in the values of a day
            return


def _following(bound: Bound, day: WeatherDay) -> list[date]:
    days = int((bound.value.in_base() / 86400).to_integral_value(rounding="ROUND_CEILING"))
    return [day.on + timedelta(days=step) for step in range(days + 1)]


def _rain_in_days(bound: Bound, day: WeatherDay, known: dict[date, WeatherDay]) -> Iterator[Reason]:
    for after, on in enumerate(_following(bound, day)):
        ahead = known.get(on)
        if ahead is None or ahead.rain is None:
            yield because(bound, Limit.RAIN, f"rain of {on} is not known; {wanted_dry(bound)}")
            return
        if rains(ahead.rain):
            when = "rain on the day" if after == 0 else f"rain due on {on}"
            yield because(bound, Limit.RAIN, f"{when} ({shown(ahead.rain, 'mm')}); {wanted_dry(bound)}")
            return


def _frost_in_days(bound: Bound, day: WeatherDay, known: dict[date, WeatherDay]) -> Iterator[Reason]:
    for after, on in enumerate(_following(bound, day)):
        night = known.get(on)
        which = (
            "the night before" if after == 0 else "the night after" if after == 1 else f"the night to {on}"
        )
        if night is None or night.minimum is None:
            yield because(bound, Limit.FROST, f"the minimum of {which} is not known")
        elif night.minimum.in_base() <= 0:
            yield because(bound, Limit.FROST, f"frost in {which} ({shown(night.minimum, 'degF')})")


def _re_entry_day(on: date, closed_until: date | None) -> tuple[Reason, ...]:
    if closed_until is None or on > closed_until:
        return ()
    return (Reason(Limit.RE_ENTRY, Basis.LABEL, f"nobody may enter before the end of {closed_until}"),)


def _dry_days_after(on: date, known: dict[date, WeatherDay]) -> int:
    ahead = (known.get(on + timedelta(days=step)) for step in range(1, LOOK_AHEAD + 1))
    dry = itertools.takewhile(lambda day: day and day.rain is not None and not rains(day.rain), ahead)
    return sum(1 for _ in dry)
