"""Resistance: how often a mode of action was used in a row and in the year, with this application."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from mixing import chemistry
from mixing.findings import Finding
from mixing.limits.speaking import spoken
from mixing.request import MixRequest, Product
from mixing.rulebook import Rule, Rulebook, strictest
from mixing.scene import Scene

Code = tuple[str, str]


def published(product: Product, request: MixRequest, scene: Scene, rulebook: Rulebook) -> Iterator[Finding]:
    """Yield where a mode of action of this product has been used too often on this ground."""
    codes = chemistry.facts(product.label).codes
    if scene.today is None or not request.history or not codes:
        return
    rules = rulebook.for_modes(codes, request.crop)
    if not rules:
        return
    sprays = _sprays(request, scene.today)
    for code in sorted(codes):
        speaking = [
            (rule, rule.severity)
            for rule in rules
            if code[0] == rule.when.scheme and (rule.when.codes is None or code[1] in rule.when.codes)
            if _too_often(rule, code, sprays, scene.today)
        ]
        for rule, severity, rivals in strictest(speaking):
            most, count = _counted(rule, code, sprays, scene.today)
            yield spoken(
                rulebook,
                rule,
                severity,
                rivals,
                products=(product.id,),
                parameters={
                    "product": product.label.name,
                    "code": f"{code[0]} {code[1]}",
                    "value": str(count),
                    "limit": str(most),
                },
            )


def _sprays(request: MixRequest, today: date) -> list[tuple[date, frozenset[Code]]]:
    """Modes of action of each earlier day of spraying, the latest first; the tank of one day is one spray."""
    days: dict[date, frozenset[Code]] = {}
    for one in request.history or ():
        if one.on <= today:
            days[one.on] = days.get(one.on, frozenset()) | chemistry.facts(one.label).codes
    return sorted(days.items(), key=lambda day: day[0], reverse=True)


def _too_often(rule: Rule, code: Code, sprays: list[tuple[date, frozenset[Code]]], today: date) -> bool:
    most, count = _counted(rule, code, sprays, today)
    return count > most


def _counted(
    rule: Rule, code: Code, sprays: list[tuple[date, frozenset[Code]]], today: date
) -> tuple[int, int]:
    """Return the most that a row allows and the count that this application would make."""
    if rule.when.in_a_row is not None:
        return rule.when.in_a_row, _in_a_row(code, sprays) + 1
    year = [codes for on, codes in sprays if (today - on).days < 365]
    return rule.when.in_a_year or 0, sum(code in codes for codes in year) + 1


def _in_a_row(code: Code, sprays: list[tuple[date, frozenset[Code]]]) -> int:
    """Count the latest sprays that had the mode of action; a day without any of its scheme breaks nothing."""
    count = 0
    for _, codes in sprays:
        if code in codes:
            count += 1
        elif any(scheme == code[0] for scheme, _ in codes):
            break
    return count
