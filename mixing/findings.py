"""What a check found: one finding for each id and set of products, worst first, and what was not checked.

A finding carries no sentences. It has an id and parameters; the texts come from the catalogue at the end.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import IntEnum, StrEnum
from types import MappingProxyType

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


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is wrong or worth knowing.

    :ivar id: id of its row in the rule tables, such as `stage.copper-after-bud-colour`
    :ivar products: ids of the products it is about; empty where it is about the whole tank
    :ivar parameters: what the texts of the row name in braces, ready to print
    :ivar source_key: key of the source in the rule tables; None for practice and for the label itself
    """

    id: str
    severity: Severity
    basis: Basis
    products: tuple[str, ...] = ()
    parameters: Mapping[str, str] = field(default_factory=lambda: NOTHING, hash=False, compare=False)
    source_key: str | None = None

    @property
    def may_be_overridden(self) -> bool:
        """Whether a manager may go on in spite of it: a stop that rests on a publication, nothing else."""
        return self.severity is Severity.STOP and self.basis is Basis.PUBLISHED


@dataclass(frozen=True, slots=True)
class Missing:
    """Something not checked: `what` is a dotted path (`water.ph`, `label.density:cu`), `why` its reason."""

    what: str
    why: Text = NOT_GIVEN


def settle(findings: Iterable[Finding], *, order: tuple[str, ...]) -> tuple[Finding, ...]:
    """Return the findings sorted by severity, id and the order of products; one per id and set of products.

    :param order: ids of the products in the order of the request
    """
    place = {name: rank for rank, name in enumerate(order)}
    last = len(place)
    kept: dict[tuple[str, frozenset[str]], Finding] = {}
    for finding in findings:
        key = (finding.id, frozenset(finding.products))
        other = kept.setdefault(key, finding)
        if other is not finding and finding.severity < other.severity:
            kept[key] = finding

    def rank(finding: Finding) -> tuple[int, str, list[int]]:
        products = finding.products
        if len(products) == 1:
            return finding.severity, finding.id, [place.get(products[0], last)]
        places = sorted([place.get(name, last) for name in products])
        return finding.severity, finding.id, places

    return tuple(sorted(kept.values(), key=rank))


def verdict(findings: Iterable[Finding]) -> str:
    """Return the worst of them as `stop`, `caution` or `ok`; notes alone are `ok`."""
    worst = min((finding.severity for finding in findings), default=Severity.NOTE)
    return "ok" if worst is Severity.NOTE else worst.word
