"""What an ingredient is: its groups, its formula, its mode of action, how long it lasts in water.

Everything stands in `substances.toml`; nothing here knows a substance by name. The file is read when it is
first needed, not when the engine is imported.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from pathlib import Path
from typing import Any

from mixing.labels import Label
from mixing.quantities import EXACT

FILE = Path(__file__).with_name("substances.toml")

_OIL_CARRIED = frozenset({"OD", "OL", "OF"})
_WORD = 6  # shorter names begin too many others to be taken from the front of a longer one
_TOKEN = re.compile(r"([A-Z][a-z]?)|(\()|(\))|(\d+)", re.ASCII)
_HYDRATE = re.compile(r"[.·*]")


class FormulaError(ValueError):
    """A formula that cannot be read, or an element that is not in the table of masses."""


@dataclass(frozen=True, slots=True)
class Substance:
    """One active ingredient, nutrient or adjuvant.

    :ivar groups: its own name and every group it is in, lower case
    :ivar half_life: (pH, hours) pairs, rising in pH
    """

    name: str
    groups: frozenset[str]
    formula: str | None
    codes: tuple[tuple[str, str], ...]
    half_life: tuple[tuple[Decimal, Decimal], ...]


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


@dataclass(frozen=True, slots=True)
class _Table:
    substances: Mapping[str, Substance]
    implied: Mapping[str, tuple[str, ...]]
    crops: Mapping[str, frozenset[str]]
    masses: Mapping[str, Decimal]
    metals: Mapping[str, str]
    longest_first: tuple[str, ...]


@lru_cache(maxsize=1)
def _table() -> _Table:
    raw = tomllib.loads(FILE.read_text(encoding="utf-8"))
    implied = {name: tuple(more) for name, more in raw["implied"].items()}
    substances: dict[str, Substance] = {}
    for family in raw["family"]:
        for row in family["of"]:
            found = _substance(row, family, implied)
            for name in (row["name"], *row.get("also", ())):
                substances.setdefault(name.casefold(), found)
    return _Table(
        substances,
        implied,
        _crop_groups(raw["crops"]),
        {symbol: Decimal(mass) for symbol, mass in raw["atomic_mass"].items()},
        raw["metals"],
        tuple(sorted(substances, key=lambda name: (-len(name), name))),
    )


def _substance(
    row: Mapping[str, Any], family: Mapping[str, Any], implied: Mapping[str, tuple[str, ...]]
) -> Substance:
    groups = _with_implied((row["name"], *family["groups"], *row.get("groups", ())), implied)
    codes = tuple(
        (scheme, code)
        for scheme in ("FRAC", "IRAC", "HRAC")
        for code in row.get(scheme.lower(), family.get(scheme.lower(), ()))
    )
    half_life = tuple(sorted((Decimal(ph), Decimal(h)) for ph, h in row.get("half_life", {}).items()))
    return Substance(row["name"], groups, row.get("formula"), codes, half_life)


def _with_implied(names: Iterable[str], implied: Mapping[str, tuple[str, ...]]) -> frozenset[str]:
    found: set[str] = set()
    waiting = [name.casefold() for name in names]
    while waiting:
        name = waiting.pop()
        if name not in found:
            found.add(name)
            waiting.extend(implied.get(name, ()))
    return frozenset(found)


def _crop_groups(raw: Mapping[str, list[str]]) -> dict[str, frozenset[str]]:
    names = {name for members in raw.values() for name in members} | set(raw)
    upward = {name: {group for group, members in raw.items() if name in members} for name in names}
    return {
        name: frozenset({name} | above | {g for a in above for g in upward.get(a, ())})
        for name, above in upward.items()
    }


@lru_cache(maxsize=4096)
def substance(name: str) -> Substance | None:
    """Return the substance of that name or one that begins with its name ("captan technical"), else None."""
    table = _table()
    wanted = " ".join(name.casefold().split())
    found = table.substances.get(wanted)
    if found is not None:
        return found
    for known in table.longest_first:
        if len(known) < _WORD:
            break
        if wanted.startswith(known) and not wanted[len(known) : len(known) + 1].isalnum():
            return table.substances[known]
    return None


@lru_cache(maxsize=2048)
def groups_of(name: str) -> frozenset[str]:
    """Return the groups of an ingredient named so, its own name with them.

    A name that is not in the table still tells what it is by its words where that errs on the safe side: a
    "copper" of any kind is copper, an "… oil" is an oil, a phosphite is a phosphite.
    """
    wanted = " ".join(name.casefold().split())
    found = substance(wanted)
    if found is not None:
        return found.groups | {wanted}
    words = set(re.findall(r"[a-z]+", wanted))
    guessed = [wanted]
    if words & {"copper", "cupric", "cuprous"}:
        guessed.append("copper")
    if wanted.endswith(" oil"):
        guessed.append("oil")
    if words & {"phosphite", "phosphites", "phosphonate", "phosphonates"}:
        guessed.append("phosphite")
    if words & {"polysulfide", "polysulphide"}:
        guessed.append("lime sulfur")
    return _with_implied(guessed, _table().implied)


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
        shared |= _with_implied([adjuvant], _table().implied)
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
    of_formula = {known for known in _table().metals if metal_fraction(name, known) is not None}
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


@lru_cache(maxsize=1024)
@lru_cache(maxsize=512)
def crop_name(name: str) -> str:
    """Return a crop's name as the tables have it: lower case, one of it (`Sweet Cherries` is sweet cherry)."""
    wanted, crops = " ".join(name.casefold().split()), _table().crops
    for ending, instead in (("", ""), ("ies", "y"), ("es", ""), ("s", "")):
        single = wanted.removesuffix(ending) + instead
        if wanted.endswith(ending) and single in crops:
            return single
    return wanted


def names_of_crop(crop: str) -> frozenset[str]:
    """Return the crop and the crop groups it is in: peach is a stone fruit, sweet cherry is a cherry."""
    name = crop_name(crop)
    return _table().crops.get(name, frozenset({name}))


def known_groups() -> frozenset[str]:
    """Return every name of a substance and every group that a row may speak of."""
    table = _table()
    of_substances = frozenset().union(*(found.groups for found in table.substances.values()))
    more = frozenset(table.implied) | {name for names in table.implied.values() for name in names}
    return frozenset(table.substances) | of_substances | more | ADJUVANTS | CARRIERS


def known_crops() -> frozenset[str]:
    """Return every crop and crop group of the table."""
    return frozenset(_table().crops)


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


def is_metal(name: str) -> bool:
    """Say whether a name is that of an element which is counted as such."""
    return name.casefold() in _table().metals


@lru_cache(maxsize=4096)
def metal_fraction(ingredient_name: str, metal: str) -> Decimal | None:
    """Return the share of an element in an ingredient by weight, from its formula; None where it has none.

    Example: copper hydroxide, Cu(OH)2, is 0.6513 copper (63.546 of 97.560 g/mol).
    """
    found, symbol = substance(ingredient_name), _table().metals.get(metal.casefold())
    if found is None or found.formula is None or symbol is None:
        return None
    return fraction_of(found.formula, symbol) or None


@lru_cache(maxsize=512)
def fraction_of(formula: str, symbol: str) -> Decimal:
    """Return the share of an element in a compound by weight; hydrates as `CuSO4.5H2O` or with `·`.

    :raises FormulaError: for a formula that cannot be read
    """
    atoms, masses = atoms_of(formula), _table().masses
    total = sum((masses[name] * count for name, count in atoms.items()), Decimal(0))
    return EXACT.divide(masses.get(symbol, Decimal(0)) * atoms.get(symbol, 0), total)


def molar_mass(formula: str) -> Decimal:
    """Return the mass of one mole [g/mol].

    :raises FormulaError: for a formula that cannot be read
    """
    masses = _table().masses
    return sum((masses[name] * count for name, count in atoms_of(formula).items()), Decimal(0))


def atoms_of(formula: str) -> dict[str, int]:
    """Return how many atoms of each element a formula counts.

    :raises FormulaError: for a formula that cannot be read
    """
    total: dict[str, int] = {}
    parts = _HYDRATE.split(formula.strip())
    for part in parts:
        lead = re.match(r"\d*", part, re.ASCII)
        times = int(lead[0]) if lead and lead[0] else 1
        for name, count in _atoms(part[len(lead[0]) if lead else 0 :], formula).items():
            total[name] = total.get(name, 0) + count * times
    return total


def _atoms(part: str, formula: str) -> dict[str, int]:
    stack: list[dict[str, int]] = [{}]
    tokens = _tokens(part, formula)
    place = 0
    while place < len(tokens):
        token = tokens[place]
        place += 1
        if token == "(":
            stack.append({})
            continue
        group = {token: 1}
        if token == ")":
            if len(stack) == 1:
                raise FormulaError(f"{formula[:40]!r} closes a bracket that was not opened")
            group = stack.pop()
        times = 1
        if place < len(tokens) and tokens[place].isdigit():
            times, place = int(tokens[place]), place + 1
        for name, count in group.items():
            stack[-1][name] = stack[-1].get(name, 0) + count * times
    if len(stack) != 1 or not stack[0]:
        raise FormulaError(f"{formula[:40]!r} is not a formula such as CuSO4.5H2O")
    return stack[0]


def _tokens(part: str, formula: str) -> list[str]:
    tokens = [match[0] for match in _TOKEN.finditer(part)]
    if "".join(tokens) != part or len(part) > 60 or (tokens and tokens[0].isdigit()):
        raise FormulaError(f"{formula[:40]!r} is not a formula such as CuSO4.5H2O")
    unknown = [token for token in tokens if token[0].isalpha() and token not in _table().masses]
    if unknown:
        raise FormulaError(f"{unknown[0]!r} in {formula[:40]!r} is not an element of the table")
    return tokens


def half_lives(name: str) -> tuple[tuple[Decimal, Decimal], ...]:
    """Return (pH, hours) pairs of hydrolysis in water, rising in pH; empty where none is known."""
    found = substance(name)
    return found.half_life if found is not None else ()


def formulas() -> tuple[str, ...]:
    """Return the names of the substances whose formula is known."""
    return tuple(name for name, found in _table().substances.items() if found.formula is not None)


def metals() -> Mapping[str, str]:
    """Return the symbol of each metal by its English name, lower case."""
    return _table().metals
