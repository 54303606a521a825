"""What a check found: one finding for each id and set of products, worst first, and what was not checked.

A finding carries no sentences. It has an id and parameters; the texts come from the catalogue at the end.
What a report has many of is a named tuple here and beside: as fixed as a frozen dataclass, made in a third of
the time.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import IntEnum, StrEnum
from functools import lru_cache
from types import MappingProxyType
from typing import NamedTuple

from mixing.catalogue import Text

NOTHING: Mapping[str, str] = MappingProxyType({})
NOT_GIVEN = Text("missing.not_given")


class Severity(IntEnum):
    """How bad: `stop` forbids, `caution` wants care or an answer, `note` is good to know. Lower is worse."""

    STOP = 0
    CAUTION = 1
    NOTE = 2

    @property
    def word(self) -> str:
        """Its word in the report."""
        return WORDS[self]

    def milder(self) -> Severity:
        """Return the next lower severity; a note stays one."""
        return Severity(min(self + 1, Severity.NOTE))


WORDS = ("stop", "caution", "note")
SEVERITIES = {word: Severity(rank) for rank, word in enumerate(WORDS)}


class Basis(StrEnum):
    """What a finding rests on. Only a `published` stop may be overridden."""

    LABEL = "label"
    REGULATION = "regulation"
    PUBLISHED = "published"
    PRACTICE = "practice"
    UNTESTED = "untested"


class Finding(NamedTuple):
    """One thing that is wrong or worth knowing.

    :ivar id: id of its row in the rule tables, such as `stage.copper-after-bud-colour`
    :ivar products: ids of the products it is about; empty where it is about the whole tank
    :ivar parameters: what the texts of the row name in braces, ready to print
    :ivar source_key: key of the source in the rule tables; None for practice and for the label itself
    :ivar said_by: id of the product whose label says so, where that is not the first of `products`
    """

    id: str
    severity: Severity
    basis: Basis
    products: tuple[str, ...] = ()
    parameters: Mapping[str, str] = NOTHING
    source_key: str | None = None
    said_by: str | None = None

    @property
    def may_be_overridden(self) -> bool:
        """Whether a manager may go on in spite of it: a stop that rests on a publication, nothing else."""
        return overridable(self.severity, self.basis)


def overridable(severity: Severity, basis: Basis) -> bool:
    """Say whether a manager may go on in spite of a finding: only of a stop that rests on a publication."""
    return severity is Severity.STOP and basis is Basis.PUBLISHED


class Missing(NamedTuple):
    """Something not checked: `what` is a dotted path (`water.ph`, `label.density:cu`), `why` its reason."""

    what: str
    why: Text = NOT_GIVEN


Key = tuple[str, tuple[int, ...]]
"""What there is one finding of: an id, and the places of its products in the request."""


@dataclass(frozen=True, slots=True, eq=False)
class Standing:
    """Findings that hold of some products in some place on any day, settled once for all their jobs.

    It equals only itself, so that what is written of them can be kept by it.
    """

    by_key: Mapping[Key, Finding]


def settle(
    findings: Iterable[Finding], *, order: tuple[str, ...], standing: Standing | None = None
) -> tuple[Finding, ...]:
    """Return the findings sorted by severity, id and the order of products; one per id and set of products.

    :param order: ids of the products in the order of the request
    :param standing: what was settled of them before
    """
    kept = dict(standing.by_key) if standing is not None else {}
    _keep_worst(findings, order, kept)
    # no two have the same key, so that findings themselves are never compared
    ranked = sorted([(finding[1], key, finding) for key, finding in kept.items()])
    return tuple([finding for _, _, finding in ranked])


def stand(findings: Iterable[Finding], *, order: tuple[str, ...]) -> Standing:
    """Return findings that hold on any day, as `settle` takes them up."""
    kept: dict[Key, Finding] = {}
    _keep_worst(findings, order, kept)
    ranked = sorted(kept.items(), key=lambda one: (one[1].severity, one[0]))
    return Standing(dict(ranked))


def _keep_worst(findings: Iterable[Finding], order: tuple[str, ...], kept: dict[Key, Finding]) -> None:
    for finding in findings:
        places, turned = _placed(finding.products, order)
        if turned is not None:
            finding = finding._replace(products=turned)
        key = finding.id, places
        other = kept.get(key)
        if other is None or finding.severity < other.severity:
            kept[key] = finding


@lru_cache(maxsize=4096)
def _placed(
    products: tuple[str, ...], order: tuple[str, ...]
) -> tuple[tuple[int, ...], tuple[str, ...] | None]:
    """Return the places of products in a request, rising, and the products so; None if they are."""
    place = {name: rank for rank, name in enumerate(order)}
    rising = tuple(sorted(products, key=lambda name: place.get(name, len(place))))
    places = tuple(place.get(name, len(place)) for name in rising)
    return places, None if rising == products else rising


def verdict(findings: Iterable[Finding]) -> str:
    """Return the worst of them as `stop`, `caution` or `ok`; notes alone are `ok`."""
    worst = min([finding.severity for finding in findings], default=Severity.NOTE)
    return "ok" if worst is Severity.NOTE else worst.word
