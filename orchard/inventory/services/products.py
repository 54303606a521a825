"""Writing products."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterator, Sequence
from typing import Any

from django.db import transaction

from mixing.quantities import QuantityError
from orchard.api.refusals import Conflict, Fault, Unprocessable
from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.farms.models import Farm
from orchard.inventory import amounts, gs1
from orchard.inventory.models import Lot, Product


def add_product(
    *,
    farm: Farm,
    name: str,
    stock_unit: str,
    by: Actor,
    now: dt.datetime,
    id: uuid.UUID | None = None,
    **values: Any,
) -> Product:
    """Add a product that is bought and used.

    :raises Unprocessable: for a unit that is none, `bad_check_digit`
    """
    base_unit = _checked(stock_unit, values.get("gtins", ()))
    with transaction.atomic():
        return journal.create(
            Product,
            farm=farm,
            by=by,
            now=now,
            id=id,
            name=name,
            stock_unit=stock_unit,
            base_unit=base_unit,
            **values,
        )


def change_product(*, product: Product, by: Actor, now: dt.datetime, **values: Any) -> Product:
    """Change what is said of a product. The caller holds its lock.

    :raises Unprocessable: as `add_product`
    :raises Conflict: `in_use`, where its ledger is kept in another kind of unit already
    """
    base_unit = _checked(values.get("stock_unit", product.stock_unit), values.get("gtins", ()))
    if base_unit != product.base_unit:
        if Lot.objects.for_farm(product.farm).filter(product=product).exists():
            raise Conflict(
                Fault(
                    "in_use",
                    f"it has lots whose ledger is kept in {product.base_unit}: choose a unit of that kind",
                    "/stock_unit",
                )
            )
        values["base_unit"] = base_unit
    journal.change(product, by=by, now=now, **values)
    return product


def _checked(stock_unit: str, gtins: Sequence[str]) -> str:
    faults = list(_gtin_faults(gtins))
    try:
        base_unit = amounts.base_unit(stock_unit)
    except QuantityError as fault:
        faults.insert(0, Fault(fault.code, fault.detail, "/stock_unit"))
    if faults:
        raise Unprocessable(*faults)
    return base_unit


def _gtin_faults(gtins: Sequence[str]) -> Iterator[Fault]:
    for at, gtin in enumerate(gtins):
        if not (len(gtin) == 14 and gtin.isascii() and gtin.isdigit()):
            yield Fault("invalid", "a GTIN is written with 14 digits, zeros before it", f"/gtins/{at}")
        elif not gs1.check_digit_is_right(gtin):
            yield Fault("bad_check_digit", f"the last digit of {gtin} is not its check digit", f"/gtins/{at}")
