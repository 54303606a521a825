"""A whole farm in one zip: every row as JSON and as CSV, the blocks as GeoJSON, a manifest with checksums.

`rows/TABLE.json` is what `import_farm` reads, `csv/TABLE.csv` is for spreadsheets, `blocks.geojson` for maps
(RFC 7946). Logins, tokens, webhooks and what is on its way stay behind.
"""

from __future__ import annotations

import csv
import datetime as dt
import hashlib
import io
import json
import zipfile
from collections.abc import Iterator
from decimal import Decimal
from typing import IO, Any

from django.db import connection, transaction

from orchard.api import spreadsheets
from orchard.config.farm_tables import FarmTable, tables
from orchard.farms import fence
from orchard.farms.models import Farm

FORMAT = 1
MANIFEST = "manifest.json"
OF_FARM = (
    "name",
    "zone",
    "units",
    "region",
    "measures",
    "limits",
    "emergency",
    "gate_code",
    "labels_need_approval",
)


def write(*, farm: Farm, to: IO[bytes], now: dt.datetime) -> dict[str, Any]:
    """Write a farm as one moment saw it; return the manifest."""
    outermost = not connection.in_atomic_block
    with (
        fence.as_before(),
        transaction.atomic(),
        zipfile.ZipFile(to, "w", zipfile.ZIP_DEFLATED) as archive,
    ):
        if outermost:
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
        fence.open_for_this_transaction(farm.id)
        files: dict[str, dict[str, Any]] = {}
        for table in tables():
            rows = list(rows_of(table, farm=farm))
            _add(
                archive,
                files,
                row_file(table.name),
                json.dumps(rows, indent=0, default=float).encode(),
                rows=len(rows),
            )
            _add(archive, files, f"csv/{table.name}.csv", _csv(table, rows), rows=len(rows))
        _add(archive, files, "blocks.geojson", _geojson(farm))
        manifest = {
            "format": FORMAT,
            "made_at": now.isoformat(),
            "farm": {"id": str(farm.id), **{name: getattr(farm, name) for name in OF_FARM}},
            "files": files,
        }
        archive.writestr(MANIFEST, json.dumps(manifest, indent=1))
    return manifest


def rows_of(table: FarmTable, *, farm: Farm) -> Iterator[dict[str, Any]]:
    """Yield a farm's rows of a table as the database writes them in JSON; what it counts exactly is text."""
    where = f'"{table.farm}" = %s' if table.farm else _through(table)
    with connection.cursor() as cursor:
        cursor.execute(
            f'SELECT to_jsonb(it)::text FROM "{table.name}" AS it WHERE {where} ORDER BY "{table.key}"',
            [farm.id],
        )
        for (text,) in cursor.fetchall():
            row = json.loads(text, parse_float=Decimal)
            told = ((name, row[name]) for name in table.columns)
            yield {name: str(one) if isinstance(one, Decimal) else one for name, one in told}


def _through(table: FarmTable) -> str:
    assert table.parent is not None
    column, parent = table.parent
    return f'"{column}" IN (SELECT key FROM "{parent}" WHERE farm_id = %s)'


def row_file(table: str) -> str:
    """Return the name of the file that holds a table's rows."""
    return f"rows/{table}.json"


def _csv(table: FarmTable, rows: list[dict[str, Any]]) -> bytes:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(table.columns)
    for row in rows:
        writer.writerow([_cell(row[column]) for column in table.columns])
    return out.getvalue().encode()


def _cell(value: Any) -> str:
    return spreadsheets.cell(json.dumps(value, default=float) if isinstance(value, (dict, list)) else value)


def _geojson(farm: Farm) -> bytes:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT id, name, crop, trees, area, outline::text FROM blocks_block"
            " WHERE farm_id = %s ORDER BY id",
            [farm.id],
        )
        found = cursor.fetchall()
    features = [
        {
            "type": "Feature",
            "id": str(id),
            "geometry": json.loads(outline) if outline else None,
            "properties": {"name": name, "crop": crop, "trees": trees, "area": area},
        }
        for id, name, crop, trees, area, outline in found
    ]
    return json.dumps({"type": "FeatureCollection", "features": features}).encode()


def _add(
    archive: zipfile.ZipFile, files: dict[str, dict[str, Any]], name: str, content: bytes, **more: int
) -> None:
    archive.writestr(name, content)
    files[name] = {"bytes": len(content), "sha256": hashlib.sha256(content).hexdigest(), **more}
