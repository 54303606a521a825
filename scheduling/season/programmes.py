"""Plan the published programmes day by day in every real station-year, with only what was known on each day.

    python -m scheduling.season.programmes --from DIR

`DIR` holds `observations.csv` and `daily_weather.csv.gz` as described in the README beside this file. What
the stations did not record is assumed, and said so: half of the leaves are down on 20 November, nine in ten
on 5 December, all on 15 December; buds swell two weeks before budburst (our estimates, no source). Bud colour
is put half-way from budburst to first bloom. Limits are the published ones of `windows.toml`, no label's.
"""

from __future__ import annotations

import argparse
import csv
import gzip
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path

from mixing.stages import Window
from orchard.tasks.examples import Example, shipped
from scheduling import bounds
from scheduling.forecast import (
    BudDate,
    Event,
    TooFewSprings,
    bud_colour_estimate,
    last_safe_day,
    running_mean,
)
from scheduling.lines import BlockSeen, ProgrammeLine
from scheduling.planner import plan
from scheduling.season import records
from scheduling.spray_days import DayVerdict, judge_days
from scheduling.weather import WeatherDay

SPECIES = {
    "leaf-curl-peach-nectarine": "peach",
    "stone-fruit-dormant": "peach",
    "apple-pear-copper-oil": "pear",
}
"""Whose bud dates stand for the crops of a programme."""
LEAVES = (("11-01", 93, 10), ("11-20", 95, 50), ("12-05", 95, 90), ("12-15", 97, 100))
SWELLS_BEFORE = timedelta(days=14)
AHEAD = 7
DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Spring:
    """One station and year: when its buds moved, and the weather from November on."""

    season: int
    buds: tuple[BudDate, ...]
    weather: Mapping[date, WeatherDay]

    def on(self, event: Event) -> date:
        """Return the day of an event of this season."""
        return next(one.on for one in self.buds if (one.season, one.event) == (self.season, event))

    def seen(self, on: date) -> tuple[int, Decimal | None]:
        """Return the stage on a day, and how many leaves are down [percent]."""
        if on.year < self.season:
            told = [(bbch, drop) for day, bbch, drop in LEAVES if f"{on:%m-%d}" >= day]
            bbch, drop = told[-1]
            return bbch, Decimal(drop)
        budburst = self.on(Event.BUDBURST)
        colour = bud_colour_estimate(budburst=budburst, first_bloom=self.on(Event.FIRST_BLOOM))
        stages = ((colour, 57), (budburst, 53), (budburst - SWELLS_BEFORE, 51))
        return next((bbch for day, bbch in stages if on >= day), 0), Decimal(100)


@dataclass(slots=True)
class Tally:
    """How the sprays of one programme came out over the springs."""

    springs: int = 0
    wanted: int = 0
    planned: int = 0
    inside: int = 0


def replay(example: Example, spring: Spring) -> dict[str, date]:
    """Return the day on which each spray of a programme is done, planning anew on each day.

    :raises TooFewSprings: where the place has too few springs before for a mean date
    """
    judged = judge_days(spring.weather.values(), bounds=bounds.in_force(labels=()))
    verdicts = {one.day.on: one for one in judged}
    lines = _lines(example)
    done: dict[str, date] = {}
    on, ends = date(spring.season - 1, 11, 1), spring.on(Event.FIRST_BLOOM)
    while on < ends and len(done) < len(lines):
        ahead = [verdicts[on + DAY * step] for step in range(AHEAD) if on + DAY * step in verdicts]
        for line, day in _today(lines, spring, ahead, done, on):
            done[line] = day
        on += DAY
    return done


def _lines(example: Example) -> list[ProgrammeLine]:
    return [
        ProgrammeLine(
            line.key,
            line.title,
            line.kind,
            ("block",),
            line.stage,
            leaf_drop_minimum_percent=line.leaf_drop_minimum_percent,
        )
        for line in example.lines
        if line.mix is not None
    ]


def _today(
    lines: Sequence[ProgrammeLine],
    spring: Spring,
    ahead: Sequence[DayVerdict],
    done: Mapping[str, date],
    on: date,
) -> Iterator[tuple[str, date]]:
    """Yield what is done on this very day: a plan for a later one is made anew tomorrow."""
    bbch, drop = spring.seen(on)
    mean = running_mean(spring.buds, event=Event.BUDBURST, season=spring.season, issued_on=on)
    seen = BlockSeen("block", bbch, drop, on, {line: (day,) for line, day in done.items()})
    days = {line.id: ahead for line in lines}
    made = plan(lines=lines, blocks=[seen], days=days, last_safe=last_safe_day([mean]), on=on)
    for job in made.jobs:
        if job.on == on:
            yield job.line, on


def tallied(example: Example, springs: Sequence[Spring]) -> Tally:
    """Return how a programme came out over many springs; those with too few before them are left out."""
    tally, lines = Tally(), {line.id: line for line in _lines(example)}
    for spring in springs:
        try:
            done = replay(example, spring)
        except TooFewSprings:
            continue
        tally.springs += 1
        tally.wanted += len(lines)
        tally.planned += len(done)
        tally.inside += sum(spring.seen(on)[0] in Window(*lines[line].stage) for line, on in done.items())
    return tally


def read(source: Path, species: str) -> list[Spring]:
    """Return the station-years of a species that have both bud dates and no gap in the weather."""
    buds: dict[str, list[BudDate]] = defaultdict(list)
    with (source / "observations.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            if row["species"] == species:
                bud = BudDate(int(row["year"]), Event(row["event"]), date.fromisoformat(row["date"]))
                buds[row["station"]].append(bud)
    weather: dict[tuple[str, int], dict[date, WeatherDay]] = defaultdict(dict)
    with gzip.open(source / "daily_weather.csv.gz", "rt", encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            if row["station"] in buds:
                day = records.weather_day(row)
                weather[row["station"], day.on.year + (day.on.month >= 10)][day.on] = day
    return [
        Spring(season, tuple(buds[station]), days)
        for (station, season), days in sorted(weather.items())
        if _is_whole(season, buds[station], days)
    ]


def _is_whole(season: int, buds: Sequence[BudDate], days: Mapping[date, WeatherDay]) -> bool:
    events = {bud.event: bud.on for bud in buds if bud.season == season}
    if Event.BUDBURST not in events or Event.FIRST_BLOOM not in events:
        return False
    on, ends = date(season - 1, 11, 1), events[Event.FIRST_BLOOM]
    while on < ends:
        day = days.get(on)
        if day is None or day.minimum is None or day.maximum is None or day.wind is None:
            return False
        on += DAY
    return True


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m scheduling.season.programmes", description=__doc__)
    parser.add_argument("--from", dest="source", type=Path, required=True, help="folder of the full data")
    source = parser.parse_args().source
    for example in shipped().values():
        found = tallied(example, read(source, SPECIES[example.id]))
        print(
            f"{example.id}: {found.springs} station-years of {SPECIES[example.id]}, {found.planned} of "
            f"{found.wanted} sprays on an open day, {found.inside} of them inside their stage window"
        )


if __name__ == "__main__":
    main()
