"""Taking over a farm that another place exported: into an empty farm alone, whole or not at all.

Rows keep the ids that the world knows and get keys of their own here, so that the same farm may stand twice
in one database. Each ledger is followed as it was before its lines are tied together anew, since a line's
hash names the farm: who changes a line in the file and its checksum as well is found out by that.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import zipfile
import zlib
from pathlib import Path
from typing import Any

from django.db import DatabaseError, connection, transaction

from orchard.config import farm_export
from orchard.config.farm_tables import FarmTable, tables
from orchard.farms import fence, services
from orchard.farms.actors import SYSTEM
from orchard.farms.models import Farm
from orchard.farms.rows import new_id
from orchard.inventory import proof

LARGEST = 1 << 30  # bytes of one file, unpacked
MOST_TIMES = 400  # so many times larger than it is packed; what we write is about 20
LEDGER, LOTS = "inventory_movement", "inventory_lot"
AUDIT = "farms_auditentry"

Rows = dict[str, list[dict[str, Any]]]


class CannotImport(Exception):
    """The farm was not taken over and nothing was changed; the text is a sentence for a person."""


def take_over(*, source: Path, farm: Farm | None, now: dt.datetime) -> Farm:
    """Put the rows of an export into an empty farm, made for it where none is named; return the farm.

    :raises CannotImport: with the reason
    """
    manifest, rows = read(source)
    try:
        with fence.opened(fence.EVERY_FARM):
            farm = _empty(farm) if farm else _made(manifest["farm"], now=now)
            _put(_moved(rows, farm=farm, was=manifest["farm"]["id"]))
            for read_ in proof.ledgers(farm=farm):
                if read_.fault is not None:
                    raise CannotImport(f"The ledger of lot {read_.lot} does not hold: {read_.fault}.")
    except (DatabaseError, KeyError, TypeError) as failure:
        raise CannotImport(f"The rows do not fit: {str(failure).splitlines()[0]}.") from failure
    return farm


def read(source: Path) -> tuple[dict[str, Any], Rows]:
    """Return the manifest of an export and its rows, once every file is what the manifest says.

    :raises CannotImport: for what is damaged, changed, too large, or none of ours
    """
    try:
        with zipfile.ZipFile(source) as archive:
            manifest = json.loads(_content(archive, farm_export.MANIFEST))
            if manifest["format"] != farm_export.FORMAT:
                raise CannotImport(f"The export has the form {manifest['format']}.")
            return manifest, {table.name: _rows(archive, manifest, table) for table in tables()}
    except (KeyError, TypeError, ValueError, RecursionError) as failure:
        raise CannotImport("This is no export of ours: its manifest cannot be read.") from failure
    except (zipfile.BadZipFile, EOFError, zlib.error, RuntimeError) as failure:  # encrypted, unknown forms
        raise CannotImport(f"The file is damaged: {failure}.") from failure


def _content(archive: zipfile.ZipFile, name: str) -> bytes:
    try:
        known = archive.getinfo(name)
    except KeyError:
        raise CannotImport(f"The file {name} is missing in the export.") from None
    if known.file_size > LARGEST or known.file_size > MOST_TIMES * max(known.compress_size, 1000):
        raise CannotImport(f"{name} would be {known.file_size} bytes large: that is no export of ours.")
    with archive.open(known) as file:
        content = file.read(known.file_size + 1)
    if len(content) != known.file_size:
        raise CannotImport(f"{name} is not as large as it says.")
    return content


def _rows(archive: zipfile.ZipFile, manifest: dict[str, Any], table: FarmTable) -> list[dict[str, Any]]:
    name = farm_export.row_file(table.name)
    content, said = _content(archive, name), manifest["files"][name]
    if hashlib.sha256(content).hexdigest() != said["sha256"]:
        raise CannotImport(f"{name} is not what was exported.")
    rows: list[dict[str, Any]] = json.loads(content)
    if any(row.keys() != set(table.columns) for row in rows):
        raise CannotImport(f"{name} has other columns than our tables: export and import with one release.")
    return rows


def _empty(farm: Farm) -> Farm:
    for table in tables():
        if table.name != AUDIT and next(farm_export.rows_of(table, farm=farm), None) is not None:
            raise CannotImport(f"The farm {farm.name} is not empty: there are rows in {table.name}.")
    return farm


def _made(said: dict[str, Any], *, now: dt.datetime) -> Farm:
    return services.add_farm(by=SYSTEM, now=now, **{name: said[name] for name in farm_export.OF_FARM})


def _moved(rows: Rows, *, farm: Farm, was: str) -> Rows:
    """Return the rows with this farm's key and keys of their own; the ledgers followed and tied anew."""
    _follow(rows[LEDGER])
    shapes = {table.name: table for table in tables()}
    keys = {
        row[table.key]: str(new_id())
        for table in shapes.values()
        for row in rows[table.name]
        if table.key not in table.refers and isinstance(row[table.key], str)
    }
    for name, of_table in rows.items():
        for row in of_table:
            _move(row, shapes[name], keys, farm=farm, was=was)
    heads = _follow(rows[LEDGER], anew=True)
    for lot in rows[LOTS]:
        lot["chain_head"] = heads.get(lot["key"], lot["chain_head"])
    return rows


def _move(row: dict[str, Any], table: FarmTable, keys: dict[str, str], *, farm: Farm, was: str) -> None:
    if table.farm:
        if row[table.farm] != was:
            raise CannotImport(f"A row of {table.name} belongs to another farm.")
        row[table.farm] = str(farm.id)
    for column in table.refers:
        if row[column] is not None:
            row[column] = keys[row[column]]
    if table.key in table.refers:
        return
    if isinstance(row[table.key], str):
        row[table.key] = keys[row[table.key]]
    else:
        del row[table.key]  # a number that the database gives


def _follow(lines: list[dict[str, Any]], *, anew: bool = False) -> dict[str, str]:
    """Follow each lot's lines in their order; return the last hash of each.

    :param anew: write the hashes, instead of demanding that they are right
    """
    heads: dict[str, str] = {}
    lines.sort(key=lambda line: (line["lot_id"], line["position"]))
    with connection.cursor() as cursor:
        for line in lines:
            cursor.execute(
                f"SELECT orchard_movement_hash(%s, jsonb_populate_record(NULL::{LEDGER}, %s::jsonb))",
                [heads.get(line["lot_id"], ""), json.dumps(line)],
            )
            (hash,) = cursor.fetchone()
            if anew:
                line["hash"] = hash
            elif line["hash"] != hash:
                raise CannotImport(
                    f"Line {line['position']} of a ledger does not say what it said: {line['id']}."
                )
            heads[line["lot_id"]] = hash
    return heads


def _put(rows: Rows) -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        for table in tables():
            if not (of_table := rows[table.name]):
                continue
            columns = ", ".join(f'"{name}"' for name in of_table[0])
            cursor.execute(
                f'INSERT INTO "{table.name}" ({columns}) SELECT {columns} FROM'
                f' jsonb_populate_recordset(NULL::"{table.name}", %s::jsonb)',
                [json.dumps(of_table)],
            )
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
