"""The rest of a tank: what was left, what became of it, and whether it may go where it is meant to."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from mixing.quantities import Quantity
from orchard.api.refusals import Conflict, Fault
from orchard.api.spoken import listed
from orchard.blocks.models import Block
from orchard.farms.actors import Actor
from orchard.tasks import amounts, queries
from orchard.tasks.models import WorkOrder
from orchard.tasks.services import checking, demands

FATES = ("none", "sprayed_out", "kept_labelled", "disposed")


@dataclass(frozen=True, slots=True)
class Leftover:
    """What was left in the tank, and what became of it."""

    volume: Quantity
    fate: str
    block: Block | None = None


def faults(
    order: WorkOrder, sprayed: Quantity | None, rest: Leftover | None, mixed: Quantity
) -> Iterator[Fault]:
    """Yield what is wrong or missing in what was said of the rest of the tank."""
    if sprayed is not None and sprayed.in_base() > mixed.in_base():
        yield Fault(
            "out_of_range",
            _("only %(mixed)s were mixed: record the missing load") % {"mixed": amounts.words(mixed)},
            "/sprayed",
        )
    elif (rest is None or rest.fate == "none") and _something_is_left(order, sprayed, rest, mixed):
        yield Fault(
            "leftover_fate_required",
            _("say what became of the rest: %(fates)s") % {"fates": listed(FATES[1:])},
            "/leftover",
        )
    if rest is None:
        return
    if rest.volume.in_base() > mixed.in_base():
        yield Fault(
            "out_of_range",
            _("only %(mixed)s were mixed") % {"mixed": amounts.words(mixed)},
            "/leftover/volume",
        )
    if rest.fate != "none" and rest.volume.value == 0:
        yield Fault("out_of_range", _("nothing is left: the fate is none"), "/leftover/volume")
    if rest.fate == "sprayed_out" and rest.block is None:
        yield Fault("required", _("name the block that it was sprayed on"), "/leftover/block")


def _something_is_left(
    order: WorkOrder, sprayed: Quantity | None, rest: Leftover | None, mixed: Quantity
) -> bool:
    if sprayed is not None:
        return sprayed.in_base() < mixed.in_base()
    if rest is not None:
        return rest.volume.value > 0
    last = queries.loads(order=order).order_by("number", "id").last()
    return last is not None and last.leftover is not None and last.leftover.value > 0


def may_be_sprayed_out(
    order: WorkOrder, rest: Leftover, mixed: Quantity, *, at: dt.datetime, by: Actor, now: dt.datetime
) -> None:
    """Let the rest go on a block where the whole check passes there.

    :raises Conflict: `mix_stop`, one for each stop that is left open
    """
    assert rest.block is not None
    check = checking.check_leftover(
        order=order, block=rest.block, volume=rest.volume, mixed=mixed, at=at, by=by, now=now
    )
    faults = list(demands.mix_stops(check, now=now))
    if faults:
        raise Conflict(*faults)


def shares(
    order: WorkOrder, sprayed: Quantity | None, rest: Leftover | None, mixed: Quantity
) -> tuple[Quantity, Quantity | None]:
    """Return how much of the mix went on the order's own block, and how much on another one."""
    if rest is not None and rest.fate == "sprayed_out":
        if rest.block == order.block:
            return mixed, None
        return amounts.less(mixed, rest.volume), rest.volume
    if sprayed is not None:
        return sprayed, None
    return (amounts.less(mixed, rest.volume) if rest is not None else mixed), None


def as_json(rest: Leftover | None) -> dict[str, Any] | None:
    """Return the rest as a record keeps it."""
    if rest is None:
        return None
    block = str(rest.block.id) if rest.block else None
    return {"volume": rest.volume.as_json(), "fate": rest.fate, "block": block}
