"""Farms with many work orders, lines of the ledger and changes, for `tests.bench api` and `load`.

A farm's people, places and products, and its first order, are made by our own services; the many are copies
of that order and lines of the ledger, put in by COPY as the role that owns the tables, since PostgreSQL
refuses COPY where row-level security stands. All constraints and triggers stand: the database follows the
chain of each line. The change feed gets one row for each. Audit and outbox get none: nobody reads them here.
"""

from __future__ import annotations

import datetime as dt
import itertools
import json
import uuid
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

import psycopg
from django.db import connections
from psycopg import sql

from mixing.quantities import Quantity
from orchard.farms import numbering
from orchard.farms.actors import SYSTEM
from orchard.farms.models import Farm
from orchard.farms.rows import new_id
from orchard.inventory import chain
from orchard.inventory.models import Lot, Movement
from orchard.tasks import checks
from orchard.tasks.models import MixCheck, WorkOrder
from orchard.tasks.services import orders
from tests.factories import (
    BlockFactory,
    CrewFactory,
    FarmFactory,
    LotFactory,
    SprayerFactory,
    WorkerFactory,
    amount,
)
from tests.tasks.test_mix_checks import COPPER_LABEL, OIL_LABEL, product_with

FARMS, LOTS, BLOCKS, CREWS = 10, 20, 12, 4
FIRST_DAY = dt.datetime(2020, 1, 1, 8, tzinfo=dt.UTC)
EVERY = dt.timedelta(minutes=20)
"""Time from the start of one order of a farm to the next."""
HALF_OUNCE = Quantity(Decimal("0.5"), "oz_wt")
FEED_BEGINS = 2**40
"""The running transactions are numbered above it, as after a restore, so that each row here has its own."""
STATES = ("done", "issued", "done", "accepted", "done", "cancelled", "done", "held", "done", "draft")
KINDS = ("receive", "use", "use", "adjust", "reverse", "use", "use", "dispose")
"""Of a lot's lines, over and over."""

CHANGES = """
    INSERT INTO farms_change (transaction_number, farm_id, at, resource, resource_id, change, etag, path)
    SELECT %(first)s + row_number() OVER (ORDER BY created_at, id), farm_id, created_at, resource, id,
        'created',
        '"1-' || to_char(extract(epoch FROM created_at), 'FM9999999999.000000') || '"',
        '/api/v1/farms/' || farm_id || '/' || collection || '/' || id
    FROM (
        SELECT created_at, id, farm_id, 'work_order' AS resource, 'work-orders' AS collection
        FROM tasks_workorder WHERE created_at >= %(since)s
        UNION ALL
        SELECT created_at, id, farm_id, 'stock_movement', 'stock-movements'
        FROM inventory_movement WHERE created_at >= %(since)s
    ) AS made
"""


@dataclass(slots=True)
class Book:
    """One lot's ledger as far as it is written."""

    lot: Lot
    length: int = 0
    head: str = chain.START
    balance: Decimal = Decimal(0)
    last: uuid.UUID | None = None


@dataclass(slots=True)
class Filled:
    """One farm and what its rows are copied from."""

    farm: Farm
    first: WorkOrder
    blocks: list[Any]
    crews: list[Any]
    books: list[Book]
    orders: list[uuid.UUID] = field(default_factory=list)
    """Public ids, oldest first."""


def make_farms(count: int = FARMS) -> list[Filled]:
    """Make farms with a first order each; number what is done from now on above the rows to be filled in."""
    with psycopg.connect(**connections["owner"].get_connection_params()) as owner:
        owner.execute(numbering.OFFSET.format(FEED_BEGINS))
    return [_farm() for _ in range(count)]


def _farm() -> Filled:
    farm = FarmFactory()
    blocks = [BlockFactory(farm=farm, area=amount("1", "acre"), trees=140) for _ in range(BLOCKS)]
    crews = [CrewFactory(farm=farm, members=[WorkerFactory(farm=farm)]) for _ in range(CREWS)]
    copper, oil = (product_with(farm, label) for label in (COPPER_LABEL, OIL_LABEL))
    wanted = [(copper, amount("1", "oz_wt/gal")), (oil, amount("1", "percent_vv"))]
    values = {
        "kind": "spray",
        "block": blocks[0],
        "crew": crews[0],
        "sprayer": SprayerFactory(farm=farm),
        "products": [{"product": str(product.id), "rate": rate.as_json()} for product, rate in wanted],
        "spray": {"volume_per_tree": {"value": "1.4", "unit": "gal"}},
        "targets": ["leaf curl"],
        "starts_at": FIRST_DAY,
    }
    check = _check(farm, values, wanted)
    drafts = [orders.Draft({**values, "mix_check": check}, check.report)]
    (first,) = orders.add_orders(farm=farm, drafts=drafts, by=SYSTEM, now=FIRST_DAY)
    books = [Book(LotFactory(farm=farm, product=copper)) for _ in range(LOTS)]
    return Filled(farm, first, blocks, crews, books)


def _check(farm: Farm, values: dict[str, Any], wanted: list[tuple[Any, Quantity]]) -> MixCheck:
    return checks.check_mix(
        farm=farm,
        block=values["block"],
        sprayer=values["sprayer"],
        products=[checks.Wanted(product, rate.as_json()) for product, rate in wanted],
        spray=values["spray"],
        by=SYSTEM,
        now=FIRST_DAY,
    )


def fill(farms: Sequence[Filled], *, orders: int, movements: int, now: dt.datetime) -> None:
    """Give all farms together so many more orders and lines of the ledger, each with its change."""
    with psycopg.connect(**connections["owner"].get_connection_params()) as owner:
        _copy(owner, WorkOrder, _orders(farms, orders, now))
        _copy(owner, Movement, _movements(farms, movements, now))
        for book in (book for one in farms for book in one.books):
            owner.execute(
                "UPDATE inventory_lot SET on_hand_base = %s, chain_length = %s, chain_head = %s"
                " WHERE key = %s",
                [book.balance, book.length, book.head, book.lot.key],
            )
        (last,) = owner.execute(
            "SELECT coalesce(max(transaction_number), 0) FROM farms_change WHERE transaction_number < %s",
            [FEED_BEGINS],
        ).fetchone() or (0,)
        owner.execute(CHANGES, {"first": last, "since": now})
    with psycopg.connect(**connections["owner"].get_connection_params(), autocommit=True) as owner:
        owner.execute("VACUUM (ANALYZE)")


def _copy(owner: psycopg.Connection[Any], model: Any, rows: Iterator[dict[str, Any]]) -> None:
    first = next(rows)
    names = tuple(first)
    columns = sql.SQL(", ").join(sql.Identifier(model._meta.get_field(name).column) for name in names)
    text = sql.SQL("COPY {} ({}) FROM STDIN").format(sql.Identifier(model._meta.db_table), columns)
    with owner.cursor().copy(text) as stream:
        for row in itertools.chain((first,), rows):
            stream.write_row([row[name] for name in names])


def _made(farm: Farm, at: dt.datetime) -> dict[str, Any]:
    id = new_id()
    return {
        "key": id,
        "id": id,
        "farm_id": farm.id,
        "created_at": at,
        "updated_at": at,
        "created_by_kind": "system",
        "created_by_id": None,
        "created_by_name": "background work",
        "version": 1,
    }


def _times(now: dt.datetime) -> Iterator[dt.datetime]:
    return (now + dt.timedelta(milliseconds=step) for step in itertools.count())


# work orders


def _orders(farms: Sequence[Filled], count: int, now: dt.datetime) -> Iterator[dict[str, Any]]:
    kept = {one.farm.id: _columns(one.first) for one in farms}
    for turn, at in zip(range(count), _times(now), strict=False):
        one = farms[turn % len(farms)]
        number = len(one.orders) + 2  # the first was made by our service
        row = {**kept[one.farm.id], **_made(one.farm, at), **_who_and_when(one, number)}
        one.orders.append(row["id"])
        yield row


def _columns(order: WorkOrder) -> dict[str, Any]:
    """Return what COPY takes for each column of an order."""
    found = {}
    for column in order._meta.concrete_fields:
        value = getattr(order, column.attname)
        found[column.attname] = json.dumps(value) if isinstance(value, (dict, list)) else value
    return found


def _who_and_when(one: Filled, number: int) -> dict[str, Any]:
    starts = FIRST_DAY + number * EVERY
    status = STATES[number % len(STATES)]
    block = one.blocks[number % len(one.blocks)]
    done = status == "done"
    return {
        "number": number,
        "status": status,
        "title": f"Spray, {block.name}",
        "block_id": block.key,
        "crew_id": one.crews[number % len(one.crews)].key,
        "starts_at": starts,
        "ends_at": starts + dt.timedelta(hours=3),
        "window": json.dumps(_window(starts)) if number % 2 else None,
        "issued_at": None if status == "draft" else starts - dt.timedelta(days=1),
        "started_at": starts if done else None,
        "finished_at": starts + dt.timedelta(hours=3) if done else None,
        "held_from": "issued" if status == "held" else None,
        "held_reason": "wind" if status == "held" else None,
        "re_entry_until": starts + dt.timedelta(hours=51) if done else None,
    }


def _window(starts: dt.datetime) -> dict[str, str]:
    late = starts + dt.timedelta(days=9)
    return {
        "earliest": starts.date().isoformat(),
        "latest": late.date().isoformat(),
        "because": "before BBCH 57",
    }


# the ledger


def _movements(farms: Sequence[Filled], count: int, now: dt.datetime) -> Iterator[dict[str, Any]]:
    books = [(one, one.books[place]) for place in range(LOTS) for one in farms]
    for turn, at in zip(range(count), _times(now), strict=False):
        yield _line(*books[turn % len(books)], at)


def _line(one: Filled, book: Book, at: dt.datetime) -> dict[str, Any]:
    kind = KINDS[book.length % len(KINDS)]
    row = {**_made(one.farm, at), **_moved(one, book, kind), "lot_id": book.lot.key, "kind": kind, "at": at}
    row["position"] = book.length = book.length + 1
    row["balance_after_base"] = book.balance = book.balance + row["change_base"]
    row["hash"] = book.head = chain.link(book.head, [row[name] for name in chain.COLUMNS])
    row["quantity"] = chain.text(row["quantity"])
    book.last = row["key"]
    return row


def _moved(one: Filled, book: Book, kind: str) -> dict[str, Any]:
    ounces = {"receive": Decimal(400), "adjust": Decimal("1.5"), "reverse": Decimal("1.5")}.get(
        kind, Decimal(1 + book.length % 11) / 2
    )
    quantity = Quantity(ounces, "oz_wt")
    sign = -1 if kind in ("use", "reverse", "dispose") else 1
    load = new_id() if kind == "use" else None
    return {
        "quantity": quantity,
        "change_base": sign * quantity.in_base(),
        "reason": "" if kind == "receive" else f"{kind} of a load or a count",
        "reference": f"delivery {book.length}" if kind == "receive" else None,
        "reverses_id": book.last if kind == "reverse" else None,
        "other_lot_id": None,
        "work_order": one.orders[book.length % len(one.orders)] if load else None,
        "load": load,
        "effect": f"load:{load}:{book.lot.id}" if load else None,
    }
