"""Every limit that one product meets by itself: its label's own, and what publications and regulations say.

What two products do to each other is in `compatibility`.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import localcontext
from typing import NamedTuple

from mixing import scene as scenes
from mixing import uses
from mixing.catalogue import Text
from mixing.findings import Basis, Finding, Missing, Severity
from mixing.limits import bounds, interval, resistance, stage, tank, use, water, weather, yearly
from mixing.limits.lacking import Lacking
from mixing.limits.subject import Subject, past_of, subjects
from mixing.limits.yearly import YearLine
from mixing.quantities import EXACT
from mixing.request import MixRequest
from mixing.rulebook import Rulebook
from mixing.scene import Scene
from mixing.uses import Applying

__all__ = ["Limits", "YearLine", "check", "find", "year"]

OLD_DAYS = 14  # by the contract, an observation older than this is a caution


class Limits(NamedTuple):
    """What is wrong by any limit, what could not be checked, and the lines of the year."""

    findings: list[Finding]
    missing: list[Missing]
    year: list[YearLine]


def find(
    request: MixRequest,
    rulebook: Rulebook,
    *,
    scene: Scene | None = None,
    applying: Sequence[Applying] | None = None,
) -> Limits:
    """Return all that limits say of a request; call it in `EXACT`.

    :param scene, applying: its circumstances, and the rows of its labels that apply, where they have been
        worked out already
    """
    scene = scene or scenes.of(request, rulebook)
    lacking, members = Lacking(), subjects(request, rulebook, scene, applying or uses.of_products(request))
    past = past_of(request.history, scene.today)
    before = resistance.sprays(past.sprays)
    found: list[Finding] = []
    for subject in members:
        found += use.check(subject, request, lacking)
        if subject.bounds:
            found += bounds.check(subject.bounds, subject.product, request, scene, lacking)
        rows = subject.rows
        if subject.counts or past.asking:
            found += interval.by_label(subject, past, request, scene, lacking)
        if rows.in_sequence and past.sprays:
            found += interval.published(subject, past, request, scene, rulebook)
        if rows.stages:
            found += stage.check(subject, request, scene, rulebook)
        if rows.resistance and before:
            found += resistance.published(subject, before, rulebook)
    found += weather.published(members, request, scene, rulebook)
    found += water.published(members, request, scene, rulebook)
    found += tank.published(members, request, scene, rulebook)
    counted = yearly.counts(members, past, request, scene, rulebook)
    found += yearly.check(counted, rulebook, lacking)
    found += _observation(request, scene)
    _note_unknown(members, request, rulebook, lacking)
    return Limits(found, lacking.missing(), yearly.lines(counted, rulebook))


def check(request: MixRequest, rulebook: Rulebook) -> tuple[list[Finding], list[Missing]]:
    """Return what is wrong by any limit, and what could not be checked."""
    with localcontext(EXACT):
        found = find(request, rulebook)
    return found.findings, found.missing


def year(request: MixRequest, rulebook: Rulebook) -> list[YearLine]:
    """Return the lines of the year: what was used per area, what it would be after, and the maximum.

    Empty without `at` or without history, for then nothing can be counted.
    """
    with localcontext(EXACT):
        return find(request, rulebook).year


def _observation(request: MixRequest, scene: Scene) -> list[Finding]:
    """A stage seen too long ago may have passed."""
    seen = request.stage.observed_on if request.stage else None
    if seen is None or scene.today is None:
        return []
    days = (scene.today - seen).days
    if days <= OLD_DAYS:
        return []
    parameters = {"value": str(days), "limit": str(OLD_DAYS), "on": seen.isoformat()}
    return [Finding("label.observation-old", Severity.CAUTION, Basis.PRACTICE, (), parameters)]


def _note_unknown(
    members: tuple[Subject, ...], request: MixRequest, rulebook: Rulebook, lacking: Lacking
) -> None:
    for subject in members:
        if subject.label.active_ingredients is None and subject.label.adjuvant is None:
            lacking.field(f"label.active_ingredients:{subject.product.id}")
    if request.region is not None and not rulebook.limits_of_region(request.region):
        lacking.field("region", Text("missing.region_without_rules", {"region": request.region}))
