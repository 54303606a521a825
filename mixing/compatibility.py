"""What two products do to each other in one tank, and what a residue in the sprayer does to a product.

For each pair: a label that forbids it stops it; a label that allows it settles it; else the published rows
speak, the strictest of those about the same thing; a pair that none speaks of is untested, never fine.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

from mixing import chemistry
from mixing import scene as scenes
from mixing.chemistry import Facts
from mixing.findings import Basis, Finding, Severity, Standing, stand
from mixing.labels import Label
from mixing.limits.speaking import spoken
from mixing.request import MixRequest, Recipe
from mixing.rulebook import Place, Rule, Rulebook, strictest
from mixing.rulebook.rivals import Settled
from mixing.scene import Scene, holds


@dataclass(frozen=True, slots=True, eq=False)
class Says:
    """What a label says of partners, in lower case."""

    forbids: frozenset[str]
    allows: frozenset[str]
    apart: frozenset[str]
    adjuvants_allowed: frozenset[str] | None
    adjuvants_forbidden: frozenset[str]
    adjuvants_welcome: frozenset[str]


@dataclass(frozen=True, slots=True, eq=False)
class Partner:
    """One of a pair: a product of the tank, or what the last load left behind (then without id).

    :ivar adjuvant: its kind, where the product is one
    :ivar says: what its label says of partners; None where it says nothing
    """

    name: str
    facts: Facts
    id: str | None = None
    adjuvant: str | None = None
    says: Says | None = None


@lru_cache(maxsize=1024)
def _says(label: Label) -> Says | None:
    mixing = label.mixing
    if mixing is None:
        return None
    allowed, required = mixing.adjuvants_allowed, mixing.adjuvants_required
    said = Says(
        _folded(mixing.do_not_mix_with),
        _folded(mixing.may_mix_with),
        _folded(row.what for row in mixing.intervals if row.interval.value > 0),
        None if allowed is None else frozenset((*allowed, *required)),
        frozenset(mixing.adjuvants_forbidden),
        frozenset((*(allowed or ()), *required)),
    )
    nothing = not (said.forbids or said.allows or said.apart or said.adjuvants_forbidden or required)
    return None if nothing and allowed is None else said


def _folded(names: Iterable[str]) -> frozenset[str]:
    return frozenset(name.casefold() for name in names)


def check(request: MixRequest, rulebook: Rulebook, *, scene: Scene | None = None) -> list[Finding]:
    """Return what the products of a tank do to each other, and the residue to each of them."""
    standing, found = find(request, rulebook, scene=scene or scenes.of(request, rulebook))
    return [*standing.by_key.values(), *found]


def find(request: MixRequest, rulebook: Rulebook, *, scene: Scene) -> tuple[Standing, list[Finding]]:
    """Return the same, what stands on any day apart."""
    standing, open_pairs = _of_tank(request.recipe, scene.place, rulebook)
    found: list[Finding] = []
    for one, other in open_pairs:
        found += _pair(one, other, scene, rulebook)
    if request.sprayer.residue:
        of_last_load = of_residue(request, rulebook, scene=scene)
        found.extend(_milder(one) for one in of_last_load if one.severity is not Severity.NOTE)
    found.extend(_required_adjuvants(request))
    return standing, found


@lru_cache(maxsize=1024)
def _of_tank(
    recipe: Recipe, place: Place, rulebook: Rulebook
) -> tuple[Standing, tuple[tuple[Partner, Partner], ...]]:
    """Return what holds of these products here on any day, and the pairs that hang on the weather."""
    settled: list[Finding] = []
    open_pairs = []
    for one, other in combinations([_partner(label, id) for id, label in recipe.products], 2):
        always = _always(one, other, place, rulebook)
        if always is None:
            open_pairs.append((one, other))
        else:
            settled += always
    return stand(settled, order=recipe.ids), tuple(open_pairs)


def of_residue(request: MixRequest, rulebook: Rulebook, *, scene: Scene | None = None) -> list[Finding]:
    """Return what the residue in the sprayer would do to the products if it were a partner in the tank."""
    scene = scene or scenes.of(request, rulebook)
    return [
        finding._replace(parameters={**finding.parameters, "residue": residue.name})
        for residue in map(_residue, request.sprayer.residue)
        for partner in _partners(request)
        if not residue.facts.groups <= partner.facts.groups  # more of the same is no partner
        for finding in _pair(residue, partner, scene, rulebook)
    ]


def _partners(request: MixRequest) -> tuple[Partner, ...]:
    return tuple([_partner(one.label, one.id) for one in request.products])


@lru_cache(maxsize=1024)
def _partner(label: Label, id: str) -> Partner:
    return Partner(label.name, chemistry.facts(label), id, label.adjuvant, _says(label))


@lru_cache(maxsize=256)
def _residue(name: str) -> Partner:
    return Partner(name, chemistry.facts_of_residue(name))


def _milder(finding: Finding) -> Finding:
    return finding._replace(severity=finding.severity.milder())


def _pair(
    one: Partner, other: Partner, scene: Scene, rulebook: Rulebook
) -> tuple[Finding, ...] | list[Finding]:
    always = _always(one, other, scene.place, rulebook)
    if always is not None:
        return always
    rows = rulebook.of_pair(one.facts, other.facts, scene.place)
    hold = [(rule, bits) for rule, bits in rows.rules if holds(rule.weather, scene)]
    speaking = [*rows.settled, *strictest([(rule, rule.severity) for rule, _ in hold])]
    settles = rows.settles
    for _, bits in hold:
        settles |= bits
    return _spoken_of(one, other, speaking, settles, rows.every, rulebook)


@lru_cache(maxsize=4096)
def _always(one: Partner, other: Partner, place: Place, rulebook: Rulebook) -> tuple[Finding, ...] | None:
    """What holds of a pair in this place on any day; None where that hangs on the weather."""
    by_label = _by_label(one, other)
    if by_label:
        return tuple(by_label)
    rows = rulebook.of_pair(one.facts, other.facts, place)
    if rows.rules:
        return None
    return tuple(_spoken_of(one, other, rows.settled, rows.settles, rows.every, rulebook))


def _spoken_of(
    one: Partner,
    other: Partner,
    speaking: Iterable[Settled],
    settles: int,
    every: int,
    rulebook: Rulebook,
) -> list[Finding]:
    """What rows say of a pair, and that it is untested where they leave ingredients open.

    Where it is, what is known from practice alone explains that caution, and is no second one.
    """
    untested = settles != every or not every
    found = []
    for rule, severity, rivals in speaking:
        if untested and rule.basis is Basis.PRACTICE:
            severity = Severity.NOTE
        found.append(_spoken(rule, severity, rivals, one, other, rulebook))
    if untested:
        found.append(_finding("pair.untested", Severity.CAUTION, Basis.UNTESTED, one, other))
    return found


def _by_label(one: Partner, other: Partner) -> list[Finding]:
    """What the labels say: all that forbids the pair, or what allows it, or nothing."""
    forbidden = [*_forbidden(one, other), *_forbidden(other, one)]
    if forbidden:
        return forbidden
    for mine, theirs in ((one, other), (other, one)):
        if mine.says is not None and (
            not mine.says.allows.isdisjoint(theirs.facts.groups)
            or theirs.adjuvant in mine.says.adjuvants_welcome
        ):
            return [_finding("label.may-mix", Severity.NOTE, Basis.LABEL, mine, theirs)]
    return []


def _forbidden(one: Partner, other: Partner) -> Iterator[Finding]:
    """What the label of one says against the other."""
    says, groups, kind = one.says, other.facts.groups, other.adjuvant
    if says is None:
        return
    if not says.forbids.isdisjoint(groups):
        yield _finding("label.do-not-mix", Severity.STOP, Basis.LABEL, one, other)
    if not says.apart.isdisjoint(groups) and says.allows.isdisjoint(groups):
        yield _finding("label.interval-in-tank", Severity.STOP, Basis.LABEL, one, other)
    if kind is None:
        return
    if kind in says.adjuvants_forbidden:
        yield _finding("label.adjuvant-forbidden", Severity.STOP, Basis.LABEL, one, other, kind=kind)
    elif says.adjuvants_allowed is not None and kind not in says.adjuvants_allowed:
        yield _finding("label.adjuvant-not-allowed", Severity.STOP, Basis.LABEL, one, other, kind=kind)


def _finding(
    finding_id: str, severity: Severity, basis: Basis, one: Partner, other: Partner, **more: str
) -> Finding:
    said_by = one.id if basis is Basis.LABEL else None
    parameters = {"first": one.name, "second": other.name, **more}
    return Finding(finding_id, severity, basis, _ids(one, other), parameters, said_by=said_by)


def _ids(one: Partner, other: Partner) -> tuple[str, ...]:
    if one.id is None or other.id is None:
        return tuple(partner.id for partner in (one, other) if partner.id is not None)
    return one.id, other.id


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
