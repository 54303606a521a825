"""What to wear, how long to stay out and how long to wait with the harvest, over all products of the tank.

Of each part of the body the strongest item that a label asks for; the strictest signal word; the longest
intervals. What a label as entered does not say is named as missing, never assumed.

Source: rules/protection.toml (40 CFR 156.64, 156.212, 170.405, 170.407).
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import ROUND_CEILING, Decimal
from functools import cache, lru_cache
from pathlib import Path
from typing import Any, NamedTuple

from mixing import quantities, uses
from mixing.findings import Basis, Finding, Missing, Severity
from mixing.labels import Label
from mixing.quantities import Quantity
from mixing.request import MixRequest, Recipe
from mixing.uses import Applying

TABLE = Path(__file__).parent / "rules" / "protection.toml"
SECONDS = quantities.SIMPLE["time"]
DAY = SECONDS["d"]


@dataclass(frozen=True, slots=True)
class Protection:
    """What to wear, as codes, head to foot; the strictest signal word, None where no label has one."""

    handler: tuple[str, ...]
    early_entry: tuple[str, ...]
    signal_word: str | None


class ReEntry(NamedTuple):
    """The longest re-entry interval, and its end: None where `at` or an interval is missing."""

    interval: Quantity | None
    until: datetime | None


class Harvest(NamedTuple):
    """The longest wait before harvest, and the first day that is allowed."""

    interval: Quantity | None
    not_before: date | None


def union(labels: Iterable[Label]) -> Protection:
    """Return what to wear for all these labels together."""
    return _union(tuple(labels))


@lru_cache(maxsize=1024)
def _union(labels: tuple[Label, ...]) -> Protection:
    given = [label.protection for label in labels if label.protection is not None]
    return Protection(
        handler=strongest(frozenset().union(*(worn.handler for worn in given))),
        early_entry=strongest(frozenset().union(*(worn.early_entry for worn in given))),
        signal_word=strictest_word(label.signal_word for label in labels),
    )


@lru_cache(maxsize=1024)
def strongest(codes: frozenset[str]) -> tuple[str, ...]:
    """Return the items without those that a stronger one makes needless, head to foot.

    An item that the table does not know stays: a label asks for it.
    """
    gear = _gear()
    needless = frozenset().union(*(gear[code] for code in codes if code in gear))
    places = {code: place for place, code in enumerate(gear)}
    return tuple(sorted(codes - needless, key=lambda code: (places.get(code, len(places)), code)))


def strictest_word(words: Iterable[str | None]) -> str | None:
    """Return the strictest signal word; None where no label has one."""
    order = _signal_words()
    return min((word for word in words if word in order), key=order.index, default=None)


class Waiting(NamedTuple):
    """How long to stay out and to wait with the harvest, what is to be said of it, and what is missing."""

    re_entry: ReEntry
    harvest: Harvest
    findings: tuple[Finding, ...]
    missing: tuple[Missing, ...]


def waiting(request: MixRequest, applying: Sequence[Applying] | None = None) -> Waiting:
    """Return the longest intervals of the rows that apply, and the moments they end.

    Where one product's interval is missing no end is given: the longest known one might be too short. An
    adjuvant may lack one, since it is no pesticide. Day 0 is the date of `at` in its own offset; harvest is
    allowed on day 0 + N.

    :param applying: the rows of the labels that apply, where they have been looked up already
    """
    asked = _asked(request.recipe, tuple(applying or uses.of_products(request)))
    return Waiting(
        _re_entry(request, asked.entry, known=asked.entry_known),
        _harvest(request, asked.harvest, known=asked.harvest_known),
        asked.findings,
        asked.missing,
    )


@dataclass(frozen=True, slots=True)
class Asked:
    """What labels ask for on any day: the longest waits, whether all gave theirs, and what to say of it."""

    entry: Quantity | None
    harvest: Quantity | None
    entry_known: bool
    harvest_known: bool
    findings: tuple[Finding, ...]
    missing: tuple[Missing, ...]


@lru_cache(maxsize=1024)
def _asked(recipe: Recipe, applying: tuple[Applying, ...]) -> Asked:
    pesticides = [
        (id, label, rows)
        for (id, label), rows in zip(recipe.products, applying, strict=True)
        if label.adjuvant is None
    ]
    no_entry = [(id, label) for id, label, rows in pesticides if rows.re_entry is None]
    no_harvest = [(id, label) for id, label, rows in pesticides if rows.pre_harvest is None]
    return Asked(
        uses.longest(rows.re_entry for rows in applying),
        uses.longest(rows.pre_harvest for rows in applying),
        not no_entry,
        not no_harvest,
        tuple(_not_stated("re-entry.not-stated", id, label, "cfr-170-407") for id, label in no_entry),
        (
            *(Missing(f"label.re_entry:{id}") for id, _ in no_entry),
            *(Missing(f"label.pre_harvest:{id}") for id, _ in no_harvest),
        ),
    )


def _re_entry(request: MixRequest, longest: Quantity | None, *, known: bool) -> ReEntry:
    if request.at is None or longest is None or not known:
        return ReEntry(longest, None)
    return ReEntry(longest, request.at + timedelta(microseconds=int(_seconds(longest) * 1_000_000)))


def _harvest(request: MixRequest, longest: Quantity | None, *, known: bool) -> Harvest:
    if request.at is None or longest is None or not known:
        return Harvest(longest, None)
    days = (_seconds(longest) / DAY).to_integral_value(rounding=ROUND_CEILING)
    return Harvest(longest, request.at.date() + timedelta(days=int(days)))


def _seconds(interval: Quantity) -> Decimal:
    return interval.value * SECONDS[interval.unit]


def findings(request: MixRequest) -> tuple[tuple[Finding, ...], tuple[Missing, ...]]:
    """Return a note, and a line of what was not checked, for each label that does not say what to wear."""
    return _silent(request.recipe)


@lru_cache(maxsize=1024)
def _silent(recipe: Recipe) -> tuple[tuple[Finding, ...], tuple[Missing, ...]]:
    silent = [(id, label) for id, label in recipe.products if label.protection is None]
    return (
        tuple(_not_stated("protection.not-stated", id, label, "cfr-156-212") for id, label in silent),
        (
            *(Missing(f"label.protection:{id}") for id, _ in silent),
            *(
                Missing(f"label.signal_word:{id}")
                for id, label in recipe.products
                if label.signal_word is None
            ),
        ),
    )


def _not_stated(finding_id: str, product_id: str, label: Label, source: str) -> Finding:
    return Finding(
        id=finding_id,
        severity=Severity.NOTE,
        basis=Basis.REGULATION,
        products=(product_id,),
        parameters={"product": label.name},
        source_key=source,
    )


@cache
def _gear() -> Mapping[str, frozenset[str]]:
    """Return what each item makes needless, also by way of another, head to foot."""
    rows: dict[str, list[str]] = {row["code"]: row.get("covers", []) for row in _raw()["gear"]}

    def below(code: str) -> frozenset[str]:
        return frozenset(rows.get(code, ())).union(*(below(other) for other in rows.get(code, ())))

    return {code: below(code) for code in rows}


@cache
def _signal_words() -> tuple[str, ...]:
    return tuple(_raw()["signal_words"]["strictest_first"])


@cache
def _raw() -> Mapping[str, Any]:
    with TABLE.open("rb") as file:
        return tomllib.load(file)
