"""Writing workers, crews, sprayers, and what proves that they may be used."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from orchard.api.refusals import Fault, Unprocessable
from orchard.api.spoken import spoken
from orchard.crews.models import Calibration, Crew, Qualification, Sprayer, Worker
from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.farms.models import Farm


def add_worker(
    *, farm: Farm, by: Actor, now: dt.datetime, id: uuid.UUID | None = None, **values: Any
) -> Worker:
    """Add somebody who works on the farm."""
    with transaction.atomic():
        return journal.create(Worker, farm=farm, by=by, now=now, id=id, **values)


def change_worker(*, worker: Worker, by: Actor, now: dt.datetime, **values: Any) -> Worker:
    """Change what is said of a worker. The caller holds its lock."""
    journal.change(worker, by=by, now=now, **values)
    return worker


def add_qualification(
    *, worker: Worker, by: Actor, now: dt.datetime, id: uuid.UUID | None = None, **values: Any
) -> Qualification:
    """Write down a training, a fit test or a licence.

    :raises Unprocessable: where it expires before it was obtained
    """
    _in_order(values["obtained_on"], values["expires_on"], "/expires_on")
    with transaction.atomic():
        return journal.create(Qualification, farm=worker.farm, by=by, now=now, id=id, worker=worker, **values)


def change_qualification(
    *, qualification: Qualification, by: Actor, now: dt.datetime, **values: Any
) -> Qualification:
    """Change a qualification. The caller holds its lock.

    :raises Unprocessable: where it would expire before it was obtained
    """
    obtained_on = values.get("obtained_on", qualification.obtained_on)
    _in_order(obtained_on, values.get("expires_on", qualification.expires_on), "/expires_on")
    journal.change(qualification, by=by, now=now, **values)
    return qualification


def _in_order(first: dt.date, second: dt.date, pointer: str) -> None:
    if second < first:
        raise Unprocessable(
            Fault(
                "out_of_range",
                _("this lies before %(first)s, the day it was done") % {"first": first},
                pointer,
            )
        )


def add_crew(
    *,
    farm: Farm,
    members: Iterable[Worker],
    by: Actor,
    now: dt.datetime,
    id: uuid.UUID | None = None,
    **values: Any,
) -> Crew:
    """Put people together.

    :raises Unprocessable: where the lead is no member
    """
    members = list(members)
    _leads_own_crew(values.get("lead"), members)
    with transaction.atomic():
        crew = journal.insert(Crew, farm=farm, by=by, now=now, id=id, **values)
        crew.members.set(members)
        journal.created(crew, by=by, now=now)
    return crew


def change_crew(*, crew: Crew, by: Actor, now: dt.datetime, **values: Any) -> Crew:
    """Change a crew and its people. The caller holds its lock.

    :raises Unprocessable: where the lead is no member
    """
    members = values.pop("members", None)
    now_in = list(crew.members.all()) if members is None else list(members)
    _leads_own_crew(values.get("lead", crew.lead), now_in)
    if members is not None:
        crew.members.set(now_in)
        changed = journal.change(crew, by=by, now=now, **values)
        if not changed:
            journal.touch(crew, now=now)
    else:
        journal.change(crew, by=by, now=now, **values)
    return crew


def _leads_own_crew(lead: Worker | None, members: list[Worker]) -> None:
    if lead is not None and lead not in members:
        raise Unprocessable(Fault("invalid", _("the lead is one of the crew's members"), "/lead"))


def add_sprayer(
    *, farm: Farm, by: Actor, now: dt.datetime, id: uuid.UUID | None = None, **values: Any
) -> Sprayer:
    """Add a sprayer.

    :raises Unprocessable: where its kind needs a tank, a dial or a ratio that is not given
    """
    _complete(values)
    with transaction.atomic():
        return journal.create(Sprayer, farm=farm, by=by, now=now, id=id, **values)


def change_sprayer(*, sprayer: Sprayer, by: Actor, now: dt.datetime, **values: Any) -> Sprayer:
    """Change a sprayer. The caller holds its lock.

    :raises Unprocessable: as `add_sprayer`
    """
    names = ("kind", "tank", "dial_max", "dial_step", "jar", "ratio")
    _complete({**{name: getattr(sprayer, name) for name in names}, **values})
    journal.change(sprayer, by=by, now=now, **values)
    return sprayer


def _complete(values: dict[str, Any]) -> None:
    needed = {"hose_end_dial": ("dial_max", "dial_step", "jar"), "hose_end_ratio": ("ratio", "jar")}
    kind = values["kind"]
    faults = [
        Fault(
            "required",
            _("a sprayer of kind %(kind)s says its %(name)s") % {"kind": spoken(kind), "name": spoken(name)},
            f"/{name}",
        )
        for name in needed.get(kind, ("tank",))
        if values.get(name) is None
    ]
    if faults:
        raise Unprocessable(*faults)


def add_calibration(
    *, sprayer: Sprayer, by: Actor, now: dt.datetime, id: uuid.UUID | None = None, **values: Any
) -> Calibration:
    """Write down a calibration; the sprayer is a new version, since it shows when the next is due.

    :raises Unprocessable: where it would be due before it was done
    """
    _in_order(values["on"], values["due_on"], "/due_on")
    with transaction.atomic():
        made = journal.create(
            Calibration, farm=sprayer.farm, by=by, now=now, id=id, sprayer=sprayer, **values
        )
        journal.touch(_locked(sprayer), now=now)
    return made


def _locked(sprayer: Sprayer) -> Sprayer:
    return (
        Sprayer.objects.select_related("farm")
        .select_for_update(of=("self",), no_key=True)
        .get(key=sprayer.key)
    )


def washed(*, sprayer: Sprayer, at: dt.datetime, now: dt.datetime) -> None:
    """Say that a sprayer was washed: it is empty, unless it was filled after the wash."""
    with transaction.atomic():
        locked = _locked(sprayer)
        filled_since = locked.last_load_at is not None and locked.last_load_at > at
        residue = locked.residue if filled_since else []
        cleaned_at = max(at, locked.cleaned_at or at)
        journal.touch(locked, now=now, residue=residue, cleaned_at=cleaned_at)
    sprayer.residue, sprayer.cleaned_at = residue, cleaned_at


def set_residue(
    *, sprayer: Sprayer, residue: list[str], last_load_at: dt.datetime | None, now: dt.datetime
) -> None:
    """Say what the last load left in a sprayer: nothing, where it was washed after that load was mixed."""
    with transaction.atomic():
        locked = _locked(sprayer)
        last = last_load_at or locked.last_load_at
        washed_since = last is not None and locked.cleaned_at is not None and locked.cleaned_at > last
        residue = [] if washed_since else residue
        journal.touch(locked, now=now, residue=residue, last_load_at=last)
    sprayer.residue, sprayer.last_load_at = residue, last
