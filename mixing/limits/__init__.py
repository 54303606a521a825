"""Every limit that one product meets by itself: its label's own, and what publications and regulations say.

What two products do to each other is in `compatibility`.
"""

from __future__ import annotations

from mixing import scene as scenes
from mixing import uses
from mixing.catalogue import Text
from mixing.findings import Basis, Finding, Missing, Severity
from mixing.limits import interval, resistance, stage, tank, use, water, weather, yearly
from mixing.limits.lacking import Lacking
from mixing.limits.yearly import YearLine
from mixing.request import MixRequest
from mixing.rulebook import Rulebook

__all__ = ["YearLine", "check", "year"]


def check(request: MixRequest, rulebook: Rulebook) -> tuple[list[Finding], list[Missing]]:
    """Return what is wrong by any limit, and what could not be checked, in the order of the request."""
    scene, lacking = scenes.of(request, rulebook), Lacking()
    applied = tuple((product, uses.applying(product.label, request)) for product in request.products)
    found: list[Finding] = []
    for product, applying in applied:
        found += use.check(product, applying, request, lacking)
        found += weather.by_label(product, applying, request, lacking)
        found += water.by_label(product, scene, lacking)
        found += interval.by_label(product, applying, request, scene, lacking)
        found += interval.published(product, request, scene, rulebook)
        found += stage.check(product, applying, request, scene, rulebook)
        found += resistance.published(product, request, scene, rulebook)
    found += weather.published(applied, request, scene, rulebook)
    found += water.published(applied, request, scene, rulebook)
    found += tank.published(request, rulebook)
    found += yearly.check(applied, request, scene, rulebook, lacking)
    found += _observation(request)
    lacking.absent(request)
    if request.region is not None and not rulebook.limits_of_region(request.region):
        lacking.field("region", Text("missing.region_without_rules", {"region": str(request.region)}))
    return found, lacking.missing()


def _observation(request: MixRequest) -> list[Finding]:
    """A stage seen too long ago may have passed."""
    seen = request.stage.observed_on if request.stage else None
    if seen is None or request.at is None:
        return []
    days = (request.at.date() - seen).days
    if days <= use.OLD_DAYS:
        return []
    parameters = {"value": str(days), "limit": str(use.OLD_DAYS), "on": seen.isoformat()}
    return [Finding("label.observation-old", Severity.CAUTION, Basis.PRACTICE, (), parameters)]


def year(request: MixRequest, rulebook: Rulebook) -> list[YearLine]:
    """Return the lines of the year: what was used per area, what it would be after, and the maximum.

    Empty without `at` or without history, for then nothing can be counted.
    """
    if request.at is None or request.history is None:
        return []
    scene = scenes.of(request, rulebook)
    applied = tuple((product, uses.applying(product.label, request)) for product in request.products)
    return yearly.lines(applied, request, scene, rulebook)
