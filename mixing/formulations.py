"""Two-letter codes of formulations, and which of them are weighed rather than poured.

Source, from memory: Catalogue of pesticide formulation types and international coding system, Technical
Monograph 2, CropLife International, 7th edition, 2017.
"""

from __future__ import annotations

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
