"""What the counts of a block say of a treatment: before it, after it, and in untreated trees."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from orchard.blocks.efficacy import OF_UNITS, Efficacy, Pool, efficacy, pool
from orchard.blocks.models import ScoutingCount


@dataclass(frozen=True, slots=True)
class Result:
    """One target of one block around a treatment.

    :ivar found: None where it cannot be told; `says` gives the reason
    """

    target: str
    method: str
    before: Pool | None
    after: Pool | None
    check_before: Pool | None
    check_after: Pool | None
    looked_on: dt.date | None
    found: Efficacy | None
    says: str


def results(
    counts: Iterable[ScoutingCount],
    *,
    treated_at: dt.datetime,
    until: dt.datetime | None = None,
    zone: zoneinfo.ZoneInfo,
) -> list[Result]:
    """Return what came of a treatment, one row for each target and method that was counted after it.

    Counts of the last day before it, and of the last day after it, are taken together.

    :param until: when the next treatment against the same target began
    """
    rows = [one for one in counts if until is None or one.observed_at <= until]
    kinds = sorted({(one.target, one.method) for one in rows})
    made = []
    for target, method in kinds:
        mine = [one for one in rows if (one.target, one.method) == (target, method)]
        earlier = [one for one in mine if one.observed_at <= treated_at]
        later = [one for one in mine if one.observed_at > treated_at]
        made.append(_result(target, method, _last_day(earlier, zone), _last_day(later, zone), zone))
    return made


def _last_day(rows: Sequence[ScoutingCount], zone: zoneinfo.ZoneInfo) -> list[ScoutingCount]:
    days = [one.observed_at.astimezone(zone).date() for one in rows]
    return [one for one, day in zip(rows, days, strict=True) if day == max(days)]


def _result(
    target: str,
    method: str,
    before: Sequence[ScoutingCount],
    after: Sequence[ScoutingCount],
    zone: zoneinfo.ZoneInfo,
) -> Result:
    pools = [
        pool(one for one in rows if one.untreated is untreated)
        for untreated in (False, True)
        for rows in (before, after)
    ]
    treated_before, treated_after, check_before, check_after = pools
    found = None
    if treated_after is not None and check_after is not None:
        found = efficacy(
            before=treated_before,
            after=treated_after,
            check_before=check_before,
            check_after=check_after,
            of_units=method in OF_UNITS,
        )
    looked_on = max((one.observed_at.astimezone(zone).date() for one in after), default=None)
    says = _says(target, found, treated_after, check_after)
    return Result(
        target, method, treated_before, treated_after, check_before, check_after, looked_on, found, says
    )


def _says(target: str, found: Efficacy | None, after: Pool | None, check: Pool | None) -> str:
    if after is None:
        says = _("nobody counted %(target)s in treated trees afterwards: what came of it is not known")
        return says % {"target": target}
    if check is None:
        says = _("no untreated trees were counted: %(count)s of %(size)s tell nothing by themselves")
        return says % {"count": after.count, "size": after.size}
    if found is None:
        says = _("the untreated trees had no %(target)s either, so nothing can be told of the spray")
        return says % {"target": target}
    less = _("%(percent)s %% less %(target)s than in untreated trees (%(low)s to %(high)s, 95 in 100)") % {
        "percent": found.percent,
        "target": target,
        "low": found.low,
        "high": found.high,
    }
    if found.low <= 0:
        return _("%(less)s: so few were counted that it may be chance") % {"less": less}
    return less
