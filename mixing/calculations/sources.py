"""Where the formulas and the tables come from: one file of sources, and the tables of published values."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import lru_cache
from importlib import resources
from typing import Any

TABLES = "tables"
SHOWN = ("title", "publisher", "year", "where")


@lru_cache(maxsize=32)
def table(name: str) -> Mapping[str, Any]:
    """Return the table of published values `tables/<name>.toml`."""
    file = resources.files("mixing.calculations") / TABLES / f"{name}.toml"
    return tomllib.loads(file.read_text(encoding="utf-8"))


def source(key: str) -> dict[str, object]:
    """Return `{"title", "publisher", "year", "where"}` of a source.

    :raises KeyError: where `sources.toml` has no such source
    """
    found = table("sources")["sources"][key]
    return {name: found[name] for name in SHOWN if name in found}
