"""Writing lots: one batch of a product at one place."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Mapping
from typing import Any

from django.db import transaction

from mixing import quantities
from orchard.api.refusals import Conflict, Fault, Unprocessable
from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.farms.models import Farm
from orchard.inventory import amounts, queries
from orchard.inventory import gs1 as element_strings
from orchard.inventory.models import Lot, Product
from orchard.inventory.services import labels

IN_THE_SCAN = ("product", "number", "expires_on")
SAME_ELSEWHERE = (
    "number",
    "expires_on",
    "made_on",
    "supplier",
    "quarantined",
    "quarantine_reason",
    "gs1",
    "opened_on",
    "condition",
    "price",
)


def add_lot(
    *,
    farm: Farm,
    by: Actor,
    now: dt.datetime,
    id: uuid.UUID | None = None,
    gs1: str | None = None,
    **values: Any,
) -> Lot:
    """Add a lot, named by product and number, or by what was scanned from its package.

    :raises Unprocessable: `required`, `gs1_invalid`, `bad_check_digit`, `unknown_gtin`
    :raises Conflict: `lot_exists`, the same number of that product at that place
    """
    _set_aside(values)
    faults = _missing(gs1, values) + _quarantine_faults(values)
    if faults:
        raise Unprocessable(*faults)
    if gs1 is not None:
        values |= _scanned(gs1, farm=farm, now=now) | {"gs1": gs1}
    with transaction.atomic():
        product = labels.locked(values.pop("product"))
        _price_fits(product, values.get("price"))
        _only_one(product=product, number=values["number"], location=values.get("location", ""))
        return journal.create(Lot, farm=farm, by=by, now=now, id=id, product=product, **values)


def _missing(gs1: str | None, values: dict[str, Any]) -> list[Fault]:
    if gs1 is None:
        return [
            Fault("required", f"name the {name}, or send what was scanned as gs1", f"/{name}")
            for name in ("product", "number")
            if not values.get(name)
        ]
    return [
        Fault("invalid", f"the {name.replace('_', ' ')} is read from gs1: leave it out", f"/{name}")
        for name in IN_THE_SCAN
        if values.get(name) is not None
    ]


def _set_aside(values: dict[str, Any]) -> None:
    """Quarantine what is not as it should be (frozen, caked, recalled); letting go is another step."""
    condition = values.get("condition", "good")
    if condition != "good" and values.get("quarantined") is not False:
        values["quarantined"] = True
        values["quarantine_reason"] = values.get("quarantine_reason") or condition


def _price_fits(product: Product, price: Mapping[str, Any] | None) -> None:
    """Refuse a price for an amount of another kind than the stock is measured in.

    :raises Unprocessable: `unit_kind`
    """
    if price is None:
        return
    per = price["per"]
    kind = amounts.BASE_UNITS.get(quantities.unit(per["unit"]).dimension)
    if kind != product.base_unit:
        detail = f"{product.name} is kept in {product.stock_unit}: say the price per a unit of that kind"
        raise Unprocessable(Fault("unit_kind", detail, "/price/per/unit"))


def _quarantine_faults(values: dict[str, Any]) -> list[Fault]:
    if values.get("quarantined") and not values.get("quarantine_reason"):
        return [Fault("required", "say why it may not be used", "/quarantine_reason")]
    return []


def _scanned(text: str, *, farm: Farm, now: dt.datetime) -> dict[str, Any]:
    try:
        scan = element_strings.read(text, today=queries.day_on_farm(farm=farm, at=now))
    except element_strings.Unreadable as fault:
        raise Unprocessable(Fault(fault.code, str(fault), "/gs1")) from None
    if scan.lot is None:
        raise Unprocessable(Fault("gs1_invalid", "there is no lot in it: (10) and its number", "/gs1"))
    found = {"product": _of_gtin(scan.gtin, farm=farm), "number": scan.lot, "expires_on": scan.expires_on}
    return found if scan.made_on is None else {**found, "made_on": scan.made_on}


def _of_gtin(gtin: str, *, farm: Farm) -> Product:
    rows = list(queries.products(farm=farm).filter(gtins__contains=[gtin], archived=False)[:2])
    if not rows:
        raise Unprocessable(
            Fault("unknown_gtin", f"no product has the GTIN {gtin}: add it to the product's gtins", "/gs1")
        )
    if len(rows) > 1:
        raise Unprocessable(
            Fault(
                "gs1_invalid",
                f"{rows[0].name} and {rows[1].name} both have the GTIN {gtin}: take it off one of them",
                "/gs1",
            )
        )
    return rows[0]


def change_lot(*, lot: Lot, by: Actor, now: dt.datetime, **values: Any) -> Lot:
    """Change what is said of a lot, never how much it holds. The caller holds its lock.

    :raises Unprocessable: `required`, a quarantine without its reason
    :raises Conflict: `lot_exists`
    """
    if values.get("quarantined") is False:
        values["quarantine_reason"] = None
    _set_aside(values)
    _price_fits(lot.product, values.get("price"))
    faults = _quarantine_faults(
        {"quarantined": lot.quarantined, "quarantine_reason": lot.quarantine_reason, **values}
    )
    if faults:
        raise Unprocessable(*faults)
    number, location = values.get("number", lot.number), values.get("location", lot.location)
    if (number, location) != (lot.number, lot.location):
        _only_one(product=lot.product, number=number, location=location)
    journal.change(lot, by=by, now=now, **values)
    return lot


def _only_one(*, product: Product, number: str, location: str) -> None:
    rows = Lot.objects.for_farm(product.farm).filter(product=product, number=number, location=location)
    if found := rows.first():
        place = f" at {location}" if location else ""
        raise Conflict(
            Fault(
                "lot_exists",
                f"{product.name} has a lot {number}{place} already",
                "/number",
                refers_to=("lot", str(found.id)),
            )
        )


def at_place(lot: Lot, *, location: str, by: Actor, now: dt.datetime) -> uuid.UUID:
    """Return the key of the same lot at another place, made where it is not there yet; nothing is locked."""
    product = labels.locked(lot.product)
    rows = Lot.objects.for_farm(lot.farm).filter(product=product, number=lot.number, location=location)
    if there := rows.first():
        return there.key
    values = {name: getattr(lot, name) for name in SAME_ELSEWHERE}
    return journal.create(
        Lot, farm=lot.farm, by=by, now=now, product=product, location=location, **values
    ).key


def stay_quarantined(lot: Lot, there: Lot, *, by: Actor, now: dt.datetime) -> None:
    """Let what is quarantined stay so wherever it is brought. The caller holds both locks."""
    if lot.quarantined and not there.quarantined:
        reason = lot.quarantine_reason
        journal.change(there, by=by, now=now, quarantined=True, quarantine_reason=reason)
