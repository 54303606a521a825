"""Undoing a line of the ledger by a new line that names it."""

from __future__ import annotations

import datetime as dt
import uuid

from django.utils.translation import gettext as _

from mixing.quantities import EXACT
from orchard.api.refusals import Conflict, Fault
from orchard.farms.actors import Actor
from orchard.farms.models import Farm
from orchard.inventory import amounts
from orchard.inventory.models import Lot, Movement
from orchard.inventory.services import ledger

SECOND_LEG = "transfer:"


def second_leg_of(out: Movement) -> str:
    """Return the effect that ties the second leg of a transfer to the first."""
    return f"{SECOND_LEG}{out.id}"


def reverse(
    *,
    farm: Farm,
    movement: Movement,
    by: Actor,
    at: dt.datetime,
    now: dt.datetime,
    reason: str,
    id: uuid.UUID | None = None,
) -> Movement:
    """Undo a movement that was entered by mistake; of a transfer, both legs.

    :raises Conflict: `already_reversed`; `stock_already_used`, where what came in is no longer all there;
        `state_conflict` for a reversal, and for a `use`, which goes back with its application record
    """
    legs = [movement, *_other_leg(movement)]
    held = ledger.lock_keys(farm=farm, keys=[leg.lot.key for leg in legs])
    _may_be_reversed(movement)
    for leg in legs:
        _still_there(leg, held[leg.lot.key])
        ledger.demand_held(held[leg.lot.key], leg.change_base.copy_negate(), at=at, now=now)
    made = [
        _undo(
            leg, held[leg.lot.key], by=by, at=at, now=now, reason=reason, id=id if leg is movement else None
        )
        for leg in legs
    ]
    return made[0]


def _other_leg(movement: Movement) -> list[Movement]:
    if movement.kind != "transfer":
        return []
    rows = Movement.objects.for_farm(movement.farm).select_related("farm", "lot__product")
    effect = movement.effect or ""
    if effect.startswith(SECOND_LEG):
        return [rows.get(id=effect.removeprefix(SECOND_LEG))]
    return [rows.get(effect=second_leg_of(movement))]


def _may_be_reversed(movement: Movement) -> None:
    done = Movement.objects.for_farm(movement.farm).filter(reverses=movement).first()
    if done is not None:
        raise Conflict(
            Fault(
                "already_reversed",
                _("this movement was reversed already"),
                "/reverses",
                refers_to=("stock_movement", str(done.id)),
            )
        )
    if movement.kind == "reverse":
        raise Conflict(
            Fault("state_conflict", _("a reversal stands: enter the movement that is right"), "/reverses")
        )
    if movement.kind == "use":
        raise Conflict(
            Fault(
                "state_conflict",
                _("a crew has used this: correct or void the application record"),
                "/reverses",
            )
        )


def _still_there(leg: Movement, lot: Lot) -> None:
    missing = EXACT.subtract(leg.change_base, lot.on_hand_base)
    if leg.change_base > 0 and missing > 0:
        raise Conflict(
            Fault(
                "stock_already_used",
                _("what came in with this movement is no longer all in lot %(lot)s: count and adjust it")
                % {"lot": lot.number},
                "/reverses",
                refers_to=("lot", str(lot.id)),
                short=amounts.shown_stock(missing, lot.product),
            )
        )


def _undo(
    leg: Movement,
    lot: Lot,
    *,
    by: Actor,
    at: dt.datetime,
    now: dt.datetime,
    reason: str,
    id: uuid.UUID | None = None,
) -> Movement:
    return ledger.post(
        lot,
        kind="reverse",
        quantity=leg.quantity,
        change_base=leg.change_base.copy_negate(),
        by=by,
        at=at,
        now=now,
        id=id,
        reason=reason,
        reverses=leg,
        other_lot=leg.other_lot,
        work_order=leg.work_order,
        load=leg.load,
    )


def undo_uses(
    *, farm: Farm, loads: list[uuid.UUID], by: Actor, at: dt.datetime, now: dt.datetime, reason: str
) -> list[Movement]:
    """Put back what loads took, each movement once; what was put back before stays as it is."""
    uses = Movement.objects.for_farm(farm).filter(kind="use", load__in=loads)
    held = ledger.lock_keys(farm=farm, keys=uses.values_list("lot", flat=True))
    rows = uses.filter(reversed_by=None).select_related("farm", "lot", "other_lot").order_by("id")
    return [_undo(row, held[row.lot.key], by=by, at=at, now=now, reason=reason) for row in rows]
