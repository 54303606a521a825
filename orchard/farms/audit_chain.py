"""The chain of a farm's audit: each entry is sealed with a hash of all that it says and of the seal before.

A request writes its entry and waits for nobody; a job seals afterwards what has become final, in the order of
the transactions. So a link stands in a table of its own, and the order never changes behind a link: below the
oldest transaction that still runs nothing is added any more. Whoever changes, takes out, puts in or exchanges
entries is found with the place of each. Who may rewrite every table could make a new chain, or cut off its
end: against that the heads are kept elsewhere (`manage.py verify_audit --save`, and once a day in the log).

Under the hash stand the seal before and a JSON text of `SAID`, which the database writes: it writes a moment,
and the JSON that was kept, in one way only.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import itertools
import logging
import uuid
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django.db import connection, transaction
from django.db.models import Max

from orchard.farms import bulk
from orchard.farms.models import AuditEntry, AuditLink, Farm
from orchard.farms.queries import OLDEST

log = logging.getLogger(__name__)

LOCK = 5_170_313  # any number, the same in every process that seals
AT_ONCE = 5_000
FORM = 1
START = b""
"""What stands for the seal before the first entry of a farm."""
COLUMNS = (
    "id", "farm_id", "at", "transaction_number", "by_kind", "by_id", "by_name", "by_role", "action",
    "resource", "resource_id", "before", "after", "reason", "outcome", "codes", "request_id",
)  # fmt: skip
AS_TEXT = {"at": "entry.at AT TIME ZONE 'UTC'"} | {
    name: f"entry.{name}::text" for name in ("before", "after", "codes")
}
"""A time would be written in the zone of the session; JSON that is empty is another thing than none."""
SAID = f"json_build_array({FORM}, {', '.join(AS_TEXT.get(name, f'entry.{name}') for name in COLUMNS)})::text"

TO_SEAL = f"""
    SELECT entry.farm_id, entry.id, entry.transaction_number, {SAID} FROM farms_auditentry AS entry
    WHERE entry.transaction_number > %s AND entry.transaction_number < {OLDEST}
    ORDER BY entry.farm_id, entry.transaction_number, entry.id
"""
BROKEN = f"""
    SELECT farm_id, position, entry_id, fault FROM (
        SELECT link.farm_id, link.position, link.entry_id, CASE
            WHEN link.position <> lag(link.position, 1, 0::bigint) OVER one_farm + 1
                THEN 'what stood before it is missing'
            WHEN entry.id IS NULL THEN 'the entry is gone'
            WHEN link.hash <> sha256(lag(link.hash, 1, ''::bytea) OVER one_farm || convert_to({SAID}, 'UTF8'))
                THEN 'it does not say what it said when it was sealed, or not after this entry'
            END AS fault
        FROM farms_auditlink AS link
        LEFT JOIN farms_auditentry AS entry ON entry.id = link.entry_id
        WHERE %(farm)s::uuid IS NULL OR link.farm_id = %(farm)s::uuid
        WINDOW one_farm AS (PARTITION BY link.farm_id ORDER BY link.position)
    ) AS line
    WHERE fault IS NOT NULL
    UNION ALL
    SELECT farm_id, NULL, id, 'it was put in behind what is sealed' FROM farms_auditentry AS entry
    WHERE transaction_number <= (SELECT max(transaction_number) FROM farms_auditlink)
        AND NOT EXISTS (SELECT 1 FROM farms_auditlink AS link WHERE link.entry_id = entry.id)
        AND (%(farm)s::uuid IS NULL OR farm_id = %(farm)s::uuid)
    ORDER BY 1, 2, 3
"""
"""All of it is one statement, which sees one moment: it may run while others write and seal."""

Head = tuple[int, str]
"""How many entries of a farm were sealed, and the last seal in hexadecimal."""


@dataclass(frozen=True, slots=True)
class Broken:
    """One entry that does not hold.

    :ivar position: its place in the farm's audit, 1 for the first; None for one that was put in unsealed
    """

    farm: uuid.UUID
    position: int | None
    entry: uuid.UUID
    says: str

    def __str__(self) -> str:
        place = f"entry {self.position}" if self.position else "an entry without a place"
        return f"Farm {self.farm}: {place}, {self.entry}: {self.says}."


def seal(*, now: dt.datetime) -> int:
    """Seal what has become final since the last time; return how many entries. One process does it at a time.

    The connection has every farm open.
    """
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_xact_lock(%s)", [LOCK])
        if not cursor.fetchone()[0]:
            return 0
        sealed = AuditLink.objects.aggregate(last=Max("transaction_number"))["last"]
        found = _streamed(TO_SEAL, [-1 if sealed is None else sealed])
        return sum(
            _seal_farm(farm, rows, now=now) for farm, rows in itertools.groupby(found, key=lambda row: row[0])
        )


def _streamed(statement: str, values: list[Any]) -> Iterator[tuple[Any, ...]]:
    with connection.connection.cursor(name="audit_to_seal") as cursor:
        cursor.itersize = AT_ONCE
        cursor.execute(statement, values)
        yield from cursor


def _seal_farm(farm: uuid.UUID, rows: Iterable[tuple[Any, ...]], *, now: dt.datetime) -> int:
    last = AuditLink.objects.filter(farm=farm).order_by("-position").first()
    position, head = (last.position, bytes(last.hash)) if last else (0, START)
    if last and last.sealed_at.date() < now.date():
        log.info("head of the audit", extra={"farm": farm, "position": position, "hash": head.hex()})
    before = position
    rows = iter(rows)
    while piece := list(itertools.islice(rows, AT_ONCE)):
        links = []
        for _, entry, number, said in piece:
            position, head = position + 1, link(head, said)
            links.append(
                {
                    "entry_id": entry, "farm_id": farm, "position": position,
                    "transaction_number": number, "hash": head, "sealed_at": now,
                }
            )  # fmt: skip
        bulk.insert(AuditLink, links)
    return position - before


def link(before: bytes, said: str) -> bytes:
    """Return the seal of an entry that says this after the seal before it: a SHA-256."""
    return hashlib.sha256(before + said.encode()).digest()


def broken(*, farm: Farm | None = None, kept: Mapping[str, Head] | None = None) -> list[Broken]:
    """Return every entry that does not hold, of all farms or one, with its place.

    :param kept: heads that were kept elsewhere, by the farm's key: each must still be in its chain
    """
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL work_mem = '128MB'")
        cursor.execute("SET LOCAL enable_parallel_hash = off")  # a container has little shared memory
        cursor.execute(BROKEN, {"farm": farm.id if farm else None})
        found = [Broken(*row) for row in cursor.fetchall()]
    for of, (position, hash) in (kept or {}).items():
        if farm is None or of == str(farm.id):
            found += _rewritten(uuid.UUID(of), position, hash)
    return found


def _rewritten(farm: uuid.UUID, position: int, hash: str) -> Iterator[Broken]:
    there = AuditLink.objects.filter(farm=farm, position=position).first()
    if there is None:
        yield Broken(farm, position, uuid.UUID(int=0), "it was sealed once and is gone, with its seal")
    elif bytes(there.hash).hex() != hash:
        yield Broken(
            farm,
            position,
            there.entry_id,
            "its seal is not the one that was kept: the audit was written anew",
        )


def heads(*, farm: Farm | None = None) -> dict[str, Head]:
    """Return where each farm's chain ends now."""
    links = AuditLink.objects.all() if farm is None else AuditLink.objects.for_farm(farm)
    ends = dict(links.order_by().values_list("farm").annotate(last=Max("position")))
    found = AuditLink.objects.filter(farm__in=list(ends), position__in=set(ends.values()))
    return {
        str(one.farm_id): (one.position, bytes(one.hash).hex())
        for one in found
        if ends[one.farm_id] == one.position
    }


def not_sealed(*, farm: Farm | None = None) -> int:
    """Return how many entries wait for their seal."""
    entries = AuditEntry.objects.all() if farm is None else AuditEntry.objects.for_farm(farm)
    last = AuditLink.objects.aggregate(last=Max("transaction_number"))["last"]
    return entries.filter(transaction_number__gt=-1 if last is None else last).count()
