"""What a storekeeper enters: receive, return, transfer, adjust, dispose, and what reverses a mistake."""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import dataclass
from decimal import Decimal

from django.db import transaction
from django.utils.translation import gettext as _

from mixing.quantities import Quantity
from orchard.api.refusals import Conflict, Fault, Unprocessable
from orchard.farms.actors import Actor
from orchard.farms.models import Farm
from orchard.inventory import queries
from orchard.inventory.models import Lot, Movement
from orchard.inventory.services import ledger, lots, reservations, reversals

ENTERED = ("receive", "return", "transfer", "adjust", "dispose", "reverse")
WANTED: dict[str, tuple[str, ...]] = {  # what each kind must say
    "receive": ("lot", "quantity"),
    "return": ("lot", "quantity", "reason"),
    "transfer": ("lot", "quantity", "reason", "location"),
    "adjust": ("lot", "quantity", "reason"),
    "dispose": ("lot", "quantity", "reason"),
    "reverse": ("reverses", "reason"),
}
ONE_KIND_ONLY = {"location": "transfer", "reverses": "reverse"}
NOT_INTO_EXPIRED = ("receive", "transfer")


@dataclass(frozen=True, slots=True)
class Entry:
    """What was entered of one movement, beside its kind, lot and quantity."""

    by: Actor
    at: dt.datetime
    now: dt.datetime
    id: uuid.UUID | None
    reason: str
    reference: str | None


def move(
    *,
    farm: Farm,
    kind: str,
    by: Actor,
    now: dt.datetime,
    id: uuid.UUID | None = None,
    lot: Lot | None = None,
    quantity: Quantity | None = None,
    reason: str = "",
    at: dt.datetime | None = None,
    location: str | None = None,
    reverses: Movement | None = None,
    reference: str | None = None,
) -> Movement:
    """Enter one movement; a transfer makes a second one, at the other place.

    :raises Unprocessable: what the kind needs is missing, or the unit cannot be turned into the product's
    :raises StockShort: more than the lot holds goes out
    :raises Conflict: `lot_expired`, `already_reversed`, `stock_already_used`
    """
    entry = Entry(by, at or now, now, id, reason, reference)
    # What else is refused is refused before a line is written.
    with transaction.atomic() if kind == "transfer" else ledger.whole():
        if kind == "reverse":
            assert reverses is not None
            return reversals.reverse(
                farm=farm, movement=reverses, by=by, at=entry.at, now=now, id=id, reason=reason
            )
        assert lot is not None and quantity is not None
        there_key = _other_place(lot, location, entry) if kind == "transfer" else None
        keys = [lot.key, there_key or lot.key]
        held = ledger.lock_keys(farm=farm, keys=keys, known=[lot.product])
        lot = held[lot.key]
        on = queries.day_on_farm(farm=farm, at=entry.at)
        _not_expired(kind, lot, on)
        base = ledger.base_of(quantity, product=lot.product, on=on, pointer="/quantity")
        _not_nothing(base)
        out = kind in ("dispose", "transfer")
        change_base = base.copy_negate() if out else base
        ledger.demand_held(lot, change_base, at=entry.at, now=now)
        if there_key is not None:
            return _transfer(lot, held[there_key], quantity, base, entry)
        return _enter(lot, kind, quantity, change_base, entry)


def _not_expired(kind: str, lot: Lot, on: dt.date) -> None:
    if kind in NOT_INTO_EXPIRED and lot.expires_on is not None and lot.expires_on < on:
        raise Conflict(
            Fault(
                "lot_expired",
                _("lot %(lot)s expired on %(expires_on)s: dispose of it, or correct the date")
                % {"lot": lot.number, "expires_on": lot.expires_on},
                "/lot",
                refers_to=("lot", str(lot.id)),
            )
        )


def _not_nothing(base: Decimal) -> None:
    if base == 0:
        raise Unprocessable(Fault("out_of_range", _("this moves nothing"), "/quantity/value"))


def _enter(lot: Lot, kind: str, quantity: Quantity, change_base: Decimal, entry: Entry) -> Movement:
    return ledger.post(
        lot,
        kind=kind,
        quantity=quantity,
        change_base=change_base,
        by=entry.by,
        at=entry.at,
        now=entry.now,
        id=entry.id,
        reason=entry.reason,
        reference=entry.reference,
    )


def _other_place(lot: Lot, location: str | None, entry: Entry) -> uuid.UUID:
    if location == lot.location:
        raise Unprocessable(Fault("invalid", _("it is at that place already"), "/location"))
    return lots.at_place(lot, location=location or "", by=entry.by, now=entry.now)


def _transfer(lot: Lot, there: Lot, quantity: Quantity, base: Decimal, entry: Entry) -> Movement:
    """Post both legs; the second names the first in its effect, so that one is reversed with the other."""
    out = ledger.post(
        lot,
        kind="transfer",
        quantity=quantity,
        change_base=base.copy_negate(),
        other_lot=there,
        by=entry.by,
        at=entry.at,
        now=entry.now,
        id=entry.id,
        reason=entry.reason,
        reference=entry.reference,
    )
    lots.stay_quarantined(lot, there, by=entry.by, now=entry.now)
    ledger.post(
        there,
        kind="transfer",
        quantity=quantity,
        change_base=base,
        other_lot=lot,
        by=entry.by,
        at=entry.at,
        now=entry.now,
        reason=entry.reason,
        reference=entry.reference,
        effect=reversals.second_leg_of(out),
    )
    reservations.follow(lot, there, by=entry.by, now=entry.now)
    return out
