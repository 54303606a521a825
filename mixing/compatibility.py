"""What two products do to each other in one tank, and what a residue in the sprayer does to a product.

For each pair: a label that forbids it stops it; a label that allows it settles it; else the published rows
speak, the strictest of those about the same thing; a pair that none speaks of is untested, never fine.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import combinations

from mixing import chemistry
from mixing import scene as scenes
from mixing.chemistry import Facts
from mixing.findings import Basis, Finding, Severity
from mixing.labels import Label, LabelMixing
from mixing.limits.speaking import spoken
from mixing.request import MixRequest
from mixing.rulebook import Rule, Rulebook, strictest
from mixing.scene import Scene, in_place, in_weather


@dataclass(frozen=True, slots=True, eq=False)
class Partner:
    """One of a pair: a product of the tank, or what the last load left behind (then without label or id)."""

    name: str
    facts: Facts
    id: str | None = None
    label: Label | None = None


def check(request: MixRequest, rulebook: Rulebook, *, scene: Scene | None = None) -> list[Finding]:
    """Return what the products of a tank do to each other, and the residue to each of them.

    :param scene: the circumstances, where they have been worked out already
    """
    scene = scene or scenes.of(request, rulebook)
    found: list[Finding] = []
    for one, other in combinations(_partners(request), 2):
        found += _pair(one, other, request.crop, scene, rulebook)
    if request.sprayer.residue:
        of_last_load = of_residue(request, rulebook, scene=scene)
        found.extend(_milder(one) for one in of_last_load if one.severity is not Severity.NOTE)
    found.extend(_required_adjuvants(request))
    return found


def of_residue(request: MixRequest, rulebook: Rulebook, *, scene: Scene | None = None) -> list[Finding]:
    """Return what the residue in the sprayer would do to the products if it were a partner in the tank."""
    scene = scene or scenes.of(request, rulebook)
    return [
        finding
        for residue in map(_residue, request.sprayer.residue)
        for partner in _partners(request)
        if not residue.facts.groups <= partner.facts.groups  # more of the same is no partner
        for finding in _pair(residue, partner, request.crop, scene, rulebook)
    ]


def _partners(request: MixRequest) -> list[Partner]:
    return [
        Partner(one.label.name, chemistry.facts(one.label), one.id, one.label) for one in request.products
    ]


def _residue(name: str) -> Partner:
    return Partner(name, chemistry.facts_of_residue(name))


def _milder(finding: Finding) -> Finding:
    return Finding(
        finding.id,
        finding.severity.milder(),
        finding.basis,
        finding.products,
        finding.parameters,
        finding.source_key,
    )


def _pair(one: Partner, other: Partner, crop: str, scene: Scene, rulebook: Rulebook) -> list[Finding]:
    settled = _by_label(one, other)
    if settled:
        return settled
    rows = rulebook.of_pair(one.facts, other.facts, crop)
    speaking, settles = list(rows.settled), rows.settles
    if rows.rules:
        hold = [(r, bits) for r, bits in rows.rules if in_place(r, scene) and in_weather(r, scene)]
        speaking += strictest([(rule, rule.severity) for rule, _ in hold])
        for _, bits in hold:
            settles |= bits
    found = [_spoken(rule, severity, rivals, one, other, rulebook) for rule, severity, rivals in speaking]
    if settles != rows.every or not rows.every:
        found.append(_finding("pair.untested", Severity.CAUTION, Basis.UNTESTED, one, other))
    return found


def _by_label(one: Partner, other: Partner) -> list[Finding]:
    """What the labels say: all that forbids the pair, or what allows it, or nothing."""
    mine = one.label.mixing if one.label else None
    theirs = other.label.mixing if other.label else None
    if mine is None and theirs is None:
        return []
    forbidden = [*_forbidden(one, other, mine), *_forbidden(other, one, theirs)]
    if forbidden:
        return forbidden
    for partner, mixing, named in ((one, mine, other), (other, theirs, one)):
        if mixing is not None and _named(mixing.may_mix_with, named):
            return [_finding("label.may-mix", Severity.NOTE, Basis.LABEL, partner, named)]
    return []


def _finding(
    finding_id: str, severity: Severity, basis: Basis, one: Partner, other: Partner, **more: str
) -> Finding:
    return Finding(
        finding_id, severity, basis, _ids(one, other), {"first": one.name, "second": other.name, **more}
    )


def _ids(one: Partner, other: Partner) -> tuple[str, ...]:
    return tuple(partner.id for partner in (one, other) if partner.id is not None)


def _forbidden(one: Partner, other: Partner, mixing: LabelMixing | None) -> Iterator[Finding]:
    """What the label of one says against the other."""
    if mixing is None:
        return
    if _named(mixing.do_not_mix_with, other):
        yield _finding("label.do-not-mix", Severity.STOP, Basis.LABEL, one, other)
    apart = [row.what for row in mixing.intervals if row.interval.value > 0]
    if apart and _named(apart, other) and not _named(mixing.may_mix_with, other):
        yield _finding("label.interval-in-tank", Severity.STOP, Basis.LABEL, one, other)
    kind = other.label.adjuvant if other.label else None
    if kind is None:
        return
    if kind in mixing.adjuvants_forbidden:
        yield _finding("label.adjuvant-forbidden", Severity.STOP, Basis.LABEL, one, other, kind=kind)
        return
    allowed = mixing.adjuvants_allowed
    if allowed is not None and kind not in allowed and kind not in mixing.adjuvants_required:
        yield _finding("label.adjuvant-not-allowed", Severity.STOP, Basis.LABEL, one, other, kind=kind)


def _named(whats: Iterable[str], other: Partner) -> bool:
    return any(what.casefold() in other.facts.groups for what in whats)


def _required_adjuvants(request: MixRequest) -> Iterator[Finding]:
    kinds = {product.label.adjuvant for product in request.products}
    for product in request.products:
        mixing = product.label.mixing
        for kind in mixing.adjuvants_required if mixing is not None else ():
            if kind not in kinds:
                parameters = {"product": product.label.name, "kind": kind}
                yield Finding(
                    "label.adjuvant-required", Severity.STOP, Basis.LABEL, (product.id,), parameters
                )


def _spoken(
    rule: Rule,
    severity: Severity,
    rivals: tuple[Rule, ...],
    one: Partner,
    other: Partner,
    rulebook: Rulebook,
) -> Finding:
    return spoken(
        rulebook,
        rule,
        severity,
        rivals,
        products=_ids(one, other),
        parameters={"first": one.name, "second": other.name},
    )
