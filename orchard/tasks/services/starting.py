"""The start: the limits again, with what is observed on the spot."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterator, Mapping
from typing import Any

from django.utils.translation import gettext as _

from orchard.api.refusals import Conflict, Fault, Unprocessable
from orchard.api.spoken import spoken
from orchard.blocks import queries as blocks
from orchard.blocks import services as block_services
from orchard.farms.actors import Actor
from orchard.tasks.models import WorkOrder
from orchard.tasks.services import checking, demands, moves

NEEDED = ("wind", "temperature", "people_out")
READING_HOLDS = dt.timedelta(minutes=30)


class StartRefused(Conflict):
    """What was observed closes the start. The stage that was seen is kept all the same: it was seen."""

    def __init__(self, *faults: Fault, order: WorkOrder, bbch: int | None, at: dt.datetime) -> None:
        super().__init__(*faults)
        self.order, self.bbch, self.at = order, bbch, at


def start(
    *,
    order: WorkOrder,
    by: Actor,
    now: dt.datetime,
    observed: Mapping[str, Any] | None = None,
    at: dt.datetime | None = None,
    revision: int | None = None,
    block: uuid.UUID | None = None,
) -> WorkOrder:
    """Begin the work; a refused start leaves the order as it was. The caller holds its lock.

    :param block: id of the block whose sign the crew has read; None: not asked
    :param observed: what was seen, as JSON; for a spray with wind, temperature and whether people are out
    :raises Unprocessable: `required` for what a spray must observe, `wrong_block`
    :raises Conflict: `state_conflict`, `revision_is_old`, or all that stands against it at once
    """
    observed, at = dict(observed or {}), at or now
    faults = [
        *(_not_observed(observed) if order.kind == "spray" else ()),
        *moves.not_before_issue(order, at, pointer="/at"),
        *_read_too_early(observed, at),
        *_elsewhere(order, block),
    ]
    if faults:
        raise Unprocessable(*faults)
    moves.demand(order, action="start")
    right_revision(order, revision)
    bbch = observed.get("bbch")
    note_stage(order=order, bbch=bbch, at=at, by=by, now=now)
    check = None
    if order.kind == "spray":
        check = checking.check_for_move(order=order, at=at, observed=observed, by=by, now=now)
    case = demands.Case(order, at=at, now=now, check=check, observed=observed)
    faults = demands.against("start", case)
    columns: dict[str, Any] = {} if check is None else {"mix_check": check}
    if faults:
        raise StartRefused(*faults, order=order, bbch=bbch, at=at)
    return moves.make(
        order, action="start", by=by, now=now, started_at=at, observed=observed or None, **columns
    )


def right_revision(order: WorkOrder, revision: int | None) -> None:
    """Let pass who has read the order as it stands.

    :raises Conflict: `revision_is_old`
    """
    if revision is not None and revision != order.revision:
        detail = _("the order was changed: revision %(revision)s holds, read it again") % {
            "revision": order.revision
        }
        raise Conflict(Fault("revision_is_old", detail, "/revision"))


def _not_observed(observed: Mapping[str, Any]) -> Iterator[Fault]:
    for name in NEEDED:
        if observed.get(name) is None:
            detail = _("say the %(name)s on the spot") % {"name": spoken(name)}
            yield Fault("required", detail, f"/observed/{name}")


def _elsewhere(order: WorkOrder, block: uuid.UUID | None) -> Iterator[Fault]:
    """Yield that the crew stands in another block than the order is for."""
    if block is not None and order.block is not None and block != order.block.id:
        detail = _("the sign that was read is not that of %(block)s: do not start, look at the map") % {
            "block": order.block.name
        }
        yield Fault("wrong_block", detail, "/block")


def _read_too_early(observed: Mapping[str, Any], at: dt.datetime) -> Iterator[Fault]:
    """Yield that the instrument was read too long before. 30 minutes: common practice, no source."""
    read_at = observed.get("read_at")
    if read_at is not None and at - dt.datetime.fromisoformat(read_at) > READING_HOLDS:
        detail = _("this was read %(minutes)s minutes or more before the start: read again") % {
            "minutes": READING_HOLDS.seconds // 60
        }
        yield Fault("out_of_range", detail, "/observed/read_at")


def note_stage(*, order: WorkOrder, bbch: int | None, at: dt.datetime, by: Actor, now: dt.datetime) -> None:
    """Keep the stage that was seen at the start, once however often the start is tried."""
    if bbch is None or order.block is None:
        return
    day, seen = demands.day_of(order, at=at), blocks.stage_on(block=order.block, at=at)
    if seen is None or (seen.bbch, seen.observed_on) != (bbch, day):
        block_services.add_stage(block=order.block, bbch=bbch, observed_on=day, by=by, now=now)
