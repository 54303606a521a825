"""What a record freezes: everything that the application rested on, as JSON."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

from django.db.models import Q

from mixing.quantities import unit
from orchard.blocks.models import Block
from orchard.crews.models import Qualification, Sprayer, Worker
from orchard.farms.models import Farm
from orchard.inventory.models import LabelVersion
from orchard.tasks import amounts, elements, intervals
from orchard.tasks.services.told import Application, Json, Line


def body(
    farm: Farm,
    said: Application,
    labels: Mapping[Any, LabelVersion | None],
    found: Mapping[Any, intervals.Interval],
    report: Json | None,
    stage: Json | None,
    *,
    on: dt.date,
) -> Json:
    """Return the elements of a record that are frozen with it."""
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
