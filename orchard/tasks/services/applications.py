"""Writing what was put on a block: one record, frozen, with all that it rested on."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.db.models import Q

from mixing.quantities import Quantity, unit
from orchard.api.refusals import Refusal
from orchard.blocks import queries as blocks
from orchard.blocks import services as block_services
from orchard.blocks.models import Block
from orchard.crews.models import Crew, Qualification, Sprayer, Worker
from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.farms.models import Farm
from orchard.inventory import queries as store
from orchard.inventory.models import LabelVersion, Lot, Product
from orchard.tasks import amounts, checks, elements, intervals, queries
from orchard.tasks.models import ApplicationRecord, AppliedProduct, Incident, MixCheck, WorkOrder
from orchard.tasks.services import checking

Json = dict[str, Any]
RATE_EXCEEDED = "label.rate-above-maximum"


@dataclass(frozen=True, slots=True)
class Line:
    """One product as it was put on.

    :ivar rate: the rate that was meant, as it was said
    :ivar lots: how much of which lot; empty where nobody named any
    :ivar label: the version that held; found by the day where absent
    """

    product: Product
    amount: Quantity
    rate: Json | None = None
    lots: tuple[tuple[Lot, Quantity], ...] = ()
    label: LabelVersion | None = None


@dataclass(frozen=True, slots=True)
class Application:
    """What was put on a block, as it was told.

    :ivar spray: `total`, `area` as quantities in JSON, `trees`
    :ivar observed: the weather and what else was seen
    :ivar taken: `{"loads": [ids]}`: under which ids the store's ledger holds what this used
    """

    block: Block
    started_at: dt.datetime
    finished_at: dt.datetime
    spray: Json
    lines: tuple[Line, ...]
    sprayer: Sprayer | None = None
    crew: Crew | None = None
    sprayed_by: tuple[Worker, ...] = ()
    targets: tuple[str, ...] = ()
    observed: Json | None = None
    bbch: int | None = None
    loads: tuple[str, ...] = ()
    incidents: tuple[Incident, ...] = ()
    nothing_unusual: bool = False
    leftover: Json | None = None
    note: str | None = None
    pauses: tuple[Json, ...] = ()
    work_order: WorkOrder | None = None
    mix_check: MixCheck | None = None
    flags: tuple[Json, ...] = ()
    taken: Json = field(default_factory=lambda: {"loads": []})


def write(
    *,
    farm: Farm,
    said: Application,
    by: Actor,
    now: dt.datetime,
    id: uuid.UUID | None = None,
    kind: str = "application",
    corrects: ApplicationRecord | None = None,
    reason: str | None = None,
) -> ApplicationRecord:
    """Write the record of an application, and what follows from it on the block."""
    on = checking.local_day(farm, said.finished_at)
    labels = {
        line.product.key: line.label or store.label_in_force(product=line.product, on=on)
        for line in said.lines
    }
    stage = _stage(said)
    found = {key: _interval(label, said, stage) for key, label in labels.items()}
    report = _report(farm, said, labels, stage, by=by, now=now)
    body = _body(farm, said, labels, found, report, stage, on=on)
    record = journal.insert(
        ApplicationRecord,
        farm=farm,
        by=by,
        now=now,
        id=id,
        kind=kind,
        corrects=corrects,
        reason=reason,
        work_order=said.work_order,
        block=said.block,
        sprayer=said.sprayer,
        crew=said.crew,
        mix_check=said.mix_check,
        started_at=said.started_at,
        finished_at=said.finished_at,
        received_at=now,
        body={**body, "not_stated": elements.not_stated({**body, **_times(said)})},
        re_entry_until=intervals.re_entry_until(
            list(found.values()), farm=farm, finished_at=said.finished_at
        ),
        harvest_not_before=intervals.harvest_not_before(
            list(found.values()), farm=farm, finished_at=said.finished_at
        ),
        flags=[*said.flags, *_limit_flags(report), *_silent_flags(said, found), *_late_flags(said, now=now)],
    )
    _trace(record, said.lines)
    journal.created(record, by=by, now=now)
    refresh_block(block=said.block, now=now)
    return record


def _times(said: Application) -> Json:
    return {"started_at": said.started_at.isoformat(), "finished_at": said.finished_at.isoformat()}


def _trace(record: ApplicationRecord, lines: Sequence[Line]) -> None:
    AppliedProduct.objects.bulk_create(
        AppliedProduct(record=record, product=line.product, lot=lot, amount=amount)
        for line in lines
        for lot, amount in (line.lots or ((None, line.amount),))
    )


def _stage(said: Application) -> Json | None:
    """Return the stage at the end of the application: as told from paper, else as it was seen."""
    seen = blocks.stage_on(block=said.block, at=said.finished_at)
    if said.bbch is not None and (seen is None or seen.bbch != said.bbch):
        return {"bbch": said.bbch, "observed_on": None, "observation": None}
    if seen is None:
        return None
    return {"bbch": seen.bbch, "observed_on": seen.observed_on.isoformat(), "observation": str(seen.id)}


def _interval(label: LabelVersion | None, said: Application, stage: Json | None) -> intervals.Interval:
    if label is None:
        return intervals.Interval(None, None, False)
    bbch = stage["bbch"] if stage else None
    return intervals.of_label(label.label, crop=said.block.crop, targets=said.targets, bbch=bbch)


def _report(
    farm: Farm,
    said: Application,
    labels: Mapping[Any, LabelVersion | None],
    stage: Json | None,
    *,
    by: Actor,
    now: dt.datetime,
) -> Json | None:
    """Return what the engine says to what was really put on; None where it cannot be asked.

    What has happened is on record all the same: a check that cannot be made never refuses it.
    """
    size = _size(said)
    if size is None or said.sprayer is None or not all(labels.values()):
        return None
    wanted = [
        checks.Wanted(line.product, amounts.per(line.amount, size), labels[line.product.key])
        for line in said.lines
    ]
    try:
        return checks.check_mix(
            farm=farm,
            block=said.block,
            sprayer=said.sprayer,
            products=wanted,
            spray={name: said.spray[name] for name in ("total", "area") if said.spray.get(name)},
            at=said.finished_at,
            targets=list(said.targets),
            stage={"bbch": stage["bbch"]} if stage else None,
            weather=checking.weather(said.observed) if said.observed else None,
            language=checking.language(),
            dry_run=True,
            by=by,
            now=now,
        ).report
    except Refusal:
        return None


def _size(said: Application) -> Quantity | None:
    """Return what an amount is divided by to get a rate that the engine can be asked about: the spray."""
    total = said.spray.get("total")
    return amounts.read(total) if total else None


def _body(
    farm: Farm,
    said: Application,
    labels: Mapping[Any, LabelVersion | None],
    found: Mapping[Any, intervals.Interval],
    report: Json | None,
    stage: Json | None,
    *,
    on: dt.date,
) -> Json:
    totals = {one["id"]: one for one in (report or {}).get("totals", [])}
    return {
        "use": "plant protection, spraying of a crop in the open",
        "place": _place(said.block),
        "spray": said.spray,
        "products": [
            _product(line, said, labels[line.product.key], found[line.product.key], totals)
            for line in said.lines
        ],
        "sprayed_by": [str(one.id) for one in said.sprayed_by],
        "people": [_person(one, on=on) for one in said.sprayed_by],
        "stage": stage,
        "weather": said.observed,
        "targets": list(said.targets),
        "loads": list(said.loads),
        "incidents": [str(one.id) for one in said.incidents],
        "nothing_unusual": said.nothing_unusual,
        "leftover": said.leftover,
        "note": said.note,
        "pauses": list(said.pauses),
        "sprayer": _sprayer(said.sprayer),
        "rules": (report or {}).get("rules"),
        "taken": said.taken,
    }


def _place(block: Block) -> Json:
    return {
        "name": block.name,
        "crop": block.crop,
        "eppo": elements.eppo_code(block.crop),
        "cultivars": block.cultivars,
        "outline": block.outline,
        "area": block.area.as_json() if block.area else None,
        "trees": block.trees,
    }


def _sprayer(sprayer: Sprayer | None) -> Json | None:
    if sprayer is None:
        return None
    return {
        "name": sprayer.name,
        "kind": sprayer.kind,
        "tank": sprayer.tank.as_json() if sprayer.tank else None,
    }


def _person(worker: Worker, *, on: dt.date) -> Json:
    """Return who sprayed, with the number of the licence that was valid on the day."""
    valid = Q(obtained_on__lte=on, expires_on__gte=on, kind="licence")
    licence = Qualification.objects.filter(valid, worker=worker).order_by("-expires_on", "id").first()
    return {"worker": str(worker.id), "name": worker.name, "licence": licence.number if licence else None}


def _product(
    line: Line,
    said: Application,
    version: LabelVersion | None,
    found: intervals.Interval,
    totals: Mapping[str, Json],
) -> Json:
    label = version.label if version else {}
    total = totals.get(str(line.product.id))
    return {
        "product": str(line.product.id),
        "name": label.get("name") or line.product.name,
        "registration": label.get("registration"),
        "active_ingredients": [one["name"] for one in label.get("active_ingredients") or []],
        "amount": line.amount.as_json(),
        "rate": line.rate,
        "rate_applied": _rate_applied(line, said.spray),
        "per_area": _per_area(line, said.spray),
        "metal": total["metal"] if total else [],
        "re_entry": found.re_entry.as_json() if found.re_entry else None,
        "pre_harvest": found.pre_harvest.as_json() if found.pre_harvest else None,
        "label": label or {"name": line.product.name},
        "label_version": str(version.id) if version else None,
        "lots": [
            {"lot": str(lot.id), "number": lot.number, "amount": amount.as_json()}
            for lot, amount in line.lots
        ],
    }


def _rate_applied(line: Line, spray: Mapping[str, Any]) -> Json | None:
    """Return the rate that was put on, in the unit of the one that was meant where that can be."""
    name = line.rate["unit"] if line.rate else None
    kind, _, per = unit(name).dimension.partition("/") if name else ("", "", "volume")
    sizes = {"volume": spray.get("total"), "area": spray.get("area")}
    if name is not None and kind == line.amount.dimension:
        meant = sizes.get(per)
        if meant:
            return amounts.per(line.amount, amounts.read(meant), name=name).as_json()
        if per == "tree" and spray.get("trees"):
            return amounts.per_tree(line.amount, spray["trees"], name=name).as_json()
    size = sizes["volume"] or sizes["area"]
    return amounts.per(line.amount, amounts.read(size)).as_json() if size else None


def _per_area(line: Line, spray: Mapping[str, Any]) -> Json | None:
    area = spray.get("area")
    return amounts.per(line.amount, amounts.read(area)).as_json() if area else None


def _limit_flags(report: Json | None) -> Iterator[Json]:
    for finding in (report or {}).get("findings", []):
        if finding["severity"] == "stop":
            code = "rate_exceeded" if finding["id"] == RATE_EXCEEDED else "limit_passed"
            yield {"code": code, "says": finding["says"]}


def _silent_flags(said: Application, found: Mapping[Any, intervals.Interval]) -> Iterator[Json]:
    for line in said.lines:
        if found[line.product.key].re_entry is None and not found[line.product.key].adjuvant:
            says = f"the label of {line.product.name} states no re-entry interval: ask first"
            yield {"code": "limit_passed", "says": says}


def _late_flags(said: Application, *, now: dt.datetime) -> Iterator[Json]:
    days = elements.days_until_late()
    if now - said.finished_at > dt.timedelta(days=days):
        yield {
            "code": "late_entry",
            "says": f"entered {(now - said.finished_at).days} days after it; {days} are allowed",
        }


def refresh_block(*, block: Block, now: dt.datetime) -> None:
    """Show on a block what its current records say together: the latest end, the last first day."""
    rows = list(queries.current_on(block=block).order_by("finished_at", "id"))
    block_services.set_application(
        block=block,
        record_id=rows[-1].id if rows else None,
        re_entry_until=max((row.re_entry_until for row in rows if row.re_entry_until), default=None),
        harvest_not_before=max(
            (row.harvest_not_before for row in rows if row.harvest_not_before), default=None
        ),
        now=now,
    )
