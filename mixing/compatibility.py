"""What two products do to each other in one tank, and what a residue in the sprayer does to a product.

For each pair: a label that forbids it stops it; a label that allows it settles it; else the published rows
speak, the strictest of those about the same thing; a pair that none speaks of is untested, never fine.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

from mixing import chemistry
from mixing import scene as scenes
from mixing.findings import Basis, Finding, Severity
from mixing.labels import Label
from mixing.limits.speaking import spoken
from mixing.request import MixRequest, Product
from mixing.rulebook import Rule, Rulebook, strictest
from mixing.scene import Scene, in_place, in_weather


@dataclass(frozen=True, slots=True)
class Partner:
    """One of a pair: a product of the tank, or what the last load left behind (then without label or id)."""

    name: str
    groups: frozenset[str]
    parts: tuple[frozenset[str], ...]
    id: str | None = None
    label: Label | None = None


def check(request: MixRequest, rulebook: Rulebook) -> list[Finding]:
    """Return what the products of a tank do to each other, and the residue to each of them."""
    scene = scenes.of(request, rulebook)
    partners = [_partner(product) for product in request.products]
    found: list[Finding] = []
    for one, other in combinations(partners, 2):
        found.extend(_pair(one, other, request, scene, rulebook))
    found.extend(map(_milder, of_residue(request, rulebook)))
    found.extend(_required_adjuvants(request))
    return found


def of_residue(request: MixRequest, rulebook: Rulebook) -> list[Finding]:
    """Return what the residue in the sprayer would do to the products if it were a partner in the tank."""
    scene = scenes.of(request, rulebook)
    return [
        finding
        for residue in map(_residue, request.sprayer.residue)
        for partner in map(_partner, request.products)
        if not residue.groups <= partner.groups  # more of the same is no partner
        for finding in _pair(residue, partner, request, scene, rulebook)
    ]


def _partner(product: Product) -> Partner:
    facts = chemistry.facts(product.label)
    return Partner(product.label.name, facts.groups, facts.parts, product.id, product.label)


@lru_cache(maxsize=256)
def _residue(name: str) -> Partner:
    groups = chemistry.groups_of(name)
    return Partner(name, groups, (groups,))


def _milder(finding: Finding) -> Finding:
    return Finding(
        finding.id,
        finding.severity.milder(),
        finding.basis,
        finding.products,
        finding.parameters,
        finding.source_key,
    )


def _pair(
    one: Partner, other: Partner, request: MixRequest, scene: Scene, rulebook: Rulebook
) -> list[Finding]:
    forbidden = [*_forbidden(one, other), *_forbidden(other, one)]
    if forbidden:
        return forbidden
    allowed = _allowing(one, other) or _allowing(other, one)
    if allowed is not None:
        return [allowed]
    by_formulation = list(_formulations(one, other, rulebook))
    speaking = _speaking(one, other, request, scene, rulebook)
    found = by_formulation + [
        _spoken(rule, severity, rivals, one, other, rulebook)
        for rule, severity, rivals in strictest((rule, rule.severity) for rule, _ in speaking)
    ]
    if not _covered(one, other, speaking):
        found.append(_finding("pair.untested", Severity.CAUTION, Basis.UNTESTED, one, other))
    return found


def _finding(
    finding_id: str, severity: Severity, basis: Basis, one: Partner, other: Partner, **more: str
) -> Finding:
    return Finding(
        finding_id, severity, basis, _ids(one, other), {"first": one.name, "second": other.name, **more}
    )


def _ids(one: Partner, other: Partner) -> tuple[str, ...]:
    return tuple(partner.id for partner in (one, other) if partner.id is not None)


def _forbidden(one: Partner, other: Partner) -> Iterator[Finding]:
    """What the label of one says against the other."""
    mixing = one.label.mixing if one.label else None
    if mixing is None:
        return
    if _named(mixing.do_not_mix_with, other):
        yield _finding("label.do-not-mix", Severity.STOP, Basis.LABEL, one, other)
    for row in mixing.intervals:
        if (
            row.interval.value > 0
            and row.what.casefold() in other.groups
            and not _named(mixing.may_mix_with, other)
        ):
            yield _finding("label.interval-in-tank", Severity.STOP, Basis.LABEL, one, other)
            break
    kind = other.label.adjuvant if other.label else None
    if kind is None:
        return
    if kind in mixing.adjuvants_forbidden:
        yield _finding("label.adjuvant-forbidden", Severity.STOP, Basis.LABEL, one, other, kind=kind)
    elif mixing.adjuvants_allowed is not None and kind not in (
        *mixing.adjuvants_allowed,
        *mixing.adjuvants_required,
    ):
        yield _finding("label.adjuvant-not-allowed", Severity.STOP, Basis.LABEL, one, other, kind=kind)


def _named(whats: tuple[str, ...], other: Partner) -> bool:
    return any(what.casefold() in other.groups for what in whats)


def _allowing(one: Partner, other: Partner) -> Finding | None:
    mixing = one.label.mixing if one.label else None
    if mixing is None or not _named(mixing.may_mix_with, other):
        return None
    return _finding("label.may-mix", Severity.NOTE, Basis.LABEL, one, other)


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


def _formulations(one: Partner, other: Partner, rulebook: Rulebook) -> Iterator[Finding]:
    if one.label is None or other.label is None:
        return
    rules = list(rulebook.for_formulations(one.label.formulation, other.label.formulation))
    for packet, partner in ((one, other), (other, one)):
        if packet.label is not None and packet.label.packet:
            rules.extend(rulebook.for_packet(partner.groups))
    for rule, severity, rivals in strictest((rule, rule.severity) for rule in rules):
        yield _spoken(rule, severity, rivals, one, other, rulebook)


def _speaking(
    one: Partner, other: Partner, request: MixRequest, scene: Scene, rulebook: Rulebook
) -> list[tuple[Rule, bool]]:
    return [
        (rule, forward)
        for rule, forward in rulebook.for_pair("compatibility", one.groups, other.groups)
        if in_place(rule.when, scene)
        and in_weather(rule.when, scene)
        and rulebook.speaks_of(rule, request.crop)
    ]


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


def _covered(one: Partner, other: Partner, speaking: list[tuple[Rule, bool]]) -> bool:
    """Say whether a publication speaks of every ingredient of the one with every ingredient of the other."""
    pairs = [rule.when.pair for rule, _ in speaking if rule.basis is not Basis.PRACTICE and rule.when.pair]
    return bool(one.parts and other.parts) and all(
        any((a in p and b in q) or (b in p and a in q) for a, b in pairs)
        for p in one.parts
        for q in other.parts
    )
