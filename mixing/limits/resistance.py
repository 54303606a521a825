"""Resistance: how often a mode of action was used in a row and in the year, with this application."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from mixing.findings import Finding
from mixing.limits.interval import YEAR
from mixing.limits.speaking import spoken
from mixing.limits.subject import Earlier, Subject
from mixing.rulebook import Rule, Rulebook, strictest

Code = tuple[str, str]
Sprays = tuple[tuple[int, frozenset[Code]], ...]
"""Days ago and modes of action of each earlier day of spraying, the latest first."""


def sprays(past: Iterable[Earlier]) -> Sprays:
    """Return the modes of action of each earlier day; the tanks of one day are one spray."""
    days: dict[int, frozenset[Code]] = {}
    for one in past:
        days[one.days] = days.get(one.days, frozenset()) | one.facts.codes
    return tuple(sorted(days.items(), key=lambda day: day[0]))


def published(subject: Subject, before: Sprays, rulebook: Rulebook) -> Iterator[Finding]:
    """Yield where a mode of action of this product has been used too often on this ground."""
    rules = subject.rows.resistance
    if not rules or not before:
        return
    for code in sorted(subject.facts.codes):
        speaking = []
        for rule in rules:
            if code[0] == rule.when.scheme and (rule.when.codes is None or code[1] in rule.when.codes):
                most, count = _counted(rule, code, before)
                if count > most:
                    speaking.append((rule, rule.severity))
        for rule, severity, rivals in strictest(speaking):
            most, count = _counted(rule, code, before)
            yield spoken(
                rulebook,
                rule,
                severity,
                rivals,
                products=(subject.product.id,),
                parameters={
                    "product": subject.label.name,
                    "code": f"{code[0]} {code[1]}",
                    "value": str(count),
                    "limit": str(most),
                },
            )


def _counted(rule: Rule, code: Code, before: Sprays) -> tuple[int, int]:
    """Return the most that a row allows and the count that this application would make."""
    if rule.when.in_a_row is not None:
        return rule.when.in_a_row, in_a_row(code, before) + 1
    return rule.when.in_a_year or 0, sum(1 for days, codes in before if days < YEAR and code in codes) + 1


def in_a_row(code: Code, before: Sprays) -> int:
    """Count the latest sprays that had the mode of action; a day without any of its scheme breaks nothing."""
    count = 0
    for _, codes in before:
        if code in codes:
            count += 1
        elif any(scheme == code[0] for scheme, _ in codes):
            break
    return count
