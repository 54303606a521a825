"""How long labels keep people out of a block and its harvest waiting, from the real end of an application."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal
from typing import Any

from mixing import uses
from mixing.faults import TOP
from mixing.label_reading import read_label
from mixing.labels import Label
from mixing.quantities import Quantity, parse_quantity
from mixing.reading import Reader
from mixing.request import MixRequest, Sprayer, SprayerKind, Stage
from orchard.farms.models import Farm

DAY = Decimal(86400)


@dataclass(frozen=True, slots=True)
class Interval:
    """What one label says for this crop, target and stage; None where it says nothing."""

    re_entry: Quantity | None
    pre_harvest: Quantity | None
    adjuvant: bool


def of_label(
    raw: Mapping[str, Any], *, crop: str, targets: Sequence[str] = (), bbch: int | None = None
) -> Interval:
    """Return the intervals of a label: of the rows that apply, the longest.

    Where none of those says one, the longest of any row holds: what was sprayed at a stage or on a crop
    where it should not have been does not let people in any sooner.
    """
    label = read_label(dict(raw), TOP, Reader())
    if label is None:
        return Interval(None, None, False)
    asking = _asking(crop, targets, bbch)
    return Interval(
        re_entry=_longest(label, "re_entry", asking),
        pre_harvest=_longest(label, "pre_harvest", asking),
        adjuvant=label.adjuvant is not None,
    )


def _longest(label: Label, name: str, asking: MixRequest) -> Quantity | None:
    for rows in (uses.applying(label, asking).rows, label.uses or ()):
        given = [getattr(row, name) for row in rows if getattr(row, name) is not None]
        if given:
            return max(given, key=Quantity.in_base)
    return None


def _asking(crop: str, targets: Sequence[str], bbch: int | None) -> MixRequest:
    """Return a request that says no more than where the rows are asked about."""
    nothing = Sprayer(SprayerKind.BACKPACK, None, (), (), None, None, None, None)
    return MixRequest(
        crop=crop,
        stage=None if bbch is None else Stage(bbch, None),
        region=None,
        targets=tuple(targets),
        season=None,
        at=None,
        sprayer=nothing,
        water=None,
        spray=None,
        weather=None,
        products=(),
        history=None,
        measures=None,
    )


def re_entry_until(found: Sequence[Interval], *, farm: Farm, finished_at: dt.datetime) -> dt.datetime | None:
    """Return when people may enter again; None where neither a label nor the farm says anything.

    Elapsed time, in UTC: across a clock change the hours on the wall are not the hours that passed.
    """
    minimum = (farm.limits or {}).get("re_entry_minimum")
    waits = [one.re_entry for one in found if one.re_entry is not None]
    waits += [parse_quantity(minimum)] if minimum else []
    if not waits:
        return None
    longest = max(wait.in_base() for wait in waits)
    return finished_at.astimezone(dt.UTC) + dt.timedelta(microseconds=int(longest * 1_000_000))


def harvest_not_before(found: Sequence[Interval], *, farm: Farm, finished_at: dt.datetime) -> dt.date | None:
    """Return the first day of harvest: the day of the end is day 0, picking is allowed on day 0 + N."""
    waits = [one.pre_harvest for one in found if one.pre_harvest is not None]
    if not waits:
        return None
    days = int((max(wait.in_base() for wait in waits) / DAY).to_integral_value(rounding=ROUND_CEILING))
    return finished_at.astimezone(zoneinfo.ZoneInfo(farm.zone)).date() + dt.timedelta(days=days)
