"""What was put on a block, as it was told: by the loads of an order, on paper, or by a record."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import Any

from mixing.quantities import Quantity
from orchard.blocks.models import Block
from orchard.crews import queries as crews
from orchard.crews.models import Crew, Sprayer, Worker
from orchard.inventory import queries as store
from orchard.inventory.models import LabelVersion, Lot, Product
from orchard.tasks import amounts, queries
from orchard.tasks.models import ApplicationRecord, Incident, MixCheck, WorkOrder

Json = dict[str, Any]


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


def said_by(record: ApplicationRecord) -> Application:
    """Return what a record says, as it was told."""
    body, farm = record.body, record.farm
    rows = {str(row.id): row for row in store.products(farm=farm)}
    lots = {
        str(lot.id): lot
        for lot in store.lots(farm=farm).filter(
            id__in=[lot["lot"] for one in body["products"] for lot in one["lots"]]
        )
    }
    lines = tuple(
        Line(
            product=rows[one["product"]],
            amount=amounts.read(one["amount"]),
            rate=one["rate"],
            lots=tuple((lots[lot["lot"]], amounts.read(lot["amount"])) for lot in one["lots"]),
        )
        for one in body["products"]
    )
    return Application(
        block=record.block,
        started_at=record.started_at,
        finished_at=record.finished_at,
        spray=body["spray"],
        lines=lines,
        sprayer=record.sprayer,
        crew=record.crew,
        sprayed_by=tuple(crews.workers(farm=farm).filter(id__in=body["sprayed_by"])),
        targets=tuple(body["targets"]),
        observed=body["weather"],
        bbch=body["stage"]["bbch"] if body["stage"] else None,
        loads=tuple(body["loads"]),
        incidents=tuple(queries.incidents(farm=farm, id__in=body["incidents"])),
        nothing_unusual=body["nothing_unusual"],
        leftover=body["leftover"],
        note=body["note"],
        pauses=tuple(body["pauses"]),
        work_order=record.work_order,
        mix_check=record.mix_check,
        taken=body["taken"],
    )
