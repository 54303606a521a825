"""Writing what was put on a block: one record, frozen, with all that it rested on."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Mapping, Sequence
from typing import Any

from mixing.quantities import Quantity
from orchard.api.refusals import Refusal
from orchard.blocks import queries as blocks
from orchard.blocks import services as block_services
from orchard.blocks.models import Block
from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.farms.models import Farm
from orchard.inventory import queries as store
from orchard.inventory.models import LabelVersion
from orchard.tasks import amounts, checks, elements, intervals, queries
from orchard.tasks.models import ApplicationRecord, AppliedProduct, MixCheck
from orchard.tasks.services import checking, flags, frozen
from orchard.tasks.services.told import Application, Json, Line


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
    check = _check(farm, said, labels, stage, by=by, now=now)
    report = check.report if check else None
    body = frozen.body(farm, said, labels, found, report, stage, on=on)
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
        flags=[
            *said.flags,
            *flags.of_limits(check),
            *(() if said.spray.get("area") else flags.of_ground(report)),
            *flags.of_labels(said, found),
            *flags.of_time(said, now=now),
        ],
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


def _check(
    farm: Farm,
    said: Application,
    labels: Mapping[Any, LabelVersion | None],
    stage: Json | None,
    *,
    by: Actor,
    now: dt.datetime,
) -> MixCheck | None:
    """Return the check of what was really put on; None where the engine cannot be asked.

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
        )
    except Refusal:
        return None


def _size(said: Application) -> Quantity | None:
    """Return what an amount is divided by to get a rate that the engine can be asked about: the spray."""
    total = said.spray.get("total")
    return amounts.read(total) if total else None


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
