"""What follows from a label's ingredients: what a `what` may call it, its groups, its modes of action."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from mixing.chemistry.formulas import metal_fraction
from mixing.chemistry.substances import groups_of, substance, table, with_implied
from mixing.labels import Label

_OIL_CARRIED = frozenset({"OD", "OL", "OF"})
CARRIERS = frozenset({"contains oil", "ec formulation"})
"""What a product has by its formulation, not by its ingredients."""
ADJUVANTS = frozenset(
    {
        "surfactant",
        "sticker",
        "oil",
        "water_conditioner",
        "compatibility_agent",
        "drift_retardant",
        "antifoam",
        "nutrient",
    }
)


@dataclass(frozen=True, slots=True, eq=False)
class Facts:
    """What follows from a label's ingredients and formulation; labels alike in these share one.

    :ivar groups: all that a `what` may name it by: ingredients, groups, adjuvant, functions, registration
    :ivar parts: the groups of each ingredient by itself, for a pair is known only if all its parts are
    :ivar codes: modes of action, the label's own or else the table's: `("FRAC", "M01")`
    :ivar metals: elements that the label counts, or that stand in a formula
    """

    groups: frozenset[str]
    parts: tuple[frozenset[str], ...]
    codes: frozenset[tuple[str, str]]
    metals: frozenset[str]
    formulation: str | None
    packet: bool

    def brings(self, of: str) -> bool:
        """Say whether there is any of a substance in it, by ingredient, group or metal (lower case)."""
        return of in self.groups or of in self.metals


@lru_cache(maxsize=4096)
def facts(label: Label) -> Facts:
    """Return what follows from a label's ingredients, worked out once for each label."""
    return _facts(label)


def groups(label: Label) -> frozenset[str]:
    """Return all that a `what` may name this product by, lower case."""
    return facts(label).groups


def facts_of_residue(name: str) -> Facts:
    """Return what follows from a substance or group that was left in a sprayer."""
    return _facts_of(((name, None),), None, (), None, None, False, frozenset())


def _facts(label: Label) -> Facts:
    ingredients = None
    if label.active_ingredients is not None:
        ingredients = tuple(
            (one.name, one.metal.of if one.metal is not None else None) for one in label.active_ingredients
        )
    codes = frozenset((one.scheme.upper(), tidy_code(one.scheme, one.code)) for one in label.mode_of_action)
    return _facts_of(
        ingredients,
        label.adjuvant,
        tuple(label.function),
        label.registration,
        label.formulation,
        label.packet,
        codes,
    )


@lru_cache(maxsize=2048)
def _facts_of(
    ingredients: tuple[tuple[str, str | None], ...] | None,
    adjuvant: str | None,
    functions: tuple[str, ...],
    registration: str | None,
    formulation: str | None,
    packet: bool,
    codes: frozenset[tuple[str, str]],
) -> Facts:
    shared: set[str] = set()
    if adjuvant:
        shared |= with_implied([adjuvant], table().implied)
    if formulation in _OIL_CARRIED:
        shared.add("contains oil")
    if formulation == "EC":
        shared.add("ec formulation")
    parts = tuple(_part(name, metal) | shared for name, metal in ingredients or ())
    if not parts and adjuvant:
        parts = (frozenset(shared),)
    names = [*functions, *([registration] if registration else [])]
    every = frozenset(shared).union(*parts) | {name.casefold() for name in names}
    metals = frozenset().union(*(_metals(name, metal) for name, metal in ingredients or ()))
    return Facts(every, parts, codes or _codes(ingredients or ()), metals, formulation, packet)


def _metals(name: str, metal: str | None) -> frozenset[str]:
    of_formula = {known for known in table().metals if metal_fraction(name, known) is not None}
    return frozenset(of_formula | ({metal.casefold()} if metal is not None else set()))


def _part(name: str, metal: str | None) -> frozenset[str]:
    return groups_of(name) | ({metal.casefold()} if metal is not None else set())


def _codes(ingredients: Iterable[tuple[str, str | None]]) -> frozenset[tuple[str, str]]:
    known = [substance(name) for name, _ in ingredients]
    return frozenset(code for found in known if found is not None for code in found.codes)


def tidy_code(scheme: str, code: str) -> str:
    """Return a group code in the form of its list: FRAC `M4`, `M 04` and `m04` are all `M04`."""
    bare = code.upper().replace(" ", "")
    match = re.fullmatch(r"([MPU])0?(\d)", bare, re.ASCII)
    return f"{match[1]}0{match[2]}" if match and scheme.upper() == "FRAC" else bare


def known_groups() -> frozenset[str]:
    """Return every name of a substance and every group that a row may speak of."""
    rows = table()
    of_substances = frozenset().union(*(found.groups for found in rows.substances.values()))
    more = frozenset(rows.implied) | {name for names in rows.implied.values() for name in names}
    return frozenset(rows.substances) | of_substances | more | ADJUVANTS | CARRIERS
