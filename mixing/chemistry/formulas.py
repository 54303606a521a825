"""Formulas: how many atoms of what, and which share of the weight is an element."""

from __future__ import annotations

import re
from decimal import Decimal
from functools import lru_cache

from mixing.chemistry.substances import substance, table
from mixing.quantities import EXACT

_TOKEN = re.compile(r"([A-Z][a-z]?)|(\()|(\))|(\d+)", re.ASCII)
_HYDRATE = re.compile(r"[.·*]")


class FormulaError(ValueError):
    """A formula that cannot be read, or an element that is not in the table of masses."""


def is_metal(name: str) -> bool:
    """Say whether a name is that of an element which is counted as such."""
    return name.casefold() in table().metals


@lru_cache(maxsize=4096)
def metal_fraction(ingredient_name: str, metal: str) -> Decimal | None:
    """Return the share of an element in an ingredient by weight, from its formula; None where it has none.

    Example: copper hydroxide, Cu(OH)2, is 0.6513 copper (63.546 of 97.560 g/mol).
    """
    found, symbol = substance(ingredient_name), table().metals.get(metal.casefold())
    if found is None or found.formula is None or symbol is None:
        return None
    return fraction_of(found.formula, symbol) or None


@lru_cache(maxsize=512)
def fraction_of(formula: str, symbol: str) -> Decimal:
    """Return the share of an element in a compound by weight; hydrates as `CuSO4.5H2O` or with `·`.

    :raises FormulaError: for a formula that cannot be read
    """
    atoms, masses = atoms_of(formula), table().masses
    total = sum((masses[name] * count for name, count in atoms.items()), Decimal(0))
    return EXACT.divide(masses.get(symbol, Decimal(0)) * atoms.get(symbol, 0), total)


def molar_mass(formula: str) -> Decimal:
    """Return the mass of one mole [g/mol].

    :raises FormulaError: for a formula that cannot be read
    """
    masses = table().masses
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
    unknown = [token for token in tokens if token[0].isalpha() and token not in table().masses]
    if unknown:
        raise FormulaError(f"{unknown[0]!r} in {formula[:40]!r} is not an element of the table")
    return tokens
