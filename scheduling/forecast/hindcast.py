"""Seasons that were, played again: would the last copper spray have been on in time, and by which rule?

Every spring of a peach place that was not fitted is gone through day by day. Each morning only the weather
and the notes up to the evening before are known; whether the day itself is open is seen, as somebody would
see it out of the window, with the next day's rain from the forecast (that which then fell). Two copper
sprays are wanted: one when the leaves are down, one in the three weeks before bud colour, none after it.

Daily limits of an open day (the shared weather is daily): mean wind at most 10 mph, under 0.1 mm of rain on
that day and the next, mean of the day and minimum of the next night above 0 degC: the bounds of
`windows.toml` (wind, 24 dry hours, 24 hours without frost), read for whole days; a day whose wind or
temperature is not known is closed. Bud colour is not observed: it is put seven days before first bloom,
half of the 13.5 days that lie between budburst and first bloom of peach on average in the fitted
observations (published dates of one orchard station have first pink nine days before: WSU EB0913, from
memory).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from scheduling.forecast import asking, calibration, fit
from scheduling.forecast.axis import DAYS, FIRST_DAY, Flags, Floats, Ints, Kind, column
from scheduling.forecast.fit import Fitted
from scheduling.forecast.places import Places
from scheduling.forecast.records import Event
from scheduling.forecast.so_far import Asked

PEACH = Kind("peach", Event.FIRST_BLOOM)
BUDBURST = Kind("peach", Event.BUDBURST)
COLOUR_BEFORE_BLOOM = 7
IN_TIME = 21
"""Days before bud colour in which the last spray counts."""
WIND, RAIN, FROST = 10 * 0.44704, 0.1, 0.0
"""Metres a second, millimetres, degrees Celsius."""
LEAVES_DOWN = range(-47, 0)
"""15 November to the end of the year: the first spray goes on the first open day, by every rule alike. Leaf
fall is not observed either; the day is our choice."""
FROM, FORESEEN = -55, 75
"""Days before the place's mean date of bloom on which a season begins to be watched, and for how long."""
WHOLE = 0.9
FIRST_LATE_DAY = 0
"""1 January: what is sprayed before is the spray at leaf fall."""
LEAD_TRIES = range(4, 22)
DATE_TRIES = range(20, 110, 2)
FORECAST_LEADS = (3, 7, 14, 21, 28, 42)

LEGEND = """\
saved: both copper sprays on, on open days, the last in the three weeks before bud colour and none after it.
sprays, trips: in a season, the spray at leaf fall included. too early: the last one over three weeks before.
Bud colour is put seven days before first bloom. The numbers of the rules are the best at the places fitted.
One country's stations, and daily weather: what dawn and dusk allow is not in it."""


@dataclass(frozen=True, slots=True)
class Season:
    """One spring of one place.

    :ivar open: [day] whether a day may be sprayed; `colour` the first day of bud colour
    :ivar mean: mean date of bloom over the springs before; `burst` budburst of this spring, None where not
        noted
    :ivar early: [day] the edge that one in ten comes before, for bloom, as known on the morning of a day;
        `middle` the date; nan where none was asked for
    """

    open: Flags
    colour: int
    mean: float
    burst: int | None
    early: Floats
    middle: Floats


@dataclass(frozen=True, slots=True)
class Played:
    """How a rule did in one season: days on which it sprayed late, and trips in vain."""

    sprays: tuple[int, ...]
    in_vain: int


Rule = Callable[[Season], Played]


def open_days(places: Places) -> Flags:
    """Return which days may be sprayed: [place, season, day]."""
    mean = (places.minimum + places.maximum) / 2
    known = ~np.isnan(mean) & ~np.isnan(places.wind)
    dry = ~(np.nan_to_num(places.rain) >= RAIN)
    next_known = np.concatenate([known[..., 1:], np.zeros_like(known[..., :1])], axis=-1)
    night = np.concatenate([places.minimum[..., 1:], np.full_like(mean[..., :1], np.nan)], axis=-1)
    next_fine = np.concatenate([dry[..., 1:], np.zeros_like(dry[..., :1])], axis=-1) & next_known
    next_fine &= np.where(next_known, night, -np.inf) > FROST
    calm = np.where(known, places.wind, np.inf) <= WIND
    opened: Flags = known & calm & dry & next_fine & (np.where(known, mean, -np.inf) > FROST)
    return opened


def seasons(fitted: Fitted, places: Places) -> tuple[list[Season], int]:
    """Return the springs that can be played, and how many more there were without weather to judge by."""
    places = places.for_kinds(fitted.kinds)
    bloom, burst = fitted.kinds.index(PEACH), fitted.kinds.index(BUDBURST)
    mean, many = asking.means_before(places.dates)
    found = np.nonzero((many[..., bloom] >= asking.FEWEST) & ~np.isnan(places.dates[..., bloom]))
    opened = open_days(places)
    known = ~np.isnan(places.wind) & ~np.isnan(places.minimum)
    early, middle = _mornings(fitted, places, found, mean[..., bloom], bloom)
    played, left_out = [], 0
    for row, (place, season) in enumerate(zip(*found, strict=True)):
        colour = int(places.dates[place, season, bloom]) - COLOUR_BEFORE_BLOOM
        window = slice(column(colour - 45), column(colour + 1))
        autumn = slice(column(LEAVES_DOWN[0]), column(LEAVES_DOWN[-1]) + 1)
        if min(known[place, season, days].mean() for days in (window, autumn)) < WHOLE:
            left_out += 1
            continue
        seen = places.dates[place, season, burst]
        played.append(
            Season(
                open=opened[place, season],
                colour=colour,
                mean=float(mean[place, season, bloom]),
                burst=None if np.isnan(seen) else int(seen),
                early=early[row],
                middle=middle[row],
            )
        )
    return played, left_out


def _mornings(
    fitted: Fitted, places: Places, found: tuple[Ints, ...], mean: Floats, bloom: int
) -> tuple[Floats, Floats]:
    """Return early edge and date of bloom as known each morning, by the weather up to the evening before."""
    rows, days = [], []
    for at, (place, season) in enumerate(zip(*found, strict=True)):
        first = int(mean[place, season]) + FROM
        last = min(first + FORESEEN, int(places.dates[place, season, bloom]) - 1)
        for on in range(max(first, FIRST_LATE_DAY), last + 1):
            rows.append(at)
            days.append(on)
    case, day = np.array(rows, dtype=np.int64), np.array(days, dtype=np.int64)
    asked = Asked(found[0][case], found[1][case], np.full(len(case), bloom), day - 1)
    lead = np.clip(mean[found][case] - day + 1, 0, None)
    made = fit.raw(fitted, places, asked, lead)
    ahead = np.maximum(made[:, 1] - day + 1, 0)
    table = fitted.calibration
    dates = calibration.applied(made, fit.at_lead(table.table, table.leads, ahead, asked.kind))
    early, middle = (np.full((len(found[0]), DAYS), np.nan) for _ in range(2))
    early[case, column(0) + day], middle[case, column(0) + day] = dates[:, 0], dates[:, 1]
    return early, middle


def _spray_when(season: Season, due: Callable[[int], bool], *, again: Callable[[int, int], bool]) -> Played:
    """Go through a season: spray on open days that a rule wants; nobody sprays once colour or bloom is
    seen."""
    sprays: list[int] = []
    in_vain = 0
    for day in (int(day) + FIRST_DAY for day in np.flatnonzero(season.open)):
        if day < FIRST_LATE_DAY:
            continue
        if not (due(day) if not sprays else again(day, sprays[-1])):
            continue
        if day >= season.colour:  # the crew is there, and sees colour
            in_vain += 1
            break
        sprays.append(day)
    return Played(tuple(sprays), in_vain)


def by_forecast(days_before: int) -> Rule:
    """Spray so many days before the colour that is forecast; again where it moved beyond three weeks
    after."""

    def rule(season: Season) -> Played:
        def colour(day: int) -> float:
            return float(season.middle[column(day)]) - COLOUR_BEFORE_BLOOM

        def due(day: int) -> bool:
            return colour(day) - day <= days_before

        def again(day: int, last: int) -> bool:
            early = float(season.early[column(day)]) - COLOUR_BEFORE_BLOOM
            return due(day) and early - last > IN_TIME

        return _spray_when(season, due, again=again)

    return rule


def by_date(day_of_year: int) -> Rule:
    """Spray on the first open day from one date on."""
    return lambda season: _spray_when(season, lambda day: day >= day_of_year, again=_never)


def by_mean(days_before: int) -> Rule:
    """Spray on the first open day from so many days before the place's mean date of colour on."""

    def rule(season: Season) -> Played:
        start = season.mean - COLOUR_BEFORE_BLOOM - days_before
        return _spray_when(season, lambda day: day >= start, again=_never)

    return rule


def at_budburst(season: Season) -> Played:
    """Spray on the first open day from budburst on."""
    if season.burst is None:
        return Played((), 0)
    seen = season.burst
    return _spray_when(season, lambda day: day >= seen, again=_never)


def by_perfect_knowledge(season: Season) -> Played:
    """Spray on any open day of the three weeks: what nobody can beat."""
    days = range(season.colour - IN_TIME, season.colour)
    return Played(tuple(day for day in days if season.open[column(day)])[:1], 0)


def _never(_day: int, _last: int) -> bool:
    return False


def saved(season: Season, played: Played) -> bool:
    """Return whether both sprays were on, the last one in the three weeks before colour."""
    return any(season.open[column(day)] for day in LEAVES_DOWN) and last_in_time(season, played)


def last_in_time(season: Season, played: Played) -> bool:
    """Return whether the last spray was in the three weeks before colour, whatever became of the first."""
    return any(0 < season.colour - day <= IN_TIME for day in played.sprays[-1:])


@dataclass(frozen=True, slots=True)
class Line:
    """How one rule did.

    :ivar sprays: copper sprays a season, the one at leaf fall included; `trips` those and the ones in vain
    :ivar early: share of seasons whose last spray was more than three weeks before colour; `none` with no
        late one
    """

    rule: str
    saved: float
    in_time: float
    sprays: float
    trips: float
    early: float
    none: float


def play(name: str, rule: Rule, over: list[Season]) -> Line:
    """Return how a rule did over some seasons."""
    rows = [(season, rule(season)) for season in over]
    late = [(season, played) for season, played in rows if played.sprays]
    many = max(len(rows), 1)
    sprays = 1 + sum(len(played.sprays) for _, played in rows) / many
    return Line(
        rule=name,
        saved=sum(saved(season, played) for season, played in rows) / many,
        in_time=sum(last_in_time(season, played) for season, played in rows) / many,
        sprays=sprays,
        trips=sprays + sum(played.in_vain for _, played in rows) / many,
        early=sum(season.colour - played.sprays[-1] > IN_TIME for season, played in late) / many,
        none=1 - len(late) / many,
    )


def best(make: Callable[[int], Rule], tries: range, over: list[Season]) -> int:
    """Return the number with which a rule saves most seasons."""
    return max(tries, key=lambda number: play("", make(number), over).saved)


@dataclass(frozen=True, slots=True)
class Hindcast:
    """How the rules did at the places tested, their numbers chosen at the places fitted."""

    lines: tuple[Line, ...]
    seasons: int
    left_out: int


def hindcast(train: Places, test: Places) -> Hindcast:
    """Play every season of peach at the places to test.

    :raises TooLittleToFit: where the places to fit have too few dates
    """
    fitted = fit.fit(train, leads=FORECAST_LEADS)
    if PEACH not in fitted.kinds or BUDBURST not in fitted.kinds:
        raise fit.TooLittleToFit("too few dates of budburst and first bloom of peach to fit")
    known, _ = seasons(fitted, train)
    over, left_out = seasons(fitted, test)
    ahead = best(by_forecast, LEAD_TRIES, known)
    fixed = best(by_date, DATE_TRIES, known)
    before = best(by_mean, LEAD_TRIES, known)
    rules: dict[str, Rule] = {
        f"by forecast, {ahead} days ahead": by_forecast(ahead),
        f"fixed date, day {fixed} of the year": by_date(fixed),
        f"station mean less {before} days": by_mean(before),
        "at budburst": at_budburst,
        "perfect knowledge": by_perfect_knowledge,
    }
    lines = tuple(play(name, rule, over) for name, rule in rules.items())
    return Hindcast(lines, len(over), left_out)


def table(found: Hindcast) -> Iterator[str]:
    """Yield the lines as text."""
    yield f"{'rule':34}   saved  last in time  sprays  trips  too early  no spray"
    for one in found.lines:
        yield (
            f"{one.rule:34} {one.saved:7.1%} {one.in_time:13.1%} {one.sprays:7.2f} {one.trips:6.2f} "
            f"{one.early:10.1%} {one.none:9.1%}"
        )
