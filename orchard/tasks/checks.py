"""Mix checks of a farm: what the engine is asked, with the farm's own block, products, sprayer and history.

A stored check is what a decision rested on; it is never changed. An override is a manager's word, with a
reason and a reference, for a published stop only.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import uuid
import zoneinfo
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, Context, Decimal
from typing import Any

from django.db import transaction

from mixing import MixRequestError
from mixing import check_mix as ask_engine
from mixing.quantities import EXACT, Quantity, QuantityError, parse_quantity, plain
from orchard.api.refusals import Conflict, Fault, Unprocessable
from orchard.blocks import queries as blocks
from orchard.blocks.models import Block, WeatherHour
from orchard.crews.models import Sprayer
from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.farms.models import Farm
from orchard.inventory import queries as stock
from orchard.inventory.models import LabelVersion, Product
from orchard.tasks.models import ApplicationRecord, MixCheck, Override, WorkOrder

OVERRIDE_HOLDS = dt.timedelta(hours=24)
LEFTOVER_ADDS_TO = dt.timedelta(hours=24)
HISTORY = dt.timedelta(days=8 * 366)
LOOK_AHEAD_H = 72
DRY = Decimal("0")
UPWARD = Context(prec=12, rounding=ROUND_CEILING)  # what was put on is never told smaller than it was
HOUR = dt.timedelta(hours=1)
SHORTEST_REASON = 10
SEVERITIES = ("stop", "caution", "note")


@dataclass(frozen=True, slots=True)
class Wanted:
    """One product of a mix with its rate, and the label version where it is not the one in force."""

    product: Product
    rate: Any
    label: LabelVersion | None = None


def check_mix(
    *,
    farm: Farm,
    block: Block,
    sprayer: Sprayer,
    products: Sequence[Wanted],
    by: Actor,
    now: dt.datetime,
    at: dt.datetime | None = None,
    spray: Mapping[str, Any] | None = None,
    targets: Sequence[str] | None = None,
    stage: Mapping[str, Any] | None = None,
    water: Mapping[str, Any] | None = None,
    weather: Mapping[str, Any] | None = None,
    season: str | None = None,
    measures: Sequence[str] | None = None,
    leftover: bool = False,
    dry_run: bool = False,
    asked: Mapping[str, Any] | None = None,
    id: uuid.UUID | None = None,
    language: str = "en",
) -> MixCheck:
    """Check a mix for a block, and store the check unless it is a dry run.

    :param spray: as in the mix check; the block's area and trees stand in where they are not given
    :param weather: as in the mix check; from the stored hours at `at` where absent
    :param leftover: True: what the block got of the same products in the last 24 h counts with this dose
    :raises Unprocessable: with every fault of the request
    """
    at = at or now
    request = resolve(
        farm=farm,
        block=block,
        sprayer=sprayer,
        products=products,
        at=at,
        spray=spray,
        targets=targets,
        stage=stage,
        water=water,
        weather=weather,
        season=season,
        measures=measures,
    )
    report = engine_report(request, language=language)
    if leftover:
        report = _with_what_is_on(report, request=request, block=block, at=at, language=language)
    columns: dict[str, Any] = {
        "block": block,
        "sprayer": sprayer,
        "asked": dict(asked or {}),
        "request": request,
        "report": report,
        "verdict": report["verdict"],
        "at": at,
        "fingerprint": fingerprint(block=block, products=products),
    }
    if dry_run:
        return MixCheck(farm=farm, created_at=now, updated_at=now, created_by_kind=by.kind, **columns)
    with transaction.atomic():
        return journal.create(MixCheck, farm=farm, by=by, now=now, id=id, **columns)


def engine_report(request: Mapping[str, Any], *, language: str = "en") -> dict[str, Any]:
    """Return the engine's report.

    :raises Unprocessable: with the engine's faults, each at its pointer
    """
    try:
        return ask_engine(request, language=language if language in ("en", "es") else "en")
    except MixRequestError as error:
        raise Unprocessable(*(Fault(f["code"], f["detail"], f["pointer"]) for f in error.errors)) from None


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
        if version is None:
            detail = f"no label of {wanted.product.name} is in force on {on}: enter the label first"
            faults.append(Fault("label_missing", detail, f"/products/{place}/product"))
            continue
        rate = wanted.rate.as_json() if isinstance(wanted.rate, Quantity) else wanted.rate
        shown.append({"id": str(wanted.product.id), "rate": rate, "label": version.label})
    if faults:
        raise Unprocessable(*faults)
    return shown


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


def stored_weather(*, farm: Farm, at: dt.datetime) -> dict[str, Any] | None:
    """Return the weather at a moment from the stored hours; None where there is none.

    Hours until rain are counted as far as the stored hours reach without a gap; the minimum of the next
    24 h is given only where all of them are there.
    """
    hour = blocks.weather_at(farm=farm, at=at)
    if hour is None:
        return None
    ahead = _hours_ahead(farm=farm, at=at)
    found: dict[str, Any] = {
        "wind": hour.wind.as_json() if hour.wind else None,
        "temperature": hour.temperature.as_json() if hour.temperature else None,
        "humidity_percent": plain(hour.humidity_percent) if hour.humidity_percent is not None else None,
        "rain_within_h": _dry_hours(ahead, at=at),
        "minimum_next_24h": _minimum(ahead[:24]),
    }
    return {name: value for name, value in found.items() if value is not None} or None


def _hours_ahead(*, farm: Farm, at: dt.datetime) -> list[WeatherHour]:
    """Return one row an hour from the hour after a moment on, without a gap, observed before forecast."""
    rows = blocks.hours(farm=farm, since=at, until=at + LOOK_AHEAD_H * HOUR).order_by(
        "at", "-kind", "station"
    )
    line: list[WeatherHour] = []
    for row in rows:
        if line and row.at == line[-1].at:
            continue
        if row.at - (line[-1].at if line else at) > HOUR:
            break
        line.append(row)
    return line


def _dry_hours(ahead: Sequence[WeatherHour], *, at: dt.datetime) -> str | None:
    """Return the hours until rain, or until the stored hours end; None where none say."""
    known = None
    for row in ahead:
        if row.rain is None:
            break
        known = row.at
        if row.rain.value > DRY:
            break
    if known is None:
        return None
    return plain(EXACT.divide(Decimal((known - at).total_seconds()), Decimal(3600)), 1)


def _minimum(ahead: Sequence[WeatherHour]) -> dict[str, str] | None:
    known = [row.temperature for row in ahead if row.temperature is not None]
    if len(known) < 24:
        return None
    return min(known, key=lambda quantity: quantity.in_base()).as_json()


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


def _with_what_is_on(
    report: dict[str, Any], *, request: Mapping[str, Any], block: Block, at: dt.datetime, language: str
) -> dict[str, Any]:
    """Return the report with the findings that hold once the last 24 h are added to this dose.

    The engine is asked again for as much spray as would put on both: by the product of which the block
    already got most, so that no limit per area is passed unseen.
    """
    already = _spray_already_on(request=request, block=block, at=at)
    total = (request.get("spray") or {}).get("total")
    if already is None or total is None:
        return report
    both = {
        **request["spray"],
        "total": Quantity(
            EXACT.add(parse_quantity(total).value, already.to(total["unit"]).value), total["unit"]
        ).as_json(),
    }
    both["total"]["value"] = plain(UPWARD.plus(Decimal(both["total"]["value"])))
    since = (at - LEFTOVER_ADDS_TO).date().isoformat()
    earlier = [entry for entry in request.get("history", []) if entry["on"] < since]
    summed = engine_report({**request, "spray": both, "history": earlier}, language=language)
    known = {(f["id"], tuple(f["products"])) for f in report["findings"]}
    added = [f for f in summed["findings"] if (f["id"], tuple(f["products"])) not in known]
    findings = sorted([*report["findings"], *added], key=lambda f: (SEVERITIES.index(f["severity"]), f["id"]))
    worst = findings[0]["severity"] if findings else "note"
    return {**report, "findings": findings, "verdict": "ok" if worst == "note" else worst}


def _spray_already_on(*, request: Mapping[str, Any], block: Block, at: dt.datetime) -> Quantity | None:
    """Return the spray at these rates that holds what the block got in the last 24 h, the most of any."""
    records = ApplicationRecord.objects.for_farm(block.farm).filter(
        block=block, status="current", finished_at__gt=at - LEFTOVER_ADDS_TO, finished_at__lte=at
    )
    got: dict[str, Decimal] = {}
    for record in records.exclude(kind="void"):
        for product in record.body.get("products") or []:
            amount = parse_quantity(product["amount"])
            got[product["product"]] = got.get(product["product"], Decimal(0)) + amount.in_base()
    volumes = []
    for wanted in request["products"]:
        rate = parse_quantity(wanted["rate"])
        if wanted["id"] in got and rate.dimension in ("mass/volume", "volume/volume"):
            volumes.append(EXACT.divide(got[wanted["id"]], rate.in_base()))
    return Quantity(max(volumes), "mL") if volumes else None


def fingerprint(*, block: Block, products: Sequence[Wanted]) -> str:
    """Return what an override holds for: the same block, products and rates."""
    rates = sorted(
        (
            str(wanted.product.id),
            json.dumps(wanted.rate.as_json() if isinstance(wanted.rate, Quantity) else wanted.rate),
        )
        for wanted in products
    )
    return hashlib.sha256(json.dumps([str(block.id), rates]).encode()).hexdigest()


def open_stops(*, check: MixCheck, now: dt.datetime) -> list[dict[str, Any]]:
    """Return the stops of a check that no manager has taken upon themselves in the last 24 h."""
    taken = {
        (override.finding, frozenset(override.products))
        for override in Override.objects.for_farm(check.farm).filter(
            fingerprint=check.fingerprint, created_at__gte=now - OVERRIDE_HOLDS, created_at__lte=now
        )
    }
    return [
        finding
        for finding in check.report["findings"]
        if finding["severity"] == "stop"
        and not (finding["may_be_overridden"] and (finding["id"], frozenset(finding["products"])) in taken)
    ]


def override(
    *,
    farm: Farm,
    mix_check: MixCheck,
    finding: str,
    products: Sequence[Product],
    reason: str,
    reference: str,
    by: Actor,
    now: dt.datetime,
    id: uuid.UUID | None = None,
) -> Override:
    """Take a published stop upon oneself, for the same block, products and rates in the next 24 h.

    :raises Unprocessable: `reason_too_short`, `finding_not_found`
    :raises Conflict: `not_overridable` for a label or a regulation, or what is no stop
    """
    ids = sorted(str(product.id) for product in products)
    faults = []
    if len(reason.strip()) < SHORTEST_REASON:
        faults.append(
            Fault("reason_too_short", f"give the reason in {SHORTEST_REASON} characters or more", "/reason")
        )
    match = [f for f in mix_check.report["findings"] if f["id"] == finding and sorted(f["products"]) == ids]
    if not match:
        faults.append(
            Fault("finding_not_found", "this check has no such finding about these products", "/finding")
        )
    if faults:
        raise Unprocessable(*faults)
    if not match[0]["may_be_overridden"]:
        raise Conflict(
            Fault(
                "not_overridable",
                f"a stop of basis {match[0]['basis']} holds for everyone",
                "/finding",
                finding=match[0],
            )
        )
    with transaction.atomic():
        return journal.create(
            Override,
            farm=farm,
            by=by,
            now=now,
            id=id,
            mix_check=mix_check,
            finding=finding,
            products=ids,
            reason=reason.strip(),
            reference=reference,
            fingerprint=mix_check.fingerprint,
        )


def of_order(*, order: WorkOrder) -> list[Wanted]:
    """Return the products and rates of a work order."""
    by_id = {
        str(p.id): p
        for p in stock.products(farm=order.farm).filter(id__in=[p["product"] for p in order.products])
    }
    labels = {
        str(version.id): version
        for version in LabelVersion.objects.for_farm(order.farm).filter(
            id__in=[p["label"] for p in order.products if p.get("label")]
        )
    }
    return [
        Wanted(by_id[one["product"]], one["rate"], labels.get(one.get("label") or ""))
        for one in order.products
    ]


def readable_rate(raw: Any) -> Quantity:
    """Return a rate as it was said.

    :raises QuantityError: where it is none
    """
    rate = parse_quantity(raw)
    if "/" not in rate.dimension and rate.unit != "ppm":
        raise QuantityError("unit_kind", f"{rate.unit} is no rate: say per what, such as fl_oz/gal", "unit")
    return rate
