"""What to change next year, from what the season shows. Advice from counts and dates, never a dose."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from mixing.quantities import plain
from orchard.api.spoken import named
from orchard.blocks.results import Result
from orchard.tasks import titles
from orchard.tasks.review.sums import MetalSum
from orchard.tasks.review.windows import LineDone, Spray
from orchard.tasks.told import said_of

MUCH = Decimal("0.8")
"""Share of a yearly limit from which the review speaks of it (common practice, no source)."""
WEAK = Decimal(70)
"""A result whose interval stays below this percentage is called weak (common practice, no source)."""
DISEASE_IS_NORMAL = gettext_lazy(
    "Some disease after a good season is normal: a programme holds it down, it does not end it. Judge a"
    " spray by the difference from untreated trees, over more than one year, and not by the last leaf that is"
    " ill."
)


@dataclass(frozen=True, slots=True)
class Change:
    """One thing to change.

    :ivar code: `missed_window`, `outside_window`, `metal_near_limit`, `weak_result`, `cannot_tell`,
        `not_counted`, `limit_passed`, `keep`
    """

    code: str
    says: str


def changes(
    *,
    lines: Sequence[LineDone],
    sprays: Sequence[Spray],
    metals: Iterable[MetalSum],
    found: Sequence[Result],
) -> list[Change]:
    """Return what to change, most pressing first; `keep` where nothing stands out."""
    all_of = [
        *_limits(sprays),
        *_windows(lines),
        *_metals(metals),
        *_results(found),
        *_not_counted(sprays, found),
    ]
    if all_of:
        return all_of
    if not lines and not sprays:
        return []
    return [
        Change("keep", _("nothing stands out: keep the plan, and keep a few trees untreated to compare with"))
    ]


def _limits(sprays: Sequence[Spray]) -> Iterator[Change]:
    for one in sprays:
        for flag in one.record.flags:
            if flag["code"] in ("rate_exceeded", "limit_passed"):
                on = one.record.finished_at.date()
                says = _("on %(on)s: %(flag)s; find out how before the next spray") % {
                    "on": on,
                    "flag": said_of(flag),
                }
                yield Change("limit_passed", says)


def _windows(lines: Sequence[LineDone]) -> Iterator[Change]:
    for one in lines:
        title = titles.said(one.line["title"])
        if one.state == "missed":
            says = _("%(what)s: %(why)s. Look at the buds more often, and plan it for the first open day") % {
                "what": title,
                "why": one.says,
            }
            yield Change("missed_window", says)
        elif one.state == "done_outside":
            says = _("%(what)s: %(why)s. Begin earlier") % {"what": title, "why": one.says}
            yield Change("outside_window", says)


def _metals(sums: Iterable[MetalSum]) -> Iterator[Change]:
    for one in sums:
        share = one.share_of_limit
        if share is not None and one.per_area is not None and share >= MUCH:
            percent = plain((share * 100).quantize(Decimal(1)))
            says = _(
                "%(metal)s: %(amount)s %(unit)s is %(percent)s %% of what the label allows in a year, and it"
                " stays in the soil: plan an alternative without it"
            ) % {
                "metal": named(one.of),
                "amount": plain(one.per_area.value, 2),
                "unit": one.per_area.unit,
                "percent": percent,
            }
            yield Change("metal_near_limit", says)


def _results(found: Sequence[Result]) -> Iterator[Change]:
    for one in found:
        if one.found is None:
            if one.after is not None:
                says = _("%(what)s: %(why)s. Leave a few trees untreated, and count both")
                yield Change("cannot_tell", says % {"what": named(one.target), "why": one.says})
        elif one.found.high < WEAK:
            says = _("%(what)s: %(why)s. See to the stage, the coverage and the rain that followed")
            yield Change("weak_result", says % {"what": named(one.target), "why": one.says})
        elif one.found.low <= 0:
            says = _("%(what)s: %(why)s. Count more next time")
            yield Change("cannot_tell", says % {"what": named(one.target), "why": one.says})


def _not_counted(sprays: Sequence[Spray], found: Sequence[Result]) -> Iterator[Change]:
    counted = {one.target for one in found if one.after is not None}
    targets = {target for one in sprays for target in one.record.body.get("targets") or []}
    for target in sorted(targets - counted):
        says = _(
            "%(what)s: sprayed against and never counted afterwards. Look, in treated and untreated trees"
        ) % {"what": named(target)}
        yield Change("not_counted", says)
