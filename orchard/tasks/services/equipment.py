"""Whether a sprayer may be used: calibrated for this nozzle and these people, clean, kept for this."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence

from django.utils.translation import gettext as _

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
        detail = _("no calibration of %(sprayer)s is on file: measure what it gives, then enter it") % {
            "sprayer": sprayer
        }
    elif not in_force:
        latest = max(row.due_on for row in rows)
        detail = _(
            "the calibration of %(sprayer)s is due since %(latest)s, so none holds on %(on)s: calibrate anew"
        ) % {"sprayer": sprayer, "latest": latest, "on": on}
    elif not fitting:
        detail = _(
            "%(sprayer)s was calibrated with nozzle %(before)s on %(on)s, and %(fitted)s is fitted: "
            "calibrate it with that one"
        ) % {
            "sprayer": sprayer,
            "before": in_force[0].nozzle,
            "on": in_force[0].on,
            "fitted": sprayer.nozzle,
        }
    elif not any(_by_one_of(row, handlers, sprayer) for row in fitting):
        detail = _(
            "%(sprayer)s was calibrated by %(operator)s on %(on)s, who is not to spray: what a hand "
            "sprayer gives depends on who walks. Calibrate it with one of this order's people"
        ) % {"sprayer": sprayer, "operator": fitting[0].operator, "on": fitting[0].on}
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
        yield Fault(
            "sprayer_dedicated",
            _("%(sprayer)s is kept for weed killers only") % {"sprayer": sprayer},
            "/sprayer",
            me,
        )
    dirty = weed_killers_in(sprayer.residue, farm=sprayer.farm) if not all(killers) else []
    eaten = left_overnight(sprayer, on=on)
    if dirty:
        detail = _("%(sprayer)s held a weed killer (%(dirty)s): wash it first") % {
            "sprayer": sprayer,
            "dirty": ", ".join(dirty),
        }
    elif any(one.severity is Severity.STOP for one in compatibility.of_residue(request, rulebook.load())):
        held = ", ".join(sprayer.residue)
        detail = _("what %(sprayer)s held last (%(held)s) does not go with this mix: wash it first") % {
            "sprayer": sprayer,
            "held": held,
        }
    elif eaten:
        detail = _(
            "copper was left in %(sprayer)s since %(since)s and eats its parts of %(eaten)s: wash it and "
            "look at valves and seals first"
        ) % {
            "sprayer": sprayer,
            "since": f"{sprayer.last_load_at:%Y-%m-%d}",
            "eaten": ", ".join(eaten),
        }
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
