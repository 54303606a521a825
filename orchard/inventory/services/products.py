"""Writing products."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from mixing.quantities import QuantityError
from orchard.api.refusals import Conflict, Fault, Unprocessable
from orchard.api.spoken import of_engine
from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.farms.models import Farm
from orchard.inventory import amounts, gs1
from orchard.inventory.models import Lot, Product

OF_STOCK = ("container", "safety_stock")
CHECKED = ("gtins", *OF_STOCK, "store_minimum", "store_maximum")


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
    base_unit = _checked(stock_unit, values)
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
    said = {name: values.get(name, getattr(product, name)) for name in CHECKED}
    base_unit = _checked(values.get("stock_unit", product.stock_unit), said)
    if base_unit != product.base_unit:
        if Lot.objects.for_farm(product.farm).filter(product=product).exists():
            raise Conflict(
                Fault(
                    "in_use",
                    _("it has lots whose ledger is kept in %(base_unit)s: choose a unit of that kind")
                    % {"base_unit": product.base_unit},
                    "/stock_unit",
                )
            )
        values["base_unit"] = base_unit
    journal.change(product, by=by, now=now, **values)
    return product


def _checked(stock_unit: str, said: Mapping[str, Any]) -> str:
    faults = [*_gtin_faults(said.get("gtins") or ()), *_temperature_faults(said)]
    base_unit = ""
    try:
        base_unit = amounts.base_unit(stock_unit)
        faults += _amount_faults(base_unit, stock_unit, said)
    except QuantityError as fault:
        faults.insert(0, Fault(fault.code, of_engine(fault), "/stock_unit"))
    if faults:
        raise Unprocessable(*faults)
    return base_unit


def _amount_faults(base_unit: str, stock_unit: str, said: Mapping[str, Any]) -> Iterator[Fault]:
    """Yield a container or a safety stock that is not measured as the stock is."""
    for name in OF_STOCK:
        quantity = said.get(name)
        if quantity is not None and amounts.BASE_UNITS[quantity.dimension] != base_unit:
            detail = _("it is kept in %(stock_unit)s: say it in a unit of that kind, not in %(unit)s") % {
                "stock_unit": stock_unit,
                "unit": quantity.unit,
            }
            yield Fault("unit_kind", detail, f"/{name}/unit")


def _temperature_faults(said: Mapping[str, Any]) -> Iterator[Fault]:
    low, high = said.get("store_minimum"), said.get("store_maximum")
    if low is not None and high is not None and low.to("degC").value > high.to("degC").value:
        yield Fault("out_of_range", _("the lowest lies above the highest"), "/store_minimum")


def _gtin_faults(gtins: Sequence[str]) -> Iterator[Fault]:
    for at, gtin in enumerate(gtins):
        if not (len(gtin) == 14 and gtin.isascii() and gtin.isdigit()):
            yield Fault("invalid", _("a GTIN is written with 14 digits, zeros before it"), f"/gtins/{at}")
        elif not gs1.check_digit_is_right(gtin):
            yield Fault(
                "bad_check_digit",
                _("the last digit of %(gtin)s is not its check digit") % {"gtin": gtin},
                f"/gtins/{at}",
            )
