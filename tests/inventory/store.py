"""A store to test with: products with labels, lots with stock, and those who use it."""

from __future__ import annotations

import datetime as dt
import threading
import uuid
from collections.abc import Callable
from typing import Any

from django.db import connection
from uuid6 import uuid7

from mixing.quantities import Quantity
from orchard.farms.actors import SYSTEM
from orchard.farms.models import Farm
from orchard.inventory import services
from orchard.inventory.models import Lot, Product
from tests.factories import LabelVersionFactory, LotFactory, ProductFactory, amount

NOON = dt.datetime(2026, 12, 18, 20, tzinfo=dt.UTC)
"""Noon of 18 December 2026 on the farms of the tests."""
TODAY = dt.date(2026, 12, 18)

COPPER = {
    "name": "Copper hydroxide 46 WG",
    "active_ingredients": [{"name": "copper hydroxide", "content": {"value": "46", "unit": "percent_ww"}}],
    "formulation": "WG",
    "signal_word": "danger",
    "hazards": ["GHS05", "GHS09"],
    "bulk_density": {"value": "0.5", "unit": "kg/L"},
}


def new_id() -> uuid.UUID:
    return uuid.UUID(int=uuid7().int)


def copper(farm: Farm, **values: Any) -> Product:
    """Return a powder kept in pounds, with its label."""
    product = ProductFactory(farm=farm, name="Copper hydroxide 46 WG", **values)
    LabelVersionFactory(farm=farm, product=product, label=COPPER)
    return product


def oil(farm: Farm) -> Product:
    """Return a liquid kept in gallons, without a label."""
    return ProductFactory(farm=farm, name="Mineral oil 98 EC", stock_unit="gal", base_unit="mL")


def lot(product: Product, holds: str | None = None, **values: Any) -> Lot:
    """Return a lot that has received so much, in the product's unit."""
    made = LotFactory(farm=product.farm, product=product, **values)
    if holds is not None:
        receive(made, amount(holds, product.stock_unit))
    return fresh(made)


def receive(lot: Lot, quantity: Quantity, now: dt.datetime = NOON) -> Any:
    at = dt.datetime(2020, 1, 1, tzinfo=dt.UTC)
    return services.move(farm=lot.farm, kind="receive", lot=lot, quantity=quantity, at=at, by=SYSTEM, now=now)


def fresh(row: Any) -> Any:
    """Return a row as the database has it now."""
    return type(row).objects.select_related("farm", "product").get(key=row.key)


def at_once(*doings: Callable[[], Any]) -> list[Any]:
    """Do things at the same moment, each with a connection of its own; return answers or exceptions."""
    gate, answers = threading.Barrier(len(doings)), [None] * len(doings)

    def one(at: int, do: Callable[[], Any]) -> None:
        try:
            gate.wait(10)
            answers[at] = do()
        except Exception as error:
            answers[at] = error
        finally:
            connection.close()

    threads = [threading.Thread(target=one, args=pair) for pair in enumerate(doings)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(20)
    return answers
