"""Days between applications: of the same product, of partners by label, of pairs as published; and numbers.

An interval of 7 days after the 1st is over on the 8th. An application counts for a year if it lies in the 365
days that end with the day of this one.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from datetime import date, timedelta

from mixing import chemistry
from mixing.findings import Finding, Severity
from mixing.labels import Label
from mixing.limits.lacking import Lacking
from mixing.limits.speaking import limit, shown, spoken
from mixing.quantities import Quantity
from mixing.request import Application, MixRequest, Product
from mixing.rulebook import Rule, Rulebook, strictest
from mixing.scene import Scene, in_place
from mixing.uses import Applying

YEAR = timedelta(days=365)


def in_year(application: Application, today: date, *, years: int = 1) -> bool:
    """Say whether an application counts for the year (or years) that end today."""
    return today - years * YEAR < application.on <= today


def days_of(interval: Quantity) -> int:
    """Return an interval in whole days; a begun day counts."""
    return math.ceil(interval.in_base() / 86400)


def by_label(
    product: Product, applying: Applying, request: MixRequest, scene: Scene, lacking: Lacking
) -> Iterator[Finding]:
    """Yield where a label wants more days, or fewer applications, than history gives."""
    intervals = [row.interval for row in applying.rows if row.interval and row.interval.value > 0]
    numbers = [row.maximum_applications for row in applying.rows if row.maximum_applications is not None]
    if not intervals and not numbers and not _has_partners(product.label):
        return
    if scene.today is None:
        yield lacking.needed("at", product)
        return
    if request.history is None:
        yield lacking.needed("history", product)
    before = request.history or ()
    same = [one for one in before if one.label.same_product == product.label.same_product]
    if intervals:
        yield from _same_product(product, max(intervals, key=Quantity.in_base), same, scene.today)
    if numbers:
        yield from _number(product, min(numbers), same, scene.today)
    yield from _partners(product, before, scene.today)


def _has_partners(label: Label) -> bool:
    return label.mixing is not None and bool(label.mixing.intervals)


def _same_product(
    product: Product, interval: Quantity, same: list[Application], today: date
) -> Iterator[Finding]:
    past = [one.on for one in same if one.on <= today]
    if not past:
        return
    last = max(past)
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


def _number(product: Product, most: int, same: list[Application], today: date) -> Iterator[Finding]:
    count = sum(1 for one in same if in_year(one, today)) + 1
    if count > most:
        yield limit("label.number", Severity.STOP, product, value=str(count), limit=str(most))


def _partners(product: Product, before: Iterable[Application], today: date) -> Iterator[Finding]:
    """Intervals to other products, whichever of the two labels asks for them."""
    for one in sorted(before, key=lambda one: one.on, reverse=True):
        if one.on > today:
            continue
        for days, said_by in _asked(product.label, one.label):
            free = one.on + timedelta(days=days)
            if today < free:
                yield limit(
                    "label.interval-partner",
                    Severity.STOP,
                    product,
                    other=one.label.name,
                    label=said_by,
                    limit=f"{days} d",
                    on=one.on.isoformat(),
                    until=free.isoformat(),
                )


def _asked(now: Label, earlier: Label) -> Iterator[tuple[int, str]]:
    """Yield days that either label wants between an earlier product and the one to be sprayed now.

    `before` speaks of a partner sprayed before the label's own product, `after` of one sprayed after it.
    """
    if now.mixing is not None:
        for row in now.mixing.intervals:
            if row.direction != "after" and row.what.casefold() in chemistry.groups(earlier):
                yield days_of(row.interval), now.name
    if earlier.mixing is not None:
        for row in earlier.mixing.intervals:
            if row.direction != "before" and row.what.casefold() in chemistry.groups(now):
                yield days_of(row.interval), earlier.name


def published(product: Product, request: MixRequest, scene: Scene, rulebook: Rulebook) -> Iterator[Finding]:
    """Yield where publications want more days between an earlier product and this one."""
    today = scene.today
    if today is None or not request.history:
        return
    now = chemistry.groups(product.label)
    for one in sorted(request.history, key=lambda one: one.on, reverse=True):
        days = (today - one.on).days
        if days < 0:
            continue
        rows = rulebook.for_pair("sequence", chemistry.groups(one.label), now)
        speaking: dict[str, Rule] = {}
        for rule, forward in rows:
            when = rule.when
            if (
                when.days is not None
                and days < when.days
                and (forward or when.direction == "either")
                and rulebook.speaks_of(rule, request.crop)
                and in_place(when, scene)
            ):
                speaking[rule.id] = rule
        for rule, severity, rivals in strictest([(rule, rule.severity) for rule in speaking.values()]):
            yield _sequence(product, one, rule, severity, rivals, days, rulebook)


def _sequence(
    product: Product,
    earlier: Application,
    rule: Rule,
    severity: Severity,
    rivals: tuple[Rule, ...],
    days: int,
    rulebook: Rulebook,
) -> Finding:
    wanted = rule.when.days or 0
    return spoken(
        rulebook,
        rule,
        severity,
        rivals,
        products=(product.id,),
        parameters={
            "first": earlier.label.name,
            "second": product.label.name,
            "days": str(wanted),
            "since": str(days),
            "on": earlier.on.isoformat(),
            "until": (earlier.on + timedelta(days=wanted)).isoformat(),
        },
    )
