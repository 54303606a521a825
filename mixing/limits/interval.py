"""Days between applications: of the same product, of partners by label, of pairs as published; and numbers.

An interval of 7 days after the 1st is over on the 8th. An application counts for a year if it lies in the 365
days that end with the day of this one.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, timedelta

from mixing.findings import Finding, Severity
from mixing.limits.lacking import Lacking
from mixing.limits.speaking import limit, shown, spoken
from mixing.limits.subject import Earlier, Past, Subject
from mixing.quantities import Quantity
from mixing.request import MixRequest, Product
from mixing.rulebook import Rule, Rulebook, strictest
from mixing.scene import Scene

YEAR = 365  # days: what lies fewer days back counts for the year


def days_of(interval: Quantity) -> int:
    """Return an interval in whole days; a begun day counts."""
    return math.ceil(interval.in_base() / 86400)


def by_label(
    subject: Subject, past: Past, request: MixRequest, scene: Scene, lacking: Lacking
) -> Iterator[Finding]:
    """Yield where a label wants more days, or fewer applications, than history gives."""
    product, bounds = subject.product, subject.applying.bounds
    if subject.counts and scene.today is None:
        yield lacking.needed("at", product)
    elif subject.counts and request.history is None:
        yield lacking.needed("history", product)
    if scene.today is None or not past.sprays:
        return
    same = past.of_product.get(subject.same, ())
    if same and bounds.interval is not None:
        yield from _same_product(product, bounds.interval, same[0].application.on, scene.today)
    if same and bounds.maximum_applications is not None:
        yield from _number(product, bounds.maximum_applications, same)
    if subject.asks or past.asking:
        yield from _partners(subject, past.sprays, scene.today)


def _same_product(product: Product, interval: Quantity, last: date, today: date) -> Iterator[Finding]:
    free = last + timedelta(days=days_of(interval))
    if today < free:
        yield limit(
            "label.interval",
            Severity.STOP,
            product,
            limit=shown(interval),
            on=last.isoformat(),
            until=free.isoformat(),
        )


def _number(product: Product, most: int, same: Sequence[Earlier]) -> Iterator[Finding]:
    count = sum(1 for one in same if one.days < YEAR) + 1
    if count > most:
        yield limit("label.number", Severity.STOP, product, value=str(count), limit=str(most))


def _partners(subject: Subject, past: Iterable[Earlier], today: date) -> Iterator[Finding]:
    """Intervals to other products, whichever of the two labels asks for them."""
    for one in past:
        if not (subject.asks or one.asks):
            continue
        for days, said_by in _asked(subject, one):
            free = one.application.on + timedelta(days=days)
            if today < free:
                yield limit(
                    "label.interval-partner",
                    Severity.STOP,
                    subject.product,
                    other=one.application.label.name,
                    label=said_by,
                    limit=f"{days} d",
                    on=one.application.on.isoformat(),
                    until=free.isoformat(),
                )


def _asked(now: Subject, past: Earlier) -> Iterator[tuple[int, str]]:
    """Yield days that either label wants between an earlier product and the one to be sprayed now.

    `before` speaks of a partner sprayed before the label's own product, `after` of one sprayed after it.
    """
    if now.label.mixing is not None:
        for row in now.label.mixing.intervals:
            if row.direction != "after" and row.what.casefold() in past.facts.groups:
                yield days_of(row.interval), now.label.name
    earlier = past.application.label
    if earlier.mixing is not None:
        for row in earlier.mixing.intervals:
            if row.direction != "before" and row.what.casefold() in now.facts.groups:
                yield days_of(row.interval), earlier.name


def published(
    subject: Subject, past: Past, request: MixRequest, scene: Scene, rulebook: Rulebook
) -> Iterator[Finding]:
    """Yield where publications want more days between an earlier product and this one.

    They are silent on a spray of the same product that its label's own interval has already forbidden.
    """
    own = subject.applying.bounds.interval
    forbidden = days_of(own) if own is not None else 0
    for facts, sprays in past.of_facts.items():
        rules = rulebook.in_sequence(facts, subject.facts, scene.place)
        if not rules:
            continue
        for one in sprays:
            if one.days < forbidden and one.same == subject.same:
                continue
            speaking = [(rule, rule.severity) for rule in rules if one.days < (rule.when.days or 0)]
            for rule, severity, rivals in strictest(speaking):
                yield _sequence(subject.product, one, rule, severity, rivals, rulebook)


def _sequence(
    product: Product,
    past: Earlier,
    rule: Rule,
    severity: Severity,
    rivals: tuple[Rule, ...],
    rulebook: Rulebook,
) -> Finding:
    wanted, on = rule.when.days or 0, past.application.on
    return spoken(
        rulebook,
        rule,
        severity,
        rivals,
        products=(product.id,),
        parameters={
            "first": past.application.label.name,
            "second": product.label.name,
            "days": str(wanted),
            "since": str(past.days),
            "on": on.isoformat(),
            "until": (on + timedelta(days=wanted)).isoformat(),
        },
    )
