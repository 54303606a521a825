"""The posting notice: which blocks were treated, with what, and from when they may be entered.

Hung where workers see it within a day of the end, for thirty days after the last interval is over, with the
safety data sheets beside it: 40 CFR 170.311(b), US Environmental Protection Agency, 2024; the figures stand
in `elements.toml`. A block that is being sprayed stands on top of it.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterator, Mapping
from typing import Any

from orchard.farms.models import Farm
from orchard.tasks import elements, notice_queries
from orchard.tasks.models import ApplicationRecord, WorkOrder

Json = dict[str, Any]
STATES = OPEN, CLOSED, UNKNOWN, BEING_SPRAYED = "open", "closed", "unknown", "being_sprayed"
SEVERITY = {state: rank for rank, state in enumerate(STATES)}


def notice(*, farm: Farm, now: dt.datetime, block: uuid.UUID | None = None) -> Json:
    """Return what is to be posted now, the latest application first, what is being sprayed above all.

    :param block: id of the only block to tell of
    """
    since = now - elements.display_time()
    under_way = notice_queries.being_sprayed(farm=farm, block=block)
    records = notice_queries.to_post(farm=farm, since=since, block=block)
    return {
        "farm": farm.name,
        "as_of": now,
        "emergency": farm.emergency,
        "beside": list(elements.beside()),
        "items": _by_block([*map(_under_way, under_way), *(_treated(row, now) for row in records)]),
    }


def _by_block(items: list[Json]) -> list[Json]:
    """Let each item tell what holds of its block: of several applications the one that keeps it closed."""
    worst: dict[str, Json] = {}
    for item in items:
        so_far = worst.setdefault(item["block"]["id"], item)
        if _closing(item) > _closing(so_far):
            worst[item["block"]["id"]] = item
    shared = ("state", "entry_allowed_from")
    found = {id: {name: item[name] for name in shared} for id, item in worst.items()}
    return [{**item, **found[item["block"]["id"]]} for item in items]


def _closing(item: Json) -> tuple[int, float]:
    at = item["entry_allowed_from"]
    return SEVERITY[item["state"]], at.timestamp() if at else 0.0


def _under_way(order: WorkOrder) -> Json:
    assert order.block is not None
    return {
        "state": BEING_SPRAYED,
        "record": None,
        "work_order": str(order.id),
        "block": {"id": str(order.block.id), "name": order.block.name, "crop": order.block.crop},
        "area": order.block.area.as_json() if order.block.area else None,
        "products": list(_of_order(order)),
        "started_at": order.started_at,
        "finished_at": None,
        "entry_allowed_from": None,
        "harvest_not_before": None,
        "post_until": None,
        "early_entry": _worn(order),
    }


def _of_order(order: WorkOrder) -> Iterator[Json]:
    request = order.mix_check.request if order.mix_check else {"products": []}
    for one in request["products"]:
        label = one["label"]
        yield {
            "name": label["name"],
            "registration": label.get("registration"),
            "active_ingredients": [active["name"] for active in label.get("active_ingredients") or []],
            "re_entry": None,
        }


def _worn(order: WorkOrder) -> list[str]:
    return list(order.mix_check.report["protection"]["early_entry"]) if order.mix_check else []


def _treated(row: ApplicationRecord, now: dt.datetime) -> Json:
    place = row.body.get("place") or {}
    return {
        "state": _state(row, now),
        "record": str(row.id),
        "work_order": str(row.work_order.id) if row.work_order else None,
        "block": {"id": str(row.block.id), "name": place.get("name"), "crop": place.get("crop")},
        "area": (row.body.get("spray") or {}).get("area"),
        "products": [_product(one) for one in row.body["products"]],
        "started_at": row.started_at,
        "finished_at": row.finished_at,
        "entry_allowed_from": None if _unknown(row) else row.re_entry_until,
        "harvest_not_before": row.harvest_not_before,
        "post_until": (row.re_entry_until or row.finished_at) + elements.display_time(),
        "early_entry": _early_entry(row),
    }


def _product(one: Mapping[str, Any]) -> Json:
    names = ("name", "registration", "active_ingredients", "re_entry")
    return {name: one.get(name) for name in names}


def _early_entry(row: ApplicationRecord) -> list[str]:
    labels = [one.get("label") or {} for one in row.body["products"]]
    worn = [gear for label in labels for gear in (label.get("protection") or {}).get("early_entry") or []]
    return list(dict.fromkeys(worn))


def _unknown(row: ApplicationRecord) -> bool:
    """Say whether some label states no interval, so that nobody can say when entry is allowed."""
    if row.re_entry_until is None:
        return True
    pesticides = [one for one in row.body["products"] if not (one.get("label") or {}).get("adjuvant")]
    return any(one.get("re_entry") is None for one in pesticides)


def _state(row: ApplicationRecord, now: dt.datetime) -> str:
    if _unknown(row):
        return UNKNOWN
    assert row.re_entry_until is not None
    return CLOSED if row.re_entry_until > now else OPEN
