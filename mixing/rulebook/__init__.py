"""The rule tables of `mixing/rules`: loaded once, at the first check, refused as a whole if faulty.

A row that speaks becomes a finding with the row's id and parameters: `first` and `second` (names of the two
products), `product`, `value`, `limit` … and `others`, which names the publications that say otherwise, ready
to print, empty where there is none.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from mixing import chemistry
from mixing.rulebook.index import Rulebook
from mixing.rulebook.loader import RulebookFaults, read_folder
from mixing.rulebook.place import Place, in_place, on_crop
from mixing.rulebook.rivals import strictest
from mixing.rulebook.rows import Rule, Source, When

FOLDER = Path(__file__).resolve().parent.parent / "rules"

__all__ = [
    "Place",
    "Rule",
    "Rulebook",
    "RulebookFaults",
    "Source",
    "When",
    "in_place",
    "load",
    "on_crop",
    "strictest",
]


@lru_cache(maxsize=1)
def load() -> Rulebook:
    """Return the rules that stand in the product.

    :raises RulebookFaults: with every fault of every table
    """
    return Rulebook(read_folder(FOLDER, also=(chemistry.FILE,)))
