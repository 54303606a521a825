"""Rows about the same thing from different sources: the strictest speaks and names the others."""

from __future__ import annotations

from mixing.findings import Basis, Severity
from mixing.rulebook.rows import Rule

Settled = tuple[Rule, Severity, tuple[Rule, ...]]
"""A row that speaks, how severely, and the rivals that it is to name."""

WEIGHT = {Basis.LABEL: 0, Basis.REGULATION: 1, Basis.PUBLISHED: 2, Basis.PRACTICE: 3, Basis.UNTESTED: 4}
"""Which of two rows of the same severity speaks: the lower."""


def strictest(rules: list[tuple[Rule, Severity]]) -> list[Settled]:
    """Return, of rows about the same thing, the strictest with the others that it is to name.

    A regulation goes before a publication and a publication before practice where severities are equal.
    """
    if not rules:
        return []
    if len(rules) == 1:
        return [(*rules[0], ())]
    about: dict[str, list[tuple[Rule, Severity]]] = {}
    for rule, severity in rules:
        about.setdefault(rule.about, []).append((rule, severity))
    settled: list[Settled] = []
    for rivals in about.values():
        if len(rivals) > 1:
            rivals.sort(key=lambda one: (one[1], WEIGHT[one[0].basis], one[0].id))
        rule, severity = rivals[0]
        settled.append((rule, severity, tuple(other for other, _ in rivals[1:])))
    return settled
