"""What the writers of `tests.bench ledger` do: by hand, and by our services."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import psycopg
from django.db import connection, connections, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from rest_framework.response import Response
from uuid6 import uuid7

from mixing.quantities import Quantity
from orchard.api import idempotency
from orchard.config import preparation
from orchard.farms import journal
from orchard.farms.actors import SYSTEM
from orchard.inventory import services as stock
from orchard.inventory.models import Lot
from tests.factories import FarmFactory, LotFactory, ProductFactory

GRAM = Quantity(Decimal(1), "g")
PLENTY = Quantity(Decimal(10) ** 6, "kg")
TABLES = """
    CREATE TABLE bench_lot (
        id int PRIMARY KEY, on_hand numeric NOT NULL CHECK (on_hand >= 0), reserved numeric NOT NULL
    );
    CREATE TABLE bench_line (id uuid PRIMARY KEY, lot int NOT NULL, change numeric NOT NULL, balance numeric);
    CREATE TABLE bench_promise (id uuid PRIMARY KEY, lot int NOT NULL, amount numeric NOT NULL);
    GRANT SELECT, INSERT, UPDATE ON bench_lot, bench_line, bench_promise TO orchard_web;
"""


def prepare(*, lots: int) -> None:
    """Make the bare tables, and a farm with so many products of one lot each."""
    preparation.prepare()
    with psycopg.connect(**connections["owner"].get_connection_params()) as owner:
        owner.execute(TABLES)
        for number in range(lots):
            owner.execute("INSERT INTO bench_lot VALUES (%s, 1000000000, 0)", [number])
    farm = FarmFactory()
    for number in range(lots):
        product = ProductFactory(farm=farm, stock_unit="g", base_unit="g")
        lot = LotFactory(farm=farm, product=product, number=f"{number:03}")
        stock.move(farm=farm, kind="receive", lot=lot, quantity=PLENTY, by=SYSTEM, now=timezone.now())


class Writer:
    """One process that writes; its number says which of many lots is its own."""

    def __init__(self, number: int) -> None:
        self.number = number
        self.lots = list(Lot.objects.select_related("farm", "product__farm").order_by("number"))
        self.raw = psycopg.connect(**connections["default"].get_connection_params())

    def work(self, name: str, place: str) -> Callable[[], object]:
        """Return one work at one lot: lot 0 for `hot`, its own for `spread`."""
        at = 0 if place == "hot" else self.number
        do: Callable[[int], object] = getattr(self, name)
        return lambda: do(at)

    def count(self, name: str, place: str) -> int:
        """Return how many statements one call sends."""
        do = self.work(name, place)
        do()
        with CaptureQueriesContext(connection) as caught:
            do()
        return len(caught)

    # by hand

    def floor_post(self, at: int) -> None:
        """Lock, insert, update."""
        with self.raw.transaction():
            row = self.raw.execute("SELECT on_hand FROM bench_lot WHERE id = %s FOR UPDATE", [at]).fetchone()
            assert row is not None and row[0] >= 1
            self.raw.execute(
                "INSERT INTO bench_line VALUES (%s, %s, -1, %s)", [uuid.UUID(int=uuid7().int), at, row[0] - 1]
            )
            self.raw.execute("UPDATE bench_lot SET on_hand = %s WHERE id = %s", [row[0] - 1, at])

    def floor_reserve(self, at: int) -> None:
        """Lock, insert, update."""
        with self.raw.transaction():
            row = self.raw.execute(
                "SELECT on_hand - reserved, reserved FROM bench_lot WHERE id = %s FOR UPDATE", [at]
            ).fetchone()
            assert row is not None and row[0] >= 1
            self.raw.execute("INSERT INTO bench_promise VALUES (%s, %s, 1)", [uuid.UUID(int=uuid7().int), at])
            self.raw.execute("UPDATE bench_lot SET reserved = %s WHERE id = %s", [row[1] + 1, at])

    # by our services

    def ours_post(self, at: int) -> None:
        """Dispose of a gram, as a request with a key does."""
        lot = self.lots[at]

        def do() -> Response:
            line = stock.move(
                farm=lot.farm,
                kind="dispose",
                lot=lot,
                quantity=GRAM,
                reason="bench",
                by=SYSTEM,
                now=timezone.now(),
            )
            return self._answer(lot, line)

        self._once("stock-movements", do)

    def ours_reserve(self, at: int) -> None:
        """Promise a gram to an order, as a request with a key does."""
        lot = self.lots[at]

        def do() -> Response:
            needs = [stock.Need(lot.product, GRAM)]
            order = uuid.UUID(int=uuid7().int)
            (row,) = stock.reserve(
                farm=lot.farm, work_order=order, needs=needs, by=SYSTEM, now=timezone.now()
            )
            return self._answer(lot, row)

        self._once("reservations", do)

    def _answer(self, lot: Lot, row: Any) -> Response:
        journal.later("stock.moved", farm=lot.farm, subject=row.id, by=SYSTEM, now=timezone.now())
        return Response({"id": str(row.id), "etag": row.etag}, status=201)

    def _once(self, path: str, do: Callable[[], Response]) -> None:
        with transaction.atomic():
            idempotency.answer_once(
                caller="token:bench",
                method="POST",
                path=path,
                key=str(uuid7()),
                body=b"{}",
                now=timezone.now(),
                do=do,
            )
