"""How products stand in the store, held against the rules of `storage_rules.toml`: pure, no database.

The label is law and local rules come first; what is not known is said, never passed over.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

from mixing.quantities import EXACT, Quantity, plain

TABLE = Path(__file__).with_name("storage_rules.toml")
SEVERITIES = ("stop", "caution", "note")
BASES = ("label", "regulation", "published", "practice")
LANGUAGES = ("en", "es")
HUNDRED = Decimal(100)


@dataclass(frozen=True, slots=True)
class Kept:
    """One lot where it stands.

    :ivar traits: of `dry`, `liquid`, `oxidiser`, `burnable`, `weed_killer`, `other`
    :ivar known: False where no label says what it is
    :ivar volume_ml: of a liquid, what is there [mL]; None for what is dry or weighed
    :ivar container_ml: what its largest container may hold [mL]; all of it where that is not known
    """

    lot: str
    product: str
    name: str
    place: str
    traits: frozenset[str]
    known: bool = True
    volume_ml: Decimal | None = None
    container_ml: Decimal | None = None
    store_minimum: Quantity | None = None
    store_maximum: Quantity | None = None


@dataclass(frozen=True, slots=True)
class Place:
    """One place; None is not known."""

    name: str
    cabinet: str | None = None
    level: int | None = None
    locked: bool | None = None
    ventilated: bool | None = None
    signed: bool | None = None
    bund: Quantity | None = None
    temperature_minimum: Quantity | None = None
    temperature_maximum: Quantity | None = None
    kept_beside: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Rule:
    """One row of the table."""

    id: str
    key: str
    value: Any
    severity: str
    basis: str
    sources: tuple[Mapping[str, Any], ...]
    locator: str
    sentences: Mapping[str, tuple[str, str]]


@dataclass(frozen=True, slots=True)
class Finding:
    """A rule that something in the store does not keep to."""

    rule: Rule
    place: str | None
    lots: tuple[Kept, ...]
    words: Mapping[str, str]

    def says(self, language: str) -> tuple[str, str]:
        """Return what is wrong and what to do."""
        says, do = self.rule.sentences[language if language in LANGUAGES else "en"]
        return says.format_map(self.words), do


Store = Mapping[str, Sequence[Kept]]
Check = Callable[[Rule, Store, Mapping[str, Place]], Iterator[Finding]]


def findings(kept: Iterable[Kept], places: Iterable[Place]) -> list[Finding]:
    """Return what is not kept as the rules say, stops first, in the order of the table."""
    by_place: dict[str, list[Kept]] = {}
    for one in kept:
        by_place.setdefault(one.place, []).append(one)
    known = {place.name: place for place in places}
    found = [finding for rule in table() for finding in WHEN[rule.key](rule, by_place, known)]
    return sorted(found, key=lambda finding: SEVERITIES.index(finding.rule.severity))


@cache
def table() -> tuple[Rule, ...]:
    """Return the rules.

    :raises ValueError: with every fault of the table
    """
    raw = tomllib.loads(TABLE.read_text(encoding="utf-8"))
    faults = [fault for row in raw["rule"] for fault in _faults(row, raw["sources"])]
    if faults:
        raise ValueError("; ".join(faults))
    return tuple(_rule(row, raw["sources"]) for row in raw["rule"])


def _faults(row: Mapping[str, Any], sources: Mapping[str, Any]) -> Iterator[str]:
    keys = list(row["when"])
    if len(keys) != 1 or keys[0] not in WHEN:
        yield f"{row['id']}: `when` has one key of {', '.join(WHEN)}"
    if row["severity"] not in SEVERITIES or row["basis"] not in BASES:
        yield f"{row['id']}: severity or basis is not known"
    if row["severity"] == "stop" and row["basis"] == "practice":
        yield f"{row['id']}: a stop may not rest on practice"
    for name in (row["source"], *row.get("also", [])):
        if name not in sources:
            yield f"{row['id']}: there is no source {name}"


def _rule(row: Mapping[str, Any], sources: Mapping[str, Any]) -> Rule:
    [(key, value)] = row["when"].items()
    return Rule(
        id=row["id"],
        key=key,
        value=value,
        severity=row["severity"],
        basis=row["basis"],
        sources=tuple(sources[name] for name in (row["source"], *row.get("also", []))),
        locator=row["locator"],
        sentences={"en": (row["says"], row["do"]), "es": (row["says_es"], row["do_es"])},
    )


def _names(lots: Iterable[Kept]) -> str:
    return ", ".join(dict.fromkeys(one.name for one in lots))


def _found(rule: Rule, place: str | None, lots: Sequence[Kept], **words: str) -> Finding:
    return Finding(rule, place, tuple(lots), {"place": place or "", "products": _names(lots), **words})


def _with(trait: str, lots: Iterable[Kept]) -> list[Kept]:
    return [one for one in lots if trait in one.traits]


def _dry_below_liquid(rule: Rule, store: Store, places: Mapping[str, Place]) -> Iterator[Finding]:
    """Look within each cabinet for what is dry and has a liquid on a higher level."""
    shelves = [place for place in places.values() if place.cabinet is not None and place.level is not None]
    for low in shelves:
        above = [one for one in shelves if one.cabinet == low.cabinet and (one.level or 0) > (low.level or 0)]
        wet = [lot for one in above for lot in _with("liquid", store.get(one.name, ()))]
        dry = _with("dry", store.get(low.name, ()))
        if dry and wet:
            words = {"products": _names(dry), "others": _names(wet), "cabinet": low.cabinet or ""}
            yield _found(rule, low.name, [*dry, *wet], **words)


def _together(rule: Rule, store: Store, places: Mapping[str, Place]) -> Iterator[Finding]:
    one_kind, other_kind = rule.value
    for place, lots in store.items():
        ones = _with(one_kind, lots)
        others = [lot for lot in _with(other_kind, lots) if lot not in ones]
        if place and ones and others:
            words = {"products": _names(ones), "others": _names(others)}
            yield _found(rule, place, [*ones, *others], **words)


def _attribute(name: str) -> Check:
    """Return the check of a yes or no that is said of a place; `unknown` is none of both."""

    def check(rule: Rule, store: Store, places: Mapping[str, Place]) -> Iterator[Finding]:
        wanted = None if rule.value == "unknown" else rule.value
        for place, lots in _described(store, places):
            if getattr(place, name) is wanted:
                yield _found(rule, place.name, lots)

    return check


def _described(store: Store, places: Mapping[str, Place]) -> Iterator[tuple[Place, Sequence[Kept]]]:
    for name, lots in store.items():
        if name in places:
            yield places[name], lots


def _beside(rule: Rule, store: Store, places: Mapping[str, Place]) -> Iterator[Finding]:
    for place, lots in _described(store, places):
        beside = [word for word in place.kept_beside if word in rule.value]
        if beside:
            yield _found(rule, place.name, lots, beside=", ".join(beside))


def _liquids(lots: Iterable[Kept]) -> list[Kept]:
    return [one for one in lots if one.volume_ml]


def _bund_of_all(rule: Rule, store: Store, places: Mapping[str, Place]) -> Iterator[Finding]:
    for place, lots in _described(store, places):
        wet = _liquids(lots)
        total = sum((one.volume_ml or Decimal(0) for one in wet), Decimal(0))
        yield from _too_small(rule, place, wet, total)


def _bund_of_largest(rule: Rule, store: Store, places: Mapping[str, Place]) -> Iterator[Finding]:
    for place, lots in _described(store, places):
        wet = _liquids(lots)
        largest = max((one.container_ml or one.volume_ml or Decimal(0) for one in wet), default=Decimal(0))
        yield from _too_small(rule, place, wet, largest)


def _too_small(rule: Rule, place: Place, wet: Sequence[Kept], held: Decimal) -> Iterator[Finding]:
    if place.bund is None or not wet:
        return
    needed = EXACT.divide(EXACT.multiply(held, Decimal(rule.value)), HUNDRED)
    if place.bund.in_base() < needed:
        unit = place.bund.unit
        yield _found(
            rule,
            place.name,
            wet,
            bund=_said(place.bund),
            held=_said(Quantity(held, "mL").to(unit)),
            needed=_said(Quantity(needed, "mL").to(unit)),
            percent=str(rule.value),
        )


def _bund_unknown(rule: Rule, store: Store, places: Mapping[str, Place]) -> Iterator[Finding]:
    for place, lots in _described(store, places):
        wet = _with("liquid", lots)
        if place.bund is None and wet:
            yield _found(rule, place.name, wet)


def _outside_label(rule: Rule, store: Store, places: Mapping[str, Place]) -> Iterator[Finding]:
    cold = rule.value == "colder"
    for place, lots in _described(store, places):
        reached = place.temperature_minimum if cold else place.temperature_maximum
        for one in lots:
            limit = one.store_minimum if cold else one.store_maximum
            if reached is not None and limit is not None and _passes(reached, limit, cold=cold):
                yield _found(rule, place.name, [one], reached=_said(reached), limit=_said(limit))


def _passes(reached: Quantity, limit: Quantity, *, cold: bool) -> bool:
    there, here = reached.to("degC").value, limit.to("degC").value
    return there < here if cold else there > here


def _may_freeze(rule: Rule, store: Store, places: Mapping[str, Place]) -> Iterator[Finding]:
    for place, lots in _described(store, places):
        unknown = [one for one in _with("liquid", lots) if one.store_minimum is None]
        reached = place.temperature_minimum
        if unknown and reached is not None and reached.to("degC").value <= rule.value:
            yield _found(rule, place.name, unknown, reached=_said(reached))


def _place_known(rule: Rule, store: Store, places: Mapping[str, Place]) -> Iterator[Finding]:
    for place, lots in store.items():
        if place and place not in places:
            yield _found(rule, place, lots)


def _place_named(rule: Rule, store: Store, places: Mapping[str, Place]) -> Iterator[Finding]:
    if lots := store.get(""):
        yield _found(rule, None, lots)


def _label_known(rule: Rule, store: Store, places: Mapping[str, Place]) -> Iterator[Finding]:
    unknown = [one for lots in store.values() for one in lots if not one.known]
    for product in dict.fromkeys(one.product for one in unknown):
        lots = [one for one in unknown if one.product == product]
        yield _found(rule, lots[0].place or None, lots)


def _said(quantity: Quantity) -> str:
    return f"{plain(quantity.value, 2)} {quantity.unit}"


WHEN: Mapping[str, Check] = {
    "dry_below_liquid": _dry_below_liquid,
    "together": _together,
    "locked": _attribute("locked"),
    "ventilated": _attribute("ventilated"),
    "signed": _attribute("signed"),
    "kept_beside": _beside,
    "bund_percent_of_all": _bund_of_all,
    "bund_percent_of_largest": _bund_of_largest,
    "bund_unknown": _bund_unknown,
    "outside_label": _outside_label,
    "liquid_below_degC": _may_freeze,
    "place_known": _place_known,
    "place_named": _place_named,
    "label_known": _label_known,
}
