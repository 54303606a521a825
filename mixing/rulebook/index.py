"""The rules, found by what they speak of: the cost of a check does not grow with their number.

What is asked once is kept: the rows for a pair of products, or for one product on one crop, depend only on
their groups, and a farm has few of those.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import product
from typing import Any, NamedTuple, TypeVar

from mixing.chemistry import Facts
from mixing.findings import Basis, Finding
from mixing.rulebook.loader import Tables
from mixing.rulebook.place import Place, in_place
from mixing.rulebook.rivals import Settled, strictest
from mixing.rulebook.rows import Rule, Source

KEPT = 8192
_Answer = TypeVar("_Answer")


class ProductRows(NamedTuple):
    """Rows that may speak of one product in one place; tables without `what` are in `for_tank`.

    :ivar in_sequence: whether any row about days between two products names it
    """

    stages: tuple[Rule, ...]
    weather: tuple[Rule, ...]
    water: tuple[Rule, ...]
    tank: tuple[Rule, ...]
    resistance: tuple[Rule, ...]
    in_sequence: bool


@dataclass(frozen=True, slots=True)
class PairRows:
    """Rows that may speak of two products in one tank in one place.

    :ivar rules: each with the pairs of ingredients that it settles, as bits
    :ivar settled: what speaks in any circumstance: of the formulations, and of the ingredients where no row
        hangs on the weather (then `rules` is empty)
    :ivar settles: the bits that `settled` covers
    :ivar every: the bits of all pairs of ingredients; 0 where an ingredient is not known
    """

    rules: tuple[tuple[Rule, int], ...]
    settled: tuple[Settled, ...]
    settles: int
    every: int


class Rulebook:
    """All rows and sources, with look-ups by pair, group, formulation and crop.

    :ivar version: hash of the tables, kept with every stored check
    :ivar count: number of rows that still speak
    """

    def __init__(self, tables: Tables) -> None:
        self.version = tables.version
        self.sources: Mapping[str, Source] = tables.sources
        self._raw = tables.raw
        self._by_id = {rule.id: rule for rule in tables.rules}
        live = [rule for rule in tables.rules if not rule.retired]
        self.count = len(live)
        self._by_table: dict[str, tuple[Rule, ...]] = {}
        for rule in live:
            self._by_table[rule.table] = (*self._by_table.get(rule.table, ()), rule)
        self._kept: dict[tuple[object, ...], Any] = {}
        self._pairs = {table: self._index_pairs(table) for table in ("compatibility", "sequence")}
        self._formulations = self._index_pairs("formulation_pairs")

    def _index_pairs(self, table: str) -> dict[tuple[str, str], tuple[Rule, ...]]:
        found: dict[tuple[str, str], tuple[Rule, ...]] = {}
        for rule in self.rules(table):
            if rule.when.pair is not None:
                found[rule.when.pair] = (*found.get(rule.when.pair, ()), rule)
        return found

    def regions_of(self, region: str | None) -> frozenset[str]:
        """Return the region, the country it is in, and the union that the country is in."""
        if region is None:
            return frozenset()
        return self._keep(("regions", region), lambda: self._regions_of(region))

    def _regions_of(self, region: str) -> frozenset[str]:
        country = region.partition("-")[0]
        unions = self._raw.get("regions", {}).get("unions", {})
        return frozenset(
            {region, country, *(name for name, union in unions.items() if country in union["members"])}
        )

    def place(self, crop: str, bbch: int | None, targets: tuple[str, ...], region: str | None) -> Place:
        """Return the standing circumstances of a mix: for the same words the same object."""
        return self._keep(
            ("place", crop, bbch, targets, region),
            lambda: Place(
                crop, bbch, frozenset(name.casefold() for name in targets), self.regions_of(region)
            ),
        )

    def rule(self, rule_id: str) -> Rule:
        """Return the row of that id, retired or not.

        :raises KeyError: where there is none
        """
        return self._by_id[rule_id]

    def has(self, rule_id: str) -> bool:
        """Say whether there is a row of that id."""
        return rule_id in self._by_id

    def rules(self, table: str | None = None) -> tuple[Rule, ...]:
        """Return the rows of one table, or of all, that still speak."""
        if table is not None:
            return self._by_table.get(table, ())
        return tuple(one for rows in self._by_table.values() for one in rows)

    def raw(self, table: str) -> Mapping[str, Any]:
        """Return a table as it stands in its file, for those that are not made of rows."""
        return self._raw[table]

    def source_of(self, finding: Finding) -> Source | None:
        """Return the source that a finding names, if it rests on one."""
        return self.sources.get(finding.source_key) if finding.source_key else None

    def _keep(self, key: tuple[object, ...], work_out: Callable[[], _Answer]) -> _Answer:
        found = self._kept.get(key)
        if found is None:
            if len(self._kept) >= KEPT:
                self._kept.clear()
            found = self._kept[key] = work_out()
        answer: _Answer = found
        return answer

    def of_pair(self, first: Facts, second: Facts, place: Place) -> PairRows:
        """Return the rows that may speak of two products in one tank in this place."""
        return self._keep((first, second, place), lambda: self._of_pair(first, second, place))

    def _of_pair(self, first: Facts, second: Facts, place: Place) -> PairRows:
        rows = self._with_pair("compatibility", first.groups, second.groups, place)
        rules = [(rule, _settled_by(rule, first, second)) for rule in dict.fromkeys(rule for rule, _ in rows)]
        by_formulation = list(self.for_formulations(first.formulation, second.formulation))
        for packet, partner in ((first, second), (second, first)):
            if packet.packet:
                by_formulation.extend(self.for_packet(partner.groups))
        settled = strictest([(rule, rule.severity) for rule in by_formulation])
        every = (1 << len(first.parts) * len(second.parts)) - 1
        if any(rule.weather for rule, _ in rules):
            return PairRows(tuple(rules), tuple(settled), 0, every)
        settled += strictest([(rule, rule.severity) for rule, _ in rules])
        bits = 0
        for _, one in rules:
            bits |= one
        return PairRows((), tuple(settled), bits, every)

    def in_sequence(self, first: Facts, second: Facts, place: Place) -> tuple[Rule, ...]:
        """Return the rows about days between two products, the first of which was sprayed before."""
        return self._keep(
            ("sequence", first, second, place),
            lambda: tuple(
                dict.fromkeys(
                    rule
                    for rule, forward in self._with_pair("sequence", first.groups, second.groups, place)
                    if forward or rule.when.direction == "either"
                )
            ),
        )

    def _with_pair(
        self, table: str, first: frozenset[str], second: frozenset[str], place: Place
    ) -> list[tuple[Rule, bool]]:
        """Rows whose pair the groups make in this place; True where the first group is first in the pair."""
        index = self._pairs[table]
        return [
            (rule, forward)
            for a in sorted(first)
            for b in sorted(second)
            for pair, forward in (((a, b), True), ((b, a), False))
            for rule in index.get(pair, ())
            if in_place(rule, place)
        ]

    def for_formulations(self, first: str | None, second: str | None) -> tuple[Rule, ...]:
        """Return rows about two formulations in one tank."""
        if first is None or second is None:
            return ()
        return self._formulations.get((first, second), ()) + (
            self._formulations.get((second, first), ()) if first != second else ()
        )

    def for_packet(self, groups: frozenset[str]) -> tuple[Rule, ...]:
        """Return rows about a water-soluble packet with a product of these groups."""
        return self._keep(
            ("packet", groups),
            lambda: tuple(
                rule
                for rule in self.rules("formulation_pairs")
                if rule.when.packet_with is not None and not groups.isdisjoint(rule.when.packet_with)
            ),
        )

    def of_product(self, product: Facts, place: Place) -> ProductRows:
        """Return the rows that may speak of one product in this place, table by table."""
        return self._keep((product, place), lambda: self._of_product(product, place))

    def _of_product(self, product: Facts, place: Place) -> ProductRows:
        def rows(table: str) -> tuple[Rule, ...]:
            return tuple(
                rule
                for rule in self.rules(table)
                if rule.when.what is not None
                and not product.groups.isdisjoint(rule.when.what)
                and in_place(rule, place)
            )

        named = any(not product.groups.isdisjoint(pair) for pair in self._pairs["sequence"])
        return ProductRows(
            rows("stages"),
            rows("weather"),
            rows("water"),
            rows("tank"),
            self._of_modes(product.codes, place),
            named,
        )

    def for_tank(self, table: str, place: Place) -> tuple[Rule, ...]:
        """Return rows of a table that speak of any tank in this place, whatever is in it."""
        return self._keep(
            (table, place),
            lambda: tuple(
                rule for rule in self.rules(table) if rule.when.what is None and in_place(rule, place)
            ),
        )

    def limits_of_region(self, region: str) -> bool:
        """Say whether any yearly limit is held for a region, its country or its union."""
        return self._keep(("yearly limits", region), lambda: self._limits_of_region(region))

    def _limits_of_region(self, region: str) -> bool:
        names = self.regions_of(region)
        return any(not names.isdisjoint(rule.when.regions or ()) for rule in self.rules("yearly"))

    def _of_modes(self, codes: frozenset[tuple[str, str]], place: Place) -> tuple[Rule, ...]:
        return tuple(
            rule
            for rule in self.rules("resistance")
            if in_place(rule, place)
            and any(
                scheme == rule.when.scheme and (rule.when.codes is None or code in rule.when.codes)
                for scheme, code in codes
            )
        )


def _settled_by(rule: Rule, first: Facts, second: Facts) -> int:
    """Return which pairs of ingredients a row speaks of, as bits; practice and memory settle none."""
    if rule.when.pair is None or rule.basis is Basis.PRACTICE or rule.memory:
        return 0
    a, b = rule.when.pair
    bits = 0
    for place, (p, q) in enumerate(product(first.parts, second.parts)):
        if (a in p and b in q) or (b in p and a in q):
            bits |= 1 << place
    return bits
