"""The engine's request, filled in from the farm's block, products, sprayer, history and weather."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, Context, Decimal
from typing import Any

from django.utils.translation import gettext as _

from mixing.quantities import Quantity, plain
from orchard.api.refusals import Fault, Unprocessable
from orchard.api.remembered import remembered
from orchard.api.spoken import spoken
from orchard.blocks import queries as blocks
from orchard.blocks.models import Block
from orchard.crews.models import Sprayer
from orchard.farms.models import Farm
from orchard.inventory import queries as stock
from orchard.inventory.models import LabelVersion, Product
from orchard.tasks.models import ApplicationRecord
from orchard.tasks.stored_weather import stored_weather

HISTORY = dt.timedelta(days=8 * 366)

UPWARD = Context(prec=12, rounding=ROUND_CEILING)  # what was put on is never told smaller than it was


@dataclass(frozen=True, slots=True)
class Wanted:
    """One product of a mix with its rate, and the label version where it is not the one in force."""

    product: Product
    rate: Any
    label: LabelVersion | None = None


def resolve(
    *,
    farm: Farm,
    block: Block,
    sprayer: Sprayer,
    products: Sequence[Wanted],
    at: dt.datetime,
    spray: Mapping[str, Any] | None,
    targets: Sequence[str] | None,
    stage: Mapping[str, Any] | None,
    water: Mapping[str, Any] | None,
    weather: Mapping[str, Any] | None,
    season: str | None,
    measures: Sequence[str] | None,
) -> dict[str, Any]:
    """Return the engine's request, filled in from the farm's rows.

    :raises Unprocessable: for a product without a label in force
    """
    local = at.astimezone(zoneinfo.ZoneInfo(farm.zone))
    found: dict[str, Any] = {
        "crop": block.crop,
        "stage": stage or seen_stage(block=block, at=at),
        "region": farm.region,
        "targets": list(targets) if targets else None,
        "season": season,
        "at": local.isoformat(),
        "sprayer": sprayer_json(sprayer),
        "water": water,
        "spray": spray_json(spray, block=block) if spray else None,
        "weather": weather or stored_weather(farm=farm, at=at),
        "products": _products(products, on=local.date()),
        "history": history(farm=farm, block=block, at=at),
        "measures": list(measures) if measures is not None else (farm.measures or None),
    }
    return {name: value for name, value in found.items() if value is not None}


def _products(products: Sequence[Wanted], *, on: dt.date) -> list[dict[str, Any]]:
    shown, faults = [], []
    for place, wanted in enumerate(products):
        version = wanted.label or stock.label_in_force(product=wanted.product, on=on)
        if version is None or version.status != "approved":
            faults.append(_no_label(wanted, on=on, place=place))
            continue
        rate = wanted.rate.as_json() if isinstance(wanted.rate, Quantity) else wanted.rate
        shown.append({"id": str(wanted.product.id), "rate": rate, "label": version.label})
    if faults:
        raise Unprocessable(*faults)
    return shown


def _no_label(wanted: Wanted, *, on: dt.date, place: int) -> Fault:
    name = wanted.product.name
    if wanted.label is not None:
        detail = _("this label of %(name)s is %(status)s: only an approved one may be used") % {
            "name": name,
            "status": spoken(wanted.label.status),
        }
        return Fault("label_not_approved", detail, f"/products/{place}/label")
    if stock.awaits_approval(product=wanted.product):
        detail = _("the label of %(name)s waits for a manager's approval: until then it may not be used") % {
            "name": name
        }
        return Fault("label_not_approved", detail, f"/products/{place}/product")
    detail = _("no label of %(name)s is in force on %(on)s: enter the label first") % {"name": name, "on": on}
    return Fault("label_missing", detail, f"/products/{place}/product")


def seen_stage(*, block: Block, at: dt.datetime) -> dict[str, Any] | None:
    """Return the stage of a block at a moment as the engine reads it."""
    seen = blocks.stage_on(block=block, at=at)
    return None if seen is None else {"bbch": seen.bbch, "observed_on": seen.observed_on.isoformat()}


def sprayer_json(sprayer: Sprayer) -> dict[str, Any]:
    """Return a sprayer as the engine reads it."""
    found: dict[str, Any] = {"kind": sprayer.kind}
    for name in ("tank", "dial_max", "dial_step", "jar"):
        value = getattr(sprayer, name)
        if value is not None:
            found[name] = value.as_json()
    if sprayer.ratio is not None:
        found["ratio"] = plain(sprayer.ratio)
    if sprayer.residue:
        found["residue"] = list(sprayer.residue)
    if sprayer.materials:
        found["materials"] = list(sprayer.materials)
    return found


def spray_json(spray: Mapping[str, Any], *, block: Block) -> dict[str, Any]:
    """Return the spray with the block's ground and trees where the request left them out."""
    found = {name: value for name, value in spray.items() if value is not None}
    if "volume_per_tree" in found and "trees" not in found and block.trees:
        found["trees"] = block.trees
    if "area" not in found and block.area is not None:
        found["area"] = {"value": _fitting(block.area.value), "unit": block.area.unit}
    return found


def _fitting(value: Decimal) -> str:
    """Return a decimal of fifteen digits, told smaller: a limit per area then holds sooner."""
    return plain(Context(prec=15, rounding="ROUND_FLOOR").plus(value))


@remembered
def history(*, farm: Farm, block: Block, at: dt.datetime) -> list[dict[str, Any]]:
    """Return what was put on a block before a moment, as the engine counts it."""
    zone = zoneinfo.ZoneInfo(farm.zone)
    records = (
        ApplicationRecord.objects.for_farm(farm)
        .filter(block=block, status="current", finished_at__lte=at, finished_at__gte=at - HISTORY)
        .exclude(kind="void")
        .order_by("finished_at", "id")
    )
    return [
        entry
        for record in records
        for entry in _applications(record.body, on=record.finished_at.astimezone(zone).date())
    ]


def _applications(body: Mapping[str, Any], *, on: dt.date) -> Iterable[dict[str, Any]]:
    spray, stage = body.get("spray") or {}, body.get("stage") or {}
    for product in body.get("products") or []:
        entry: dict[str, Any] = {"on": on.isoformat(), "label": product["label"]}
        if stage.get("bbch") is not None:
            entry["bbch"] = stage["bbch"]
        if spray.get("area"):
            entry["area"] = spray["area"]
            entry["rate"] = _actual_rate(product, spray["area"])
        elif product.get("rate"):
            entry["rate"] = product["rate"]
        if spray.get("total"):
            entry["spray_volume"] = spray["total"]
        yield entry


def _actual_rate(product: Mapping[str, Any], area: Mapping[str, str]) -> dict[str, str]:
    """Return what was really put on per area, told no smaller than it was."""
    amount = Decimal(product["amount"]["value"])
    rate = UPWARD.divide(amount, Decimal(area["value"]))
    return {"value": plain(rate), "unit": f"{product['amount']['unit']}/{area['unit']}"}
