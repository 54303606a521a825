"""Two-letter codes of formulations, and which of them are weighed rather than poured.

Source, from memory: Catalogue of pesticide formulation types and international coding system, Technical
Monograph 2, CropLife International, 7th edition, 2017.
"""

from __future__ import annotations

import difflib
import re

from mixing.formulation_types import all_types

# fmt: off
DRY = frozenset((
    "AB", "BB", "BR", "CB", "CG", "CP", "DP", "DS", "DT", "EG", "EP", "FD", "FG",
    "FK", "FP", "FR", "FT", "FW", "GB", "GE", "GG", "GP", "GR", "MG", "PB", "PC", "PO",
    "PR", "PS", "RB", "SA", "SB", "SG", "SP", "SS", "ST", "TB", "TP", "WG", "WP",
    "WS", "WT",
))
"""Powders, granules, tablets, baits."""

POURED = frozenset((
    "AE", "AL", "AP", "CF", "CL", "CS", "DC", "EC", "ED", "EO", "ES", "EW", "FS", "FU",
    "GA", "GD", "GF", "GL", "GS", "GW", "HN", "KK", "KL", "KN", "KP", "LA", "LB", "LN", "LS", "LV",
    "MC", "ME", "MR", "MV", "OD", "OF", "OL", "OP", "PA", "SC", "SD", "SE", "SL",
    "SO", "SU", "TC", "TK", "UL", "VP", "XX", "ZC", "ZE", "ZW",
))
# fmt: on

FORMULATIONS = DRY | POURED

TRADE_CODES = {
    "DF": "WG", "WDG": "WG", "DG": "WG", "W": "WP", "D": "DP", "G": "GR",
    "WSP": "WP with packet true", "WSB": "WP with packet true",
    "F": "SC", "FL": "SC", "AS": "SC", "L": "SC or SL", "E": "EC", "S": "SP or SL", "SN": "SL",
    "M": "CS or ME",
}  # fmt: skip
"""Letters on American labels, and the code that is meant: named in an error, never taken. Common practice."""

USUAL = ("WP", "WG", "SP", "SG", "SC", "SE", "EC", "EW", "OD", "SL")
"""What most products for a spray tank are: shown where nothing is near. Common practice, no source."""


def nearest(given: str) -> list[str]:
    """Return one or two codes that some words may have meant: `wettable powder`, `50WP`, `WQ`; none is taken.

    Codes of what goes into a spray tank come before those of baits, dusts and seed dressings.
    """
    words = given[:60].strip()
    letters = [TRADE_CODES.get(part, part) for part in re.findall("[A-Z]+", words.upper())]
    written = [code for code in letters if code in FORMULATIONS or code in TRADE_CODES.values()]
    if written:
        return written[:2]
    kinds = sorted(all_types().values(), key=lambda kind: (kind.diluted_in != "water", kind.code))
    names = {kind.name.casefold(): kind.code for kind in reversed(kinds)}
    named = difflib.get_close_matches(words.casefold(), names, n=2, cutoff=0.6)
    if words.casefold() in names:
        return [names[words.casefold()]]
    if named:
        return [names[name] for name in named]
    codes = [code for code in USUAL if _one_letter_off(words.upper(), code)]
    codes += [
        kind.code for kind in kinds if kind.code not in codes and _one_letter_off(words.upper(), kind.code)
    ]
    return codes[:2]


def _one_letter_off(word: str, code: str) -> bool:
    """Say whether a word is a code with one letter wrong, left out, doubled or swapped."""
    if len(word) == 2:
        return word == code[::-1] or word[0] == code[0] or word[1] == code[1]
    return len(word) == 3 and any(word[:at] + word[at + 1 :] == code for at in range(3))
