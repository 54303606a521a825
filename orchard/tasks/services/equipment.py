"""Whether a sprayer may be used: calibrated for this nozzle and these people, clean, kept for this."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence

import mixing
from mixing import chemistry, cleaning, compatibility, rulebook
from mixing.findings import Severity
from orchard.api.refusals import Fault
from orchard.api.remembered import remembered
from orchard.crews import queries as crews
from orchard.crews.models import Calibration, Sprayer, Worker
from orchard.farms.models import Farm
from orchard.inventory.models import LabelVersion
from orchard.tasks.models import MixCheck, WorkOrder
from orchard.tasks.services import checking

WEED_KILLER = "herbicide"
BY_HAND = ("hand_pump", "backpack", "handgun", "hose_end_dial", "hose_end_ratio")
"""Sprayers of which the one who walks with them is a part: what they give depends on the person."""


def faults(order: WorkOrder, *, check: MixCheck, handlers: Sequence[Worker], on: dt.date) -> Iterator[Fault]:
    """Yield what is wrong with the sprayer of a spray on a day."""
    assert order.sprayer is not None
    yield from calibrated(order.sprayer, handlers=handlers, on=on)
    yield from clean(order.sprayer, check=check, on=on)


def calibrated(sprayer: Sprayer, *, handlers: Sequence[Worker], on: dt.date) -> Iterator[Fault]:
    """Yield why no calibration of a sprayer holds: none, past its day, another nozzle, another person."""
    rows = calibrations(sprayer=sprayer, on=on)
    in_force = [row for row in rows if row.due_on >= on]
    fitting = [row for row in in_force if _same_nozzle(row, sprayer)]
    if not rows:
        detail = f"no calibration of {sprayer} is on file: measure what it gives, then enter it"
    elif not in_force:
        latest = max(row.due_on for row in rows)
        detail = f"the calibration of {sprayer} is due since {latest}, so none holds on {on}: calibrate anew"
    elif not fitting:
        detail = (
            f"{sprayer} was calibrated with nozzle {in_force[0].nozzle} on {in_force[0].on}, and "
            f"{sprayer.nozzle} is fitted: calibrate it with that one"
        )
    elif not any(_by_one_of(row, handlers, sprayer) for row in fitting):
        detail = (
            f"{sprayer} was calibrated by {fitting[0].operator} on {fitting[0].on}, who is not to spray: "
            "what a hand sprayer gives depends on who walks. Calibrate it with one of this order's people"
        )
    else:
        return
    yield Fault("sprayer_not_calibrated", detail, "/sprayer", ("sprayer", str(sprayer.id)))


@remembered
def calibrations(*, sprayer: Sprayer, on: dt.date) -> list[Calibration]:
    """Return what a sprayer gave when it was measured up to a day, latest first."""
    rows = crews.calibrations(sprayer=sprayer).filter(on__lte=on)
    return list(rows.order_by("-on", "-created_at", "-id"))


def _same_nozzle(row: Calibration, sprayer: Sprayer) -> bool:
    return row.nozzle is None or sprayer.nozzle is None or row.nozzle == sprayer.nozzle


def _by_one_of(row: Calibration, handlers: Sequence[Worker], sprayer: Sprayer) -> bool:
    return row.operator is None or sprayer.kind not in BY_HAND or not handlers or row.operator in handlers


def clean(sprayer: Sprayer, *, check: MixCheck, on: dt.date) -> Iterator[Fault]:
    """Yield what a sprayer held that does not go with a mix, and what it is kept for."""
    me = ("sprayer", str(sprayer.id))
    request = mixing.read_request(check.request)
    killers = [WEED_KILLER in chemistry.groups(product.label) for product in request.products]
    if sprayer.dedicated_to == WEED_KILLER and not all(killers):
        yield Fault("sprayer_dedicated", f"{sprayer} is kept for weed killers only", "/sprayer", me)
    dirty = weed_killers_in(sprayer.residue, farm=sprayer.farm) if not all(killers) else []
    eaten = left_overnight(sprayer, on=on)
    if dirty:
        detail = f"{sprayer} held a weed killer ({', '.join(dirty)}): wash it first"
    elif any(one.severity is Severity.STOP for one in compatibility.of_residue(request, rulebook.load())):
        held = ", ".join(sprayer.residue)
        detail = f"what {sprayer} held last ({held}) does not go with this mix: wash it first"
    elif eaten:
        detail = (
            f"copper was left in {sprayer} since {sprayer.last_load_at:%Y-%m-%d} and eats its parts of "
            f"{', '.join(eaten)}: wash it and look at valves and seals first"
        )
    else:
        return
    yield Fault("sprayer_not_clean", detail, "/sprayer", me)


def left_overnight(sprayer: Sprayer, *, on: dt.date) -> list[str]:
    """Return which parts copper eats that was left in a sprayer since a day before."""
    if sprayer.last_load_at is None or checking.local_day(sprayer.farm, sprayer.last_load_at) >= on:
        return []
    return copper_against(sprayer)


def copper_against(sprayer: Sprayer) -> list[str]:
    """Return which parts of a sprayer the copper in it eats; empty where it holds none."""
    if not any("copper" in chemistry.groups_of(one) for one in sprayer.residue):
        return []
    return cleaning.attacked_by_copper({one.casefold() for one in sprayer.materials})


def weed_killers_in(residue: Iterable[str], *, farm: Farm) -> list[str]:
    """Return which ingredients kill weeds: by any label of the farm, or by the tables of the engine."""
    residue = list(residue)
    if not residue:
        return []
    named = _named_as_weed_killers(farm=farm)
    return [one for one in residue if one.casefold() in named or WEED_KILLER in chemistry.groups_of(one)]


@remembered
def _named_as_weed_killers(*, farm: Farm) -> set[str]:
    labels = LabelVersion.objects.for_farm(farm).filter(label__function__contains=[WEED_KILLER])
    return {
        ingredient["name"].casefold()
        for version in labels
        for ingredient in version.label.get("active_ingredients") or []
    }
