"""Writing blocks, what was seen in them, and the weather over them."""

from __future__ import annotations

import datetime as dt
import uuid
import zoneinfo
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal, localcontext
from itertools import islice
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from mixing.quantities import EXACT, Quantity
from orchard.api.refusals import Conflict, Fault, Unprocessable
from orchard.blocks import outlines, weather_doubts, weather_sense
from orchard.blocks.models import (
    Block,
    BlockOutlook,
    ScoutingCount,
    StageForecast,
    StageObservation,
    WeatherDay,
    WeatherHour,
)
from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.farms.models import Farm

SHAPE = ("outline", "area", "row_spacing", "tree_spacing", "trees")


def add_block(
    *, farm: Farm, by: Actor, now: dt.datetime, id: uuid.UUID | None = None, **values: Any
) -> Block:
    """Make a block; its area and trees are worked out where they are not given.

    :raises Unprocessable: `outline_invalid`
    """
    with transaction.atomic():
        return journal.create(Block, farm=farm, by=by, now=now, id=id, **completed(given={}, changes=values))


def change_block(*, block: Block, by: Actor, now: dt.datetime, **values: Any) -> Block:
    """Change a block; what was worked out is worked out again. The caller holds its lock.

    :raises Unprocessable: `outline_invalid`
    :raises Conflict: `pre_harvest` for a picking before what was sprayed allows it
    """
    _picking(block, values.get("harvest_from"), now=now)
    given = {name: getattr(block, name) for name in SHAPE if name not in block.computed}
    journal.change(block, by=by, now=now, **completed(given=given, changes=values))
    return block


def _picking(block: Block, harvest_from: dt.date | None, *, now: dt.datetime) -> None:
    """Refuse a picking that is still to come and that what was sprayed on the block does not allow yet."""
    earliest = block.harvest_not_before
    today = now.astimezone(zoneinfo.ZoneInfo(block.farm.zone)).date()
    if harvest_from is None or earliest is None or harvest_from < today or harvest_from >= earliest:
        return
    detail = _("what was sprayed on %(block)s lets nobody pick before %(earliest)s") % {
        "block": block,
        "earliest": earliest,
    }
    refers = ("application_record", str(block.last_application)) if block.last_application else None
    raise Conflict(Fault("pre_harvest", detail, "/harvest_from", refers, earliest=earliest.isoformat()))


def completed(*, given: Mapping[str, Any], changes: Mapping[str, Any]) -> dict[str, Any]:
    """Return the changes with the area, or the trees, that follow from the rest.

    Area from trees and spacings, else from the outline; trees from area and spacings.

    :param given: what the block says of its shape already, without what was worked out
    :raises Unprocessable: `outline_invalid`
    """
    values = dict(changes)
    if values.get("outline") is not None:
        try:
            values["outline"] = outlines.normalised(values["outline"])
        except outlines.OutlineFault as fault:
            raise Unprocessable(Fault("outline_invalid", str(fault), "/outline")) from None
    if not set(values) & set(SHAPE):
        return values
    shape = {**given, **values}
    computed = []
    if shape.get("area") is None:
        values["area"] = shape["area"] = _area(shape)
        computed += ["area"] if shape["area"] is not None else []
    if shape.get("trees") is None:
        values["trees"] = _trees(shape)
        computed += ["trees"] if values["trees"] is not None else []
    return {**values, "computed": computed}


def _per_tree_m2(shape: Mapping[str, Any]) -> Decimal | None:
    rows, trees = shape.get("row_spacing"), shape.get("tree_spacing")
    return None if rows is None or trees is None else EXACT.multiply(rows.in_base(), trees.in_base())


def _area(shape: Mapping[str, Any]) -> Quantity | None:
    each = _per_tree_m2(shape)
    if each is not None and shape.get("trees") is not None:
        us = shape["row_spacing"].unit in ("ft", "yd", "in", "mi")
        with localcontext(EXACT):
            return Quantity(each * shape["trees"], "m2").to("acre" if us else "ha")
    return outlines.area(shape["outline"]) if shape.get("outline") else None


def _trees(shape: Mapping[str, Any]) -> int | None:
    each = _per_tree_m2(shape)
    if each is None or shape.get("area") is None:
        return None
    return int(EXACT.divide(shape["area"].in_base(), each).to_integral_value())


def add_stage(
    *, block: Block, by: Actor, now: dt.datetime, id: uuid.UUID | None = None, **values: Any
) -> StageObservation:
    """Write down the stage that was seen; the block is a new version, since it shows the latest."""
    with transaction.atomic():
        seen = journal.create(StageObservation, farm=block.farm, by=by, now=now, id=id, block=block, **values)
        journal.touch(_locked(block), now=now)
    return seen


def _locked(block: Block) -> Block:
    return (
        Block.objects.select_related("farm").select_for_update(of=("self",), no_key=True).get(key=block.key)
    )


def add_scouting(
    *, block: Block, by: Actor, now: dt.datetime, id: uuid.UUID | None = None, **values: Any
) -> ScoutingCount:
    """Write down what a look found; nothing is a result."""
    with transaction.atomic():
        return journal.create(ScoutingCount, farm=block.farm, by=by, now=now, id=id, block=block, **values)


def set_application(
    *,
    block: Block,
    record_id: uuid.UUID | None,
    re_entry_until: dt.datetime | None,
    harvest_not_before: dt.date | None,
    now: dt.datetime,
) -> None:
    """Show on a block what its application records say."""
    with transaction.atomic():
        journal.touch(
            _locked(block),
            now=now,
            last_application=record_id,
            re_entry_until=re_entry_until,
            harvest_not_before=harvest_not_before,
        )
    block.refresh_from_db()


def store_forecasts(
    *,
    block: Block,
    issued_on: dt.date,
    forecasts: Iterable[Mapping[str, Any]] = (),
    last_safe_day: dt.date | None = None,
    remarks: Sequence[Mapping[str, Any]] = (),
    refused: Mapping[str, Any] | None = None,
    by: Actor,
    now: dt.datetime,
) -> list[StageForecast]:
    """Keep when a block is expected to reach its stages, or why there is no date; a second run of a day
    replaces the first.

    :param remarks: `{"code", "facts"}` of `outlook_words.REMARKS`
    :param refused: one of `outlook_words.REFUSALS`
    """
    stored = []
    with transaction.atomic():
        for one in forecasts:
            StageForecast.objects.for_farm(block.farm).filter(
                block=block, event=one["event"], issued_on=one["issued_on"]
            ).delete()
            stored.append(journal.insert(StageForecast, farm=block.farm, by=by, now=now, block=block, **one))
        BlockOutlook.objects.for_farm(block.farm).update_or_create(
            block=block,
            defaults={
                "farm": block.farm,
                "issued_on": issued_on,
                "last_safe_day": last_safe_day,
                "remarks": list(remarks),
                "refused": refused,
            },
        )
    return stored


@dataclass(frozen=True, slots=True)
class Stored:
    """How many weather rows were stored, and what of them is likely wrong."""

    rows: int
    doubts: tuple[weather_sense.Doubt, ...]


def refuse_what_is_to_come(*, farm: Farm, rows: Sequence[Mapping[str, Any]], now: dt.datetime) -> None:
    """Refuse hours and days told as observed that are still to come: they would hide the forecast.

    :raises Unprocessable: `time_in_future`, fifty at most
    """
    today = now.astimezone(zoneinfo.ZoneInfo(farm.zone)).date()
    faults = list(islice(weather_sense.ahead(rows, now=now, today=today), 50))
    if faults:
        raise Unprocessable(*faults)


def store_hours(*, farm: Farm, station: str, rows: Iterable[Mapping[str, Any]], now: dt.datetime) -> Stored:
    """Store weather hours; a later post of the same station, hour and kind replaces.

    :raises Unprocessable: for what cannot be
    """
    return _store(WeatherHour, "at", farm=farm, station=station, rows=list(rows), now=now)


def store_days(*, farm: Farm, station: str, rows: Iterable[Mapping[str, Any]], now: dt.datetime) -> Stored:
    """Store weather days; a later post of the same station, day and kind replaces.

    :raises Unprocessable: for what cannot be
    """
    return _store(WeatherDay, "on", farm=farm, station=station, rows=list(rows), now=now)


def _store(
    model: Any, when: str, *, farm: Farm, station: str, rows: Sequence[Mapping[str, Any]], now: dt.datetime
) -> Stored:
    faults = list(weather_sense.impossible(rows))
    if faults:
        raise Unprocessable(*faults)
    doubts = weather_doubts.of_rows(model, when, farm=farm, station=station, rows=rows)
    doubted: dict[int, list[str]] = {}
    for doubt in doubts:
        doubted.setdefault(doubt.place, []).append(doubt.name)
    made = {
        (row[when], row["kind"]): model(
            farm=farm, station=station, received_at=now, doubts=sorted(set(doubted.get(place, ()))), **row
        )
        for place, row in enumerate(rows)
    }
    key = {"farm", "station", when, "kind"}
    columns = [f.name for f in model._meta.concrete_fields if f.name not in key | {"id"}]
    model.objects.bulk_create(
        made.values(),
        update_conflicts=True,
        unique_fields=["farm", "station", when, "kind"],
        update_fields=columns,
        batch_size=500,
    )
    return Stored(len(made), tuple(doubts))
