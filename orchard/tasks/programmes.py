"""Writing season plans and asking for a plan of days."""

from __future__ import annotations

import datetime as dt
import uuid
import zoneinfo
from collections.abc import Mapping, Sequence
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from orchard.api.refusals import Conflict, Fault, Unprocessable
from orchard.api.spoken import spoken
from orchard.farms import journal
from orchard.farms.actors import Actor, Role
from orchard.farms.models import Farm
from orchard.farms.rows import new_id
from orchard.inventory.models import Reservation
from orchard.inventory.stocktake_queries import stocktakes
from orchard.tasks.models import PlanningRun, Programme, WorkOrder
from orchard.tasks.states import OPEN

CALLED_OFF: dict[str, Any] = {"work_orders": [], "left_out": [], "gap_percent": None, "cancelled": True}
LONGEST = dt.timedelta(days=366)
"""Days that one plan may be for."""
TRY_AGAIN = dt.timedelta(seconds=2)
"""How soon a planning run that has to wait for another is tried again."""


def add_programme(
    *,
    farm: Farm,
    name: str,
    starts_on: dt.date,
    ends_on: dt.date,
    lines: Sequence[Mapping[str, Any]],
    by: Actor,
    now: dt.datetime,
    id: uuid.UUID | None = None,
    status: str | None = None,
    valid_until: dt.date | None = None,
) -> Programme:
    """Make a season plan; an adviser's is advice until a manager takes it.

    :param valid_until: of advice, the last day on which it may be taken
    :raises Unprocessable: where it ends before it begins, or an adviser means it to be in force
    """
    faults = []
    if ends_on < starts_on:
        faults.append(Fault("out_of_range", _("it ends before it begins"), "/until"))
    if by.role == Role.ADVISER and status != "advice":
        faults.append(Fault("invalid", _('an adviser gives advice: send "status": "advice"'), "/status"))
    if faults:
        raise Unprocessable(*faults)
    with transaction.atomic():
        return journal.create(
            Programme,
            farm=farm,
            by=by,
            now=now,
            id=id,
            name=name,
            starts_on=starts_on,
            ends_on=ends_on,
            status=status or "active",
            lines=numbered(lines),
            valid_until=valid_until,
        )


def numbered(lines: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Return the lines, each with an id: the one that it came with, or a fresh one.

    :raises Unprocessable: for two lines of one id
    """
    given = [str(line["id"]) for line in lines if line.get("id")]
    if len(given) != len(set(given)):
        raise Unprocessable(Fault("id_taken", _("two lines have the same id"), "/lines"))
    return [
        {"id": str(line.get("id") or new_id()), **{k: v for k, v in line.items() if k != "id"}}
        for line in lines
    ]


def change_programme(*, programme: Programme, by: Actor, now: dt.datetime, **values: Any) -> Programme:
    """Change a season plan that is not closed. The caller holds its lock.

    :raises Conflict: `state_conflict`, `advice_expired` where advice is taken after its last day
    :raises Unprocessable: as `add_programme`
    """
    if programme.status == "closed":
        raise Conflict(Fault("state_conflict", _("the season is closed: reopen it first")))
    if programme.status == "advice" and values.get("status") == "active":
        _demand_valid(programme, values.get("valid_until", programme.valid_until), now)
    if values.get("ends_on", programme.ends_on) < values.get("starts_on", programme.starts_on):
        raise Unprocessable(Fault("out_of_range", _("it ends before it begins"), "/until"))
    if "lines" in values:
        values["lines"] = numbered(values["lines"])
    journal.change(programme, by=by, now=now, **values)
    return programme


def _demand_valid(programme: Programme, until: dt.date | None, now: dt.datetime) -> None:
    today = now.astimezone(zoneinfo.ZoneInfo(programme.farm.zone)).date()
    if until is not None and today > until:
        detail = _("this advice was valid until %(until)s: ask for it anew") % {"until": until}
        raise Conflict(Fault("advice_expired", detail, "/status"))


def close(*, programme: Programme, by: Actor, now: dt.datetime) -> Programme:
    """Close the season. The caller holds its lock.

    :raises Conflict: `season_open`, one fault for each order, reservation and stocktake that is still open
    """
    if programme.status == "closed":
        raise Conflict(Fault("state_conflict", _("the season is closed already")))
    orders = (
        WorkOrder.objects.for_farm(programme.farm).filter(programme=programme, status__in=OPEN).order_by("id")
    )
    ids = WorkOrder.objects.for_farm(programme.farm).filter(programme=programme).values("id")
    reserved = (
        Reservation.objects.for_farm(programme.farm).filter(work_order__in=ids, status="open").order_by("id")
    )
    faults = [
        Fault(
            "season_open",
            _("order %(order)s is %(status)s") % {"order": order.number, "status": spoken(order.status)},
            refers_to=("work_order", str(order.id)),
        )
        for order in orders
    ] + [
        Fault("season_open", _("product is still reserved"), refers_to=("reservation", str(row.id)))
        for row in reserved
    ]
    faults += [
        Fault("season_open", _("a stocktake is not posted"), refers_to=("stocktake", str(row.id)))
        for row in stocktakes(farm=programme.farm).filter(status="open").order_by("id")
    ]
    if faults:
        raise Conflict(*faults)
    journal.change(programme, by=by, now=now, action="close", status="closed")
    return programme


def reopen(*, programme: Programme, by: Actor, now: dt.datetime) -> Programme:
    """Open a closed season again. The caller holds its lock.

    :raises Conflict: `state_conflict`
    """
    if programme.status != "closed":
        raise Conflict(
            Fault(
                "state_conflict",
                _("the programme is %(status)s, not closed") % {"status": spoken(programme.status)},
            )
        )
    journal.change(programme, by=by, now=now, action="reopen", status="active")
    return programme


def line_of(*, programme: Programme, line: uuid.UUID) -> dict[str, Any] | None:
    """Return one line of a season plan."""
    return next((one for one in programme.lines if one["id"] == str(line)), None)


def request_run(
    *,
    farm: Farm,
    programme: Programme,
    starts_at: dt.datetime,
    ends_at: dt.datetime,
    by: Actor,
    now: dt.datetime,
    id: uuid.UUID | None = None,
    **chosen: Any,
) -> PlanningRun:
    """Ask for a plan of days; the workers make it.

    :raises Unprocessable: where it ends before it begins or in the past, or is for longer than a year
    :raises Conflict: `state_conflict` for a season plan that is not in force
    """
    if ends_at <= starts_at:
        raise Unprocessable(Fault("out_of_range", _("it ends before it begins"), "/until"))
    if ends_at <= now:
        raise Unprocessable(
            Fault("out_of_range", _("it ends in the past: no work is planned there"), "/until")
        )
    if ends_at - starts_at > LONGEST:
        raise Unprocessable(
            Fault("out_of_range", _("it is for longer than %(days)s days") % {"days": LONGEST.days}, "/until")
        )
    if programme.status != "active":
        raise Conflict(
            Fault(
                "state_conflict",
                _("the programme is %(status)s: only an active one is planned")
                % {"status": spoken(programme.status)},
            )
        )
    with transaction.atomic():
        run = journal.create(
            PlanningRun,
            farm=farm,
            by=by,
            now=now,
            id=id,
            programme=programme,
            starts_at=starts_at,
            ends_at=ends_at,
            **chosen,
        )
        journal.later("planning_run.requested", farm=farm, subject=run.id, by=by, now=now)
    return run


def progress(*, run: PlanningRun, by: Actor, now: dt.datetime, **values: Any) -> PlanningRun:
    """Write how far a planning run is, or what it came to."""
    with transaction.atomic():
        locked = PlanningRun.objects.select_related("farm").select_for_update(of=("self",)).get(key=run.key)
        journal.change(locked, by=by, now=now, action="update", **values)
    return locked


def locked_run(*, run: PlanningRun) -> PlanningRun:
    """Return a planning run with its row locked."""
    rows = PlanningRun.objects.select_related("farm", "programme__farm")
    return rows.select_for_update(of=("self",)).get(key=run.key)


def take_up(
    *, run: PlanningRun, by: Actor, until: dt.datetime, now: dt.datetime
) -> PlanningRun | dt.datetime | None:
    """Hold a planning run for one worker until a moment; None where it is over.

    Where somebody else holds it, or another run of its farm, the moment is returned at which to try again.
    A run that nobody gave a sign of life for goes back to the queue, and is taken up when its turn comes.
    """
    with transaction.atomic():
        Farm.objects.select_for_update(no_key=True).get(id=run.farm.id)
        held = locked_run(run=run)
        if held.status not in ("queued", "running"):
            return None
        at_work = PlanningRun.objects.for_farm(run.farm).filter(status="running").select_related("farm")
        for other in at_work.select_for_update(of=("self",)).order_by("id"):
            if other.taken_until is not None and other.taken_until > now:
                return min(other.taken_until, now + TRY_AGAIN)
            if other.key != held.key:
                journal.change(other, by=by, now=now, status="queued", taken_until=None)
        journal.change(held, by=by, now=now, status="running", taken_until=until)
    return held


def keep_at(
    *, run: PlanningRun, progress_percent: int, until: dt.datetime, now: dt.datetime
) -> PlanningRun | None:
    """Show how far a run is, and hold it on; None where another worker holds it now."""
    with transaction.atomic():
        held = locked_run(run=run)
        if held.status != "running" or held.taken_until != run.taken_until:
            return None
        held.taken_until = until
        if progress_percent > held.progress_percent:
            journal.touch(held, now=now, taken_until=until, progress_percent=progress_percent)
        else:
            held.save(update_fields=["taken_until"])  # a sign of life is nothing to tell others of
    return held


def let_go(*, run: PlanningRun, by: Actor, now: dt.datetime) -> None:
    """Put a planning run back into the queue where its work failed, unless another worker holds it now."""
    with transaction.atomic():
        held = locked_run(run=run)
        if held.status == "running" and held.taken_until == run.taken_until:
            journal.change(held, by=by, now=now, status="queued", taken_until=None)


def cancel_run(*, run: PlanningRun, by: Actor, now: dt.datetime) -> PlanningRun:
    """Call a planning run off: at once where it waits, and within a second or so where it is at work.

    :raises Conflict: `state_conflict` where it is over
    """
    if run.status == "queued":
        over: dict[str, Any] = {"status": "failed", "result": CALLED_OFF, "cancel_asked_at": now}
        journal.change(run, by=by, now=now, action="cancel", **over)
    elif run.status == "running":
        journal.change(run, by=by, now=now, action="cancel", cancel_asked_at=now)
    else:
        raise Conflict(
            Fault(
                "state_conflict", _("the planning run is %(status)s already") % {"status": spoken(run.status)}
            )
        )
    return run
