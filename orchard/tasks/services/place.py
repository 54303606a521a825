"""Whether people may be where an order sends them: re-entry, sprays that are on, people at other work."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import Any

from django.utils.translation import gettext as _

from mixing import keep_out
from mixing.quantities import plain
from orchard.api.refusals import Fault
from orchard.api.remembered import remembered
from orchard.blocks import outlines
from orchard.blocks.models import Block
from orchard.farms.models import Farm
from orchard.tasks import queries
from orchard.tasks.models import WorkOrder
from orchard.tasks.services import checking
from orchard.tasks.states import ENTERING


def re_entry(order: WorkOrder, *, at: dt.datetime) -> Iterator[Fault]:
    """Yield the end of a re-entry interval that the work would begin in, and a spray that is on near it."""
    if order.block is None:
        return
    until = order.block.re_entry_until
    if until is not None and at < until:
        earliest = until.astimezone(checking.zone(order.farm)).isoformat()
        refers = ("application_record", str(order.block.last_application))
        detail = _("nobody may work in %(block)s before %(earliest)s") % {
            "block": order.block,
            "earliest": earliest,
        }
        yield Fault("block_in_re_entry", detail, refers_to=refers, earliest=earliest)
    for spray in _under_way(order, kinds=("spray",)):
        if spray.block is not None and _too_near(order.block, spray.block, spray):
            detail = _(
                "%(block)s is being sprayed (order %(spray)s): nobody but its handlers within %(distance)s "
                "of it until it is done"
            ) % {"block": spray.block, "spray": spray.number, "distance": _words(spray)}
            yield Fault("block_in_re_entry", detail, refers_to=("work_order", str(spray.id)))


def people_near(order: WorkOrder) -> Iterator[Fault]:
    """Yield other work that is under way where a spray would begin, or too near to it."""
    for work in _under_way(order, kinds=ENTERING):
        if order.block is not None and work.block is not None and _too_near(work.block, order.block, order):
            detail = _(
                "people are at work in %(block)s (order %(work)s), within %(distance)s of the spray: get "
                "them out, and finish or hold their order first"
            ) % {"block": work.block, "work": work.number, "distance": _words(order)}
            yield Fault("people_in_block", detail, refers_to=("work_order", str(work.id)))


def exclusion_zone(order: WorkOrder) -> dict[str, Any] | None:
    """Return how far people stay away while an order sprays, and where that is written."""
    if order.kind != "spray" or order.sprayer is None:
        return None
    found = keep_out.around(order.sprayer.kind, droplets=order.sprayer.droplets)
    return {
        "distance": found.distance.as_json(),
        "droplets": order.sprayer.droplets,
        "source": f"{found.source}, {found.locator}",
    }


def _under_way(order: WorkOrder, *, kinds: tuple[str, ...]) -> list[WorkOrder]:
    rows = _all_under_way(farm=order.farm)
    return [row for row in rows if row.kind in kinds and row.key != order.key]


@remembered
def _all_under_way(*, farm: Farm) -> list[WorkOrder]:
    return list(queries.work_orders(farm=farm, status="under_way").order_by("number"))


def _too_near(one: Block, sprayed: Block, spray: WorkOrder) -> bool:
    """Say whether one block is the other, or lies within the distance that a spray keeps people away."""
    if one == sprayed:
        return True
    if not one.outline or not sprayed.outline or spray.sprayer is None:
        return False
    zone = keep_out.around(spray.sprayer.kind, droplets=spray.sprayer.droplets)
    return outlines.distance_m(one.outline, sprayed.outline) < float(zone.distance.in_base())


def _words(spray: WorkOrder) -> str:
    assert spray.sprayer is not None
    zone = keep_out.around(spray.sprayer.kind, droplets=spray.sprayer.droplets)
    return f"{plain(zone.distance.value)} ft"
