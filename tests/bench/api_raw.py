"""The floor of `tests.bench api`: the same pages by psycopg and orjson, with nobody to let in and no fence.

One connection as the role that owns the tables, each statement prepared, no transaction; values that orjson
writes by itself are handed to it as the driver gives them.
"""

from __future__ import annotations

import base64
import datetime as dt
import json
import uuid
from collections.abc import Mapping
from decimal import Decimal
from typing import Any
from urllib.parse import urlencode

import orjson
import psycopg
from django.db import connections
from psycopg.types.json import set_json_loads

LIMIT = 100
POUND = Decimal("453.59237")
SIX_PLACES = Decimal("0.000001")
SCHEDULE = """
    SELECT o.id, o.kind, o.title, o.status, b.id, b.name, c.id, c.name, o.starts_at, o.ends_at, o.window,
        o.re_entry_until, jsonb_array_length(o.loads_planned), o.totals, o.updated_at, o.version,
        extract(epoch FROM o.created_at)
    FROM tasks_workorder o
    LEFT JOIN blocks_block b ON b.key = o.block_id LEFT JOIN crews_crew c ON c.key = o.crew_id
    WHERE o.farm_id = %s AND o.status IN ('issued', 'accepted', 'under_way', 'done', 'held', 'cancelled')
        AND NOT (o.status = 'cancelled' AND o.mix_check_id IS NULL AND o.kind = 'spray') AND {}
    ORDER BY o.starts_at, o.id LIMIT 101
"""
SCHEDULE_FROM = SCHEDULE.format("o.starts_at >= %s")
SCHEDULE_AFTER = SCHEDULE.format("(o.starts_at, o.id) > (%s, %s)")
NAMES = "SELECT id::text, name FROM inventory_product WHERE farm_id = %s AND id = ANY(%s::uuid[])"
CHANGES = """
    SELECT transaction_number, seq, at, resource, resource_id, change, etag, path FROM farms_change
    WHERE farm_id = %s AND (transaction_number, seq) > (%s, %s)
        AND transaction_number < pg_snapshot_xmin(pg_current_snapshot())::text::bigint
            + orchard_transaction_offset()
    ORDER BY transaction_number, seq LIMIT 101
"""
MOVEMENTS = """
    SELECT m.id, m.created_at, m.updated_at, m.created_by_kind, m.created_by_id, m.created_by_name, m.version,
        extract(epoch FROM m.created_at), m.kind, l.id, m.quantity, m.reason, m.at,
        CASE WHEN m.change_base < 0 THEN o.location ELSE l.location END, r.id, m.reference,
        m.change_base, p.base_unit, m.balance_after_base, m.work_order, m.load, b.id
    FROM inventory_movement m
    JOIN inventory_lot l ON l.key = m.lot_id JOIN inventory_product p ON p.key = l.product_id
    LEFT JOIN inventory_lot o ON o.key = m.other_lot_id
    LEFT JOIN inventory_movement r ON r.key = m.reverses_id
    LEFT JOIN inventory_movement b ON b.reverses_id = m.key
    WHERE m.farm_id = %s AND m.id > %s ORDER BY m.id LIMIT 101
"""


class Raw:
    """Answers as the service does; a query's values say where the page begins.

    :param zone: of all the farms, set once for the connection
    """

    def __init__(self, *, zone: str) -> None:
        address = {**connections["owner"].get_connection_params(), "prepare_threshold": 0}
        del address["context"], address["cursor_factory"]  # Django's ways of reading values
        self.connection = psycopg.connect(**address, autocommit=True)
        self.connection.execute("SELECT set_config('timezone', %s, false)", [zone])
        set_json_loads(orjson.loads, self.connection)

    def schedule(self, farm: uuid.UUID, query: Mapping[str, str]) -> bytes:
        """Return a page of the schedule."""
        at = f"/api/v1/farms/{farm}"
        if "cursor" in query:
            rows = self.connection.execute(SCHEDULE_AFTER, [farm, *opened(query["cursor"])[1:]]).fetchall()
        else:
            rows = self.connection.execute(SCHEDULE_FROM, [farm, query["from"]]).fetchall()
        more, rows = len(rows) > LIMIT, rows[:LIMIT]
        ids = list({total["id"] for row in rows for total in row[13]})
        names = dict(self.connection.execute(NAMES, [farm, ids]).fetchall())
        items = [_scheduled(row, names, at) for row in rows]
        begin = rows[-1][8].astimezone(dt.UTC).isoformat()
        onward = closed(farm, begin, str(rows[-1][0])) if more else None
        return _page(f"{at}/schedule", items, {**query, "cursor": onward} if onward else None)

    def changes(self, farm: uuid.UUID, query: Mapping[str, str]) -> bytes:
        """Return a page of the change feed."""
        after = base64.urlsafe_b64decode(query["after"] + "==").decode().split(".")[:2]
        rows = self.connection.execute(CHANGES, [farm, *map(int, after)]).fetchall()
        more, rows = len(rows) > LIMIT, rows[:LIMIT]
        items = [_changed(row, farm.hex.encode()) for row in rows]
        last = items[-1]["cursor"] if items else query["after"]
        following = f"http://testserver/api/v1/farms/{farm}/changes?after={last}" if more else None
        return orjson.dumps({"items": items, "cursor": last, "next": following})

    def movements(self, farm: uuid.UUID, query: Mapping[str, str]) -> bytes:
        """Return a page of the ledger."""
        at = f"/api/v1/farms/{farm}/stock-movements"
        rows = self.connection.execute(MOVEMENTS, [farm, *opened(query["cursor"])[1:]]).fetchall()
        more, rows = len(rows) > LIMIT, rows[:LIMIT]
        onward = closed(farm, str(rows[-1][0])) if more else None
        return _page(at, [_moved(row, at) for row in rows], {"cursor": onward} if onward else None)


def _scheduled(row: tuple[Any, ...], names: dict[str, str], at: str) -> dict[str, Any]:
    return {
        "id": row[0],
        "kind": row[1],
        "title": row[2],
        "status": row[3],
        "block": {"id": row[4], "name": row[5]} if row[4] else None,
        "crew": {"id": row[6], "name": row[7]} if row[6] else None,
        "starts_at": row[8],
        "ends_at": row[9],
        "window": row[10],
        "re_entry_until": row[11],
        "loads": row[12],
        "products": [{"name": names.get(one["id"], ""), "total": one["exact"]} for one in row[13]],
        "updated_at": row[14],
        "etag": f'"{row[15]:x}-{row[16]:.6f}"',
        "url": f"{at}/work-orders/{row[0]}",
    }


def _changed(row: tuple[Any, ...], farm: bytes) -> dict[str, Any]:
    return {
        "cursor": base64.urlsafe_b64encode(b"%d.%d.%b" % (*row[:2], farm)).decode().rstrip("="),
        "at": row[2],
        "resource": row[3],
        "id": row[4],
        "change": row[5],
        "etag": row[6],
        "url": row[7],
    }


def _moved(row: tuple[Any, ...], at: str) -> dict[str, Any]:
    value, _, unit = row[10].partition(" ")
    return {
        "id": row[0],
        "created_at": row[1],
        "updated_at": row[2],
        "created_by": {"kind": row[3], "id": row[4], "name": row[5]},
        "etag": f'"{row[6]:x}-{row[7]:.6f}"',
        "url": f"{at}/{row[0]}",
        "kind": row[8],
        "lot": row[9],
        "quantity": {"value": value, "unit": unit},
        "reason": row[11] or None,
        "at": row[12],
        "location": (row[13] or None) if row[8] == "transfer" else None,
        "reverses": row[14],
        "reference": row[15],
        "change": {"value": f"-{value}" if row[16] < 0 else value, "unit": unit},
        "change_base": {"value": _plain(row[16]), "unit": row[17]},
        "balance_after": {"value": _plain((row[18] / POUND).quantize(SIX_PLACES)), "unit": "lb"},
        "work_order": row[19],
        "load": row[20],
        "reversed_by": row[21],
    }


def _plain(value: Decimal) -> str:
    return format(value, "f").rstrip("0").rstrip(".")


def _page(path: str, items: list[dict[str, Any]], query: dict[str, str] | None) -> bytes:
    following = f"http://testserver{path}?{urlencode(query)}" if query else None
    return orjson.dumps({"items": items, "next": following})


def opened(cursor: str) -> list[str]:
    """Return what a cursor of a list says."""
    said: list[str] = json.loads(base64.urlsafe_b64decode(cursor + "=="))
    return said


def closed(farm: uuid.UUID, *values: str) -> str:
    """Return the cursor of a farm's list that says so."""
    return base64.urlsafe_b64encode(json.dumps([str(farm), *values]).encode()).decode().rstrip("=")
