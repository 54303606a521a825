"""Reading blocks, what was seen in them, and the weather over them."""

from __future__ import annotations

import datetime as dt
import zoneinfo

from django.db.models import OuterRef, Prefetch, QuerySet, Subquery

from orchard.api.remembered import remembered
from orchard.blocks.models import (
    Block,
    BlockOutlook,
    ScoutingCount,
    StageForecast,
    StageObservation,
    WeatherDay,
    WeatherHour,
)
from orchard.farms.models import Farm

HOUR = dt.timedelta(hours=1)
OPEN_FLOWERS = "open flowers"
"""The target under which open flowers of weeds are counted, so that bees are thought of."""
LATEST_FIRST = ("-observed_on", "-created_at", "-id")


def blocks(*, farm: Farm) -> QuerySet[Block]:
    """Return the farm's blocks, put away or not, with the farm."""
    return Block.objects.for_farm(farm).select_related("farm")


def with_stage(rows: QuerySet[Block], *, on: dt.date) -> QuerySet[Block]:
    """Return the same blocks, each with `seen`: its observations up to a day, latest first, at most one.

    Costs one more query, however many blocks there are.
    """
    latest = (
        StageObservation.objects.filter(block=OuterRef("block"), observed_on__lte=on)
        .order_by(*LATEST_FIRST)
        .values("key")[:1]
    )
    seen = StageObservation.objects.filter(key=Subquery(latest)).select_related("observer", "farm", "block")
    return rows.prefetch_related(Prefetch("stages", queryset=seen, to_attr="seen"))


def stages(*, block: Block) -> QuerySet[StageObservation]:
    """Return what was seen in a block."""
    return (
        StageObservation.objects.for_farm(block.farm)
        .filter(block=block)
        .select_related("farm", "block__farm", "observer")
    )


def stage_on(*, block: Block, at: dt.datetime) -> StageObservation | None:
    """Return the stage that counts at a moment: seen latest up to that day, then entered latest."""
    return _stage_on(block=block, day=at.astimezone(zoneinfo.ZoneInfo(block.farm.zone)).date())


@remembered
def _stage_on(*, block: Block, day: dt.date) -> StageObservation | None:
    return stages(block=block).filter(observed_on__lte=day).order_by(*LATEST_FIRST).first()


def leaf_drop_on(*, block: Block, at: dt.datetime) -> StageObservation | None:
    """Return the latest observation up to a moment that says how many leaves have dropped."""
    return _leaf_drop_on(block=block, day=at.astimezone(zoneinfo.ZoneInfo(block.farm.zone)).date())


@remembered
def _leaf_drop_on(*, block: Block, day: dt.date) -> StageObservation | None:
    rows = stages(block=block).filter(observed_on__lte=day, leaf_drop_percent__isnull=False)
    return rows.order_by(*LATEST_FIRST).first()


def scouting(*, block: Block) -> QuerySet[ScoutingCount]:
    """Return what looks for pests and diseases found in a block."""
    return (
        ScoutingCount.objects.for_farm(block.farm)
        .filter(block=block)
        .select_related("farm", "block__farm", "observer")
    )


@remembered
def open_flowers(*, block: Block, at: dt.datetime) -> ScoutingCount | None:
    """Return the latest look for open flowers up to a moment; None where nobody looked."""
    rows = scouting(block=block).filter(target__iexact=OPEN_FLOWERS, observed_at__lte=at)
    return rows.order_by("-observed_at", "-id").first()


def forecasts(*, block: Block) -> list[StageForecast]:
    """Return the latest forecast of each event, in the order of the stages."""
    rows = (
        StageForecast.objects.for_farm(block.farm).filter(block=block).order_by("bbch", "-issued_on", "-id")
    )
    return list(rows.distinct("bbch"))


def outlook(*, block: Block) -> BlockOutlook | None:
    """Return what stands beside the block's latest forecasts; None where none was tried yet."""
    return BlockOutlook.objects.for_farm(block.farm).filter(block=block).first()


def hours(
    *, farm: Farm, since: dt.datetime | None = None, until: dt.datetime | None = None
) -> QuerySet[WeatherHour]:
    """Return the farm's weather hours from a moment to a moment, both included."""
    rows = WeatherHour.objects.for_farm(farm).order_by("at", "station", "kind", "id")
    if since is not None:
        rows = rows.filter(at__gte=since)
    return rows if until is None else rows.filter(at__lte=until)


def weather_at(*, farm: Farm, at: dt.datetime) -> WeatherHour | None:
    """Return the hour that holds a moment: observed before forecast; None where there is none."""
    rows = hours(farm=farm, since=at - HOUR, until=at).order_by("-kind", "-at", "station", "id")
    return rows.filter(at__gt=at - HOUR).first()


def days(*, farm: Farm, since: dt.date | None = None, until: dt.date | None = None) -> QuerySet[WeatherDay]:
    """Return the farm's weather days from a day to a day, both included."""
    rows = WeatherDay.objects.for_farm(farm).order_by("on", "station", "kind", "id")
    if since is not None:
        rows = rows.filter(on__gte=since)
    return rows if until is None else rows.filter(on__lte=until)
