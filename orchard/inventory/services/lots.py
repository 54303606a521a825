"""Writing lots: one batch of a product at one place."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Mapping
from typing import Any

from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from mixing import quantities
from orchard.api.refusals import Conflict, Fault, Unprocessable
from orchard.api.spoken import spoken
from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.farms.models import Farm
from orchard.inventory import amounts, queries
from orchard.inventory import gs1 as element_strings
from orchard.inventory.models import Lot, Product
from orchard.inventory.services import labels, ledger

RECALLED = "recalled"
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
    faults += _day_faults(values, today=queries.day_on_farm(farm=farm, at=now))
    if faults:
        raise Unprocessable(*faults)
    if gs1 is not None:
        values |= _scanned(gs1, farm=farm, now=now) | {"gs1": gs1}
    with transaction.atomic():
        product = labels.locked(values.pop("product"))
        _price_fits(product, values.get("price"))
        _only_one(product=product, number=values["number"], location=values.get("location", ""))
        values |= _as_recalled(product, values["number"])
        return journal.create(Lot, farm=farm, by=by, now=now, id=id, product=product, **values)


def _missing(gs1: str | None, values: dict[str, Any]) -> list[Fault]:
    if gs1 is None:
        return [
            Fault(
                "required",
                _("name the %(name)s, or send what was scanned as gs1") % {"name": spoken(name)},
                f"/{name}",
            )
            for name in ("product", "number")
            if not values.get(name)
        ]
    return [
        Fault(
            "invalid",
            _("the %(name)s is read from gs1: leave it out") % {"name": spoken(name)},
            f"/{name}",
        )
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
        detail = _("%(product)s is kept in %(stock_unit)s: say the price per a unit of that kind") % {
            "product": product.name,
            "stock_unit": product.stock_unit,
        }
        raise Unprocessable(Fault("unit_kind", detail, "/price/per/unit"))


def _quarantine_faults(values: dict[str, Any]) -> list[Fault]:
    if values.get("quarantined") and not values.get("quarantine_reason"):
        return [Fault("required", _("say why it may not be used"), "/quarantine_reason")]
    return []


def _day_faults(values: Mapping[str, Any], *, today: dt.date) -> list[Fault]:
    """Return what is wrong with the days of a package: a year mistyped, two days exchanged."""
    faults = []
    for name in ("made_on", "opened_on"):
        if (day := values.get(name)) is not None and day > today:
            faults.append(
                Fault("time_in_future", _("this lies in the future: say when it happened"), f"/{name}")
            )
    if (made := values.get("made_on")) is not None:
        for name in ("opened_on", "expires_on"):
            if (day := values.get(name)) is not None and day < made:
                says = _("this lies before %(made_on)s, the day it was made") % {"made_on": made}
                faults.append(Fault("out_of_range", says, f"/{name}"))
    return faults


def _scanned(text: str, *, farm: Farm, now: dt.datetime) -> dict[str, Any]:
    try:
        scan = element_strings.read(text, today=queries.day_on_farm(farm=farm, at=now))
    except element_strings.Unreadable as fault:
        raise Unprocessable(Fault(fault.code, str(fault), "/gs1")) from None
    if scan.lot is None:
        raise Unprocessable(Fault("gs1_invalid", _("there is no lot in it: (10) and its number"), "/gs1"))
    found = {"product": _of_gtin(scan.gtin, farm=farm), "number": scan.lot, "expires_on": scan.expires_on}
    return found if scan.made_on is None else {**found, "made_on": scan.made_on}


def _of_gtin(gtin: str, *, farm: Farm) -> Product:
    rows = list(queries.products(farm=farm).filter(gtins__contains=[gtin], archived=False)[:2])
    if not rows:
        raise Unprocessable(
            Fault(
                "unknown_gtin",
                _("no product has the GTIN %(gtin)s: add it to the product's gtins") % {"gtin": gtin},
                "/gs1",
            )
        )
    if len(rows) > 1:
        raise Unprocessable(
            Fault(
                "gs1_invalid",
                _("%(one)s and %(other)s both have the GTIN %(gtin)s: take it off one of them")
                % {"one": rows[0].name, "other": rows[1].name, "gtin": gtin},
                "/gs1",
            )
        )
    return rows[0]


def hold_lots(product: Product) -> None:
    """Lock a product, and then all its lots in the order of the ledger, before what is said of one changes.

    Whoever enters, renames or brings a container locks its product before the number is looked up: so a
    recall finds every container of its number, and one that comes a moment later finds the recall.
    """
    held = labels.locked(product)
    keys = Lot.objects.for_farm(held.farm).filter(product=held).values_list("key", flat=True)
    ledger.lock_keys(farm=held.farm, keys=keys, known=[held])


def change_lot(*, lot: Lot, by: Actor, now: dt.datetime, **values: Any) -> Lot:
    """Change what is said of a lot, never how much it holds. The caller has called `hold_lots`.

    A recall holds for the lot's number wherever it stands; to let go is a step for each place.

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
    if {"made_on", "opened_on", "expires_on"} & values.keys():
        days = {"made_on": lot.made_on, "opened_on": lot.opened_on, "expires_on": lot.expires_on, **values}
        faults += _day_faults(days, today=queries.day_on_farm(farm=lot.farm, at=now))
    if faults:
        raise Unprocessable(*faults)
    number, location = values.get("number", lot.number), values.get("location", lot.location)
    if (number, location) != (lot.number, lot.location):
        _only_one(product=lot.product, number=number, location=location)
    if number != lot.number:
        values |= _as_recalled(lot.product, number)
    was = lot.condition
    journal.change(lot, by=by, now=now, **values)
    if lot.condition == RECALLED != was:
        _recall_elsewhere(lot, by=by, now=now)
    return lot


def _recall_elsewhere(lot: Lot, *, by: Actor, now: dt.datetime) -> None:
    """Set the lot aside wherever it stands: what is recalled is a number, not what is at one place."""
    others = _of_number(lot.product, lot.number).exclude(key=lot.key).exclude(condition=RECALLED)
    for other in others.order_by("key"):
        other.farm, other.product = lot.farm, lot.product
        journal.change(other, by=by, now=now, **_as_recalled(lot.product, lot.number))


def _as_recalled(product: Product, number: str) -> dict[str, Any]:
    """Return what is to be said of a lot whose number was recalled; nothing where it was not."""
    recalled = _of_number(product, number).filter(condition=RECALLED).first()
    if recalled is None:
        return {}
    reason = recalled.quarantine_reason or RECALLED
    return {"condition": RECALLED, "quarantined": True, "quarantine_reason": reason}


def _of_number(product: Product, number: str) -> QuerySet[Lot]:
    return Lot.objects.for_farm(product.farm).filter(product=product, number=number)


def _only_one(*, product: Product, number: str, location: str) -> None:
    if found := _of_number(product, number).filter(location=location).first():
        facts = {"product": product.name, "number": number, "place": location}
        if location:
            says = _("%(product)s has a lot %(number)s at %(place)s already") % facts
        else:
            says = _("%(product)s has a lot %(number)s already") % facts
        raise Conflict(
            Fault(
                "lot_exists",
                says,
                "/number",
                refers_to=("lot", str(found.id)),
            )
        )


def at_place(lot: Lot, *, location: str, by: Actor, now: dt.datetime) -> uuid.UUID:
    """Return the key of the same lot at another place, made where it is not there yet; nothing is locked."""
    product = labels.locked(lot.product)
    if there := _of_number(product, lot.number).filter(location=location).first():
        return there.key
    values = {name: getattr(lot, name) for name in SAME_ELSEWHERE} | _as_recalled(product, lot.number)
    return journal.create(
        Lot, farm=lot.farm, by=by, now=now, product=product, location=location, **values
    ).key


def stay_quarantined(lot: Lot, there: Lot, *, by: Actor, now: dt.datetime) -> None:
    """Let what is quarantined stay so wherever it is brought. The caller holds both locks."""
    if lot.quarantined and not there.quarantined:
        reason = lot.quarantine_reason
        journal.change(there, by=by, now=now, quarantined=True, quarantine_reason=reason)
