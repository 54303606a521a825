"""Did it help? Counts before and after, in treated and untreated trees, as a percentage with an interval.

Henderson-Tilton where both were counted before, else Abbott. The interval is that of the logarithm of the
ratio: a count x of n looked at has the variance 1/x - 1/n there where each is healthy or not, and 1/x where
animals are counted (Poisson); the variances add up. Where a count is nothing, a half is added to each count
for the interval, never for the percentage.

Sources: Obtaining confidence intervals for the risk ratio in cohort studies, D. Katz, J. Baptista,
S. P. Azen, M. C. Pike, Biometrics 34:469-474, 1978, for two shares; carrying its delta method over to four
counts, and to Poisson counts, is ours. The added half: The distribution of Levin's measure of attributable
risk, S. D. Walter, Biometrika 62:371-374, 1975. Titles and pages from memory.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Context, Decimal
from math import lcm
from typing import Any

from mixing.calculations import calculate

NORMAL = Decimal("1.959964")
"""What a normal value stays within, either side, 95 times in a hundred."""
OF_UNITS = ("visual", "shoot_strikes")
"""Methods that look at units, each healthy or not; traps and trays count animals."""
EXACTLY = Context(prec=30)
PLACES = Decimal("0.01")
HALF = Decimal("0.5")


@dataclass(frozen=True, slots=True)
class Pool:
    """What was found in the trees of one kind at one time.

    :ivar count: diseased units, or animals
    :ivar size: units, traps or trays looked at
    :ivar classes: how many are in each class of a scale, by rating; empty where nobody rated
    """

    count: int
    size: int
    classes: Mapping[int, int]


@dataclass(frozen=True, slots=True)
class Efficacy:
    """What a treatment did.

    :ivar method: `abbott` or `henderson_tilton`
    :ivar percent: fewer than without it; below 0 where there were more
    :ivar low: lower end of the 95 % interval, with `high`
    :ivar severity: severity index of treated and untreated trees afterwards [percent], None where not rated
    """

    method: str
    percent: Decimal
    low: Decimal
    high: Decimal
    severity: tuple[Decimal, Decimal] | None


def pool(counts: Iterable[Any]) -> Pool | None:
    """Return counts of one time and kind of tree together; None for no count at all."""
    rows = list(counts)
    if not rows:
        return None
    classes: dict[int, int] = {}
    for row in rows:
        for one in row.classes or []:
            classes[one["rating"]] = classes.get(one["rating"], 0) + one["count"]
    return Pool(sum(row.count for row in rows), sum(row.sample_size for row in rows), classes)


def efficacy(
    *,
    after: Pool,
    check_after: Pool,
    before: Pool | None = None,
    check_before: Pool | None = None,
    of_units: bool,
) -> Efficacy | None:
    """Return what a treatment did; None where the untreated trees had nothing to compare with.

    :param of_units: True where units were looked at, each healthy or not; False where animals were counted
    """
    both_before = before is not None and check_before is not None and before.count > 0
    if check_after.count == 0:
        return None
    if both_before:
        assert before is not None and check_before is not None
        pools = [before, after, check_before, check_after]
    else:
        pools = [after, check_after]
    scaled = _scaled(pools)
    names = ("treated_before", "treated_after", "check_before", "check_after") if both_before else ABBOTT
    method = "henderson_tilton" if both_before else "abbott"
    found = calculate("efficacy", {"method": method, **dict(zip(names, scaled, strict=True))})
    low, high = _interval(pools, of_units=of_units)
    return Efficacy(
        method, rounded(Decimal(str(found["percent"]))), low, high, _severities(after, check_after)
    )


ABBOTT = ("treated_after", "check_after")


def _scaled(pools: Sequence[Pool]) -> list[int]:
    """Return the counts as if the same number had been looked at each time, whole."""
    common = lcm(*(one.size for one in pools))
    return [one.count * (common // one.size) for one in pools]


def _interval(pools: Sequence[Pool], *, of_units: bool) -> tuple[Decimal, Decimal]:
    """Return the ends of the efficacy [percent] by the logarithm of the ratio of what is left.

    The ratio is after / check after, or that times check before / before; the order of the pools says it.
    """
    nothing = any(one.count == 0 for one in pools)
    more = HALF if nothing else Decimal(0)
    counts = [Decimal(one.count) + more for one in pools]
    sizes = [Decimal(one.size) + (more if of_units else 0) for one in pools]
    shares = [EXACTLY.divide(count, size) for count, size in zip(counts, sizes, strict=True)]
    logs = [EXACTLY.ln(share) for share in shares]
    ratio = logs[1] - logs[0] + logs[2] - logs[3] if len(logs) == 4 else logs[0] - logs[1]
    variance = sum(
        (
            EXACTLY.divide(Decimal(1), count)
            - (EXACTLY.divide(Decimal(1), size) if of_units and size >= count else 0)
            for count, size in zip(counts, sizes, strict=True)
        ),
        Decimal(0),
    )
    reach = NORMAL * EXACTLY.sqrt(max(variance, Decimal(0)))
    ends = (100 * (1 - EXACTLY.exp(ratio + reach)), 100 * (1 - EXACTLY.exp(ratio - reach)))
    return rounded(ends[0]), rounded(ends[1])


def severity(classes: Mapping[int, int], *, worst: int) -> Decimal | None:
    """Return the severity index [percent] on a scale that ends at `worst`; None where nobody rated."""
    if not classes or worst < 1:
        return None
    rows = [{"rating": rating, "count": count} for rating, count in sorted(classes.items())]
    if worst not in classes:
        rows.append({"rating": worst, "count": 0})
    return rounded(Decimal(str(calculate("severity_index", {"classes": rows})["percent"])))


def _severities(after: Pool, check_after: Pool) -> tuple[Decimal, Decimal] | None:
    worst = max([*after.classes, *check_after.classes], default=0)
    treated, check = severity(after.classes, worst=worst), severity(check_after.classes, worst=worst)
    return None if treated is None or check is None else (treated, check)


def rounded(percent: Decimal) -> Decimal:
    """Return a percentage to two places."""
    return percent.quantize(PLACES, rounding=ROUND_HALF_EVEN)
