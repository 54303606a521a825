"""A farm's rows in, its blocks' bud forecasts out: once a day, and whenever somebody asks for it.

The only place that turns blocks, what was seen in them and the farm's weather into what `forecast.block`
takes.
"""

from __future__ import annotations

import datetime as dt
import logging
import uuid
import zoneinfo
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from mixing.quantities import Quantity
from orchard.blocks import queries, services
from orchard.blocks.models import Block, StageObservation
from orchard.blocks.weather_sense import is_stale
from orchard.farms import fence
from orchard.farms.actors import SYSTEM, Actor
from orchard.farms.models import Farm
from scheduling.forecast import last_safe_day, stored
from scheduling.forecast.axis import season_of
from scheduling.forecast.block import FORECAST_DAYS, LATEST_SEASONS, Note, Outlook, outlook
from scheduling.forecast.fit import Fitted
from scheduling.forecast.records import BBCH, CannotForecast, Event, Remark
from scheduling.forecast.sound import Day
from scheduling.forecast.species import species_of

log = logging.getLogger(__name__)

WHOLE_DAY = 20
"""Hours with a temperature that make a day where no row of the day was posted."""
OVER = {
    Event.BUDBURST: BBCH[Event.FIRST_BLOOM],
    Event.FIRST_BLOOM: BBCH[Event.FULL_BLOOM],
    Event.FULL_BLOOM: 70,
}
"""Stages from which a first look comes too late to date an event."""


@dataclass(frozen=True, slots=True)
class Skyline:
    """A farm's daily weather as of a day.

    :ivar old: whether the forecast was made more than a day before
    """

    observed: tuple[Day, ...]
    forecast: tuple[Day, ...]
    old: bool = False


@dataclass(frozen=True, slots=True)
class Answer:
    """What came out for one block: an outlook, or why there is none."""

    block: Block
    outlook: Outlook | None
    refused: CannotForecast | None


def forecast_every_farm(*, now: dt.datetime, fitted: Fitted | None = None) -> int:
    """Forecast the blocks of every farm as of its own today, and store them; return how many blocks have
    one."""
    stored_blocks = 0
    for farm in Farm.objects.filter(archived=False).order_by("id"):
        try:
            with fence.opened(farm.id):
                answers = forecast_farm(farm=farm, by=SYSTEM, now=now, fitted=fitted)
        except (ArithmeticError, ValueError):  # one farm's numbers shall not cost the others their forecasts
            log.exception("farm %s has no bud forecasts of today", farm.id)
            continue
        stored_blocks += sum(answer.outlook is not None for answer in answers)
    return stored_blocks


def forecast_farm(
    *, farm: Farm, by: Actor, now: dt.datetime, fitted: Fitted | None = None
) -> tuple[Answer, ...]:
    """Forecast the farm's blocks as of today where the farm lies, and store what came out."""
    fitted = fitted or stored.load()
    issued_on = now.astimezone(zoneinfo.ZoneInfo(farm.zone)).date()
    rows = list(queries.blocks(farm=farm).filter(archived=False).order_by("id"))
    if not rows:
        return ()
    skyline = weather_of(farm, issued_on=issued_on, now=now)
    notes = {block.key: tuple(notes_of(block)) for block in rows}
    answers = tuple(_answer(fitted, block, rows, notes, skyline, issued_on) for block in rows)
    for answer in answers:
        services.store_forecasts(block=answer.block, issued_on=issued_on, **as_stored(answer), by=by, now=now)
    return answers


def as_stored(answer: Answer) -> dict[str, Any]:
    """Return an answer as its block keeps it."""
    if answer.outlook is None:
        return {"refused": answer.refused and answer.refused.remark._asdict()}
    return {
        "forecasts": as_rows(answer.outlook),
        "last_safe_day": last_safe_day(answer.outlook.forecasts).on,
        "remarks": [remark._asdict() for remark in answer.outlook.remarks],
    }


def as_rows(found: Outlook) -> list[dict[str, object]]:
    """Return the forecasts of an outlook as rows of a block."""
    names = ("predicted", "low80", "high80", "issued_on", "model")
    return [
        {name: getattr(one, name) for name in names} | {"event": one.event.value, "bbch": one.bbch}
        for one in found.forecasts
    ]


def _answer(
    fitted: Fitted,
    block: Block,
    rows: Sequence[Block],
    notes: Mapping[uuid.UUID, tuple[Note, ...]],
    skyline: Skyline,
    issued_on: dt.date,
) -> Answer:
    own = species_of(block.crop)
    others = [note for other in rows if other != block for note in notes[other.key] if note.species != own]
    try:
        found = outlook(
            fitted,
            crop=block.crop,
            notes=(*notes[block.key], *others),
            observed=skyline.observed,
            forecast=skyline.forecast,
            latitude=latitude_of(block),
            issued_on=issued_on,
        )
    except CannotForecast as refused:
        return Answer(block, None, refused)
    if skyline.old:
        found = replace(found, remarks=(*found.remarks, Remark("old_weather_forecast", {})))
    return Answer(block, found, None)


def latitude_of(block: Block) -> float | None:
    """Return degrees north of a block's outline, None where it has none."""
    return float(block.outline["coordinates"][0][0][1]) if block.outline else None


def notes_of(block: Block) -> Iterator[Note]:
    """Yield the bud dates that the looks into a block give: the first look of a spring at or past each event.

    A first look that is past the next event dates nothing: the event was missed.
    """
    species = species_of(block.crop)
    if species is None:
        return
    springs: dict[int, list[StageObservation]] = {}
    for look in queries.stages(block=block).order_by("observed_on", "created_at", "id"):
        if look.observed_on.month <= 6:
            springs.setdefault(look.observed_on.year, []).append(look)
    for looks in springs.values():
        for event in Event:
            first = next((look for look in looks if BBCH[event] <= look.bbch < 90), None)
            if first is not None and first.bbch < OVER[event]:
                yield Note(species, event, first.observed_on)


def weather_of(farm: Farm, *, issued_on: dt.date, now: dt.datetime | None = None) -> Skyline:
    """Return the farm's days: observed up to the day of issue, forecast after it; none that is doubted."""
    since = dt.date(season_of(issued_on) - LATEST_SEASONS - 1, 10, 1)
    observed: dict[dt.date, Day] = {}
    ahead: dict[dt.date, Day] = {}
    old = False
    rows = queries.days(farm=farm, since=since).order_by("on", "station", "id")
    for on, kind, minimum, maximum, doubts, received_at in rows.values_list(
        "on", "kind", "minimum", "maximum", "doubts", "received_at"
    ):
        if minimum is None or maximum is None or {"minimum", "maximum"} & set(doubts):
            continue
        into = observed if kind == "observed" else ahead
        into.setdefault(on, Day(on, _celsius(minimum), _celsius(maximum)))
        near = issued_on < on <= issued_on + dt.timedelta(days=FORECAST_DAYS)
        old |= near and now is not None and is_stale(kind=kind, received_at=received_at, now=now)
    for day in _days_of_hours(farm, issued_on=issued_on):
        observed.setdefault(day.on, day)
    return Skyline(tuple(observed.values()), tuple(ahead.values()), old)


def _days_of_hours(farm: Farm, *, issued_on: dt.date) -> Iterable[Day]:
    """Yield the days of this season that are known by their hours."""
    zone = zoneinfo.ZoneInfo(farm.zone)
    since = dt.datetime(season_of(issued_on) - 1, 10, 1, tzinfo=zone)
    hours: dict[dt.date, dict[dt.datetime, float]] = {}
    rows = queries.hours(farm=farm, since=since).filter(kind="observed", temperature__isnull=False)
    for at, temperature, doubts in rows.values_list("at", "temperature", "doubts"):
        if temperature is not None and "temperature" not in doubts:
            hours.setdefault(at.astimezone(zone).date(), {}).setdefault(at, _celsius(temperature))
    for on, found in hours.items():
        if len(found) >= WHOLE_DAY:
            yield Day(on, min(found.values()), max(found.values()))


def _celsius(quantity: Quantity) -> float:
    return float(quantity.in_base())
