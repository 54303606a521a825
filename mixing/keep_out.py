"""How far everybody but the handlers stays away while the spray is on.

Source: rules/protection.toml, table `distance` (40 CFR 170.405(a)(1)).
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from typing import Any

from mixing.protection import TABLE
from mixing.quantities import Quantity


@dataclass(frozen=True, slots=True)
class KeepOut:
    """The distance around the point of discharge, in every direction, and where it is written."""

    distance: Quantity
    source: str
    locator: str


def around(kind: str, *, droplets: str | None = None) -> KeepOut:
    """Return the distance for a kind of sprayer.

    :param kind: as in the mix check (`backpack`, `airblast` …)
    :param droplets: `fine` or `medium_or_larger`; where nobody said, the larger distance holds
    """
    row = next(row for row in _rows()["distance"] if kind in row["sprayers"])
    near = droplets == "medium_or_larger"
    feet = row["feet"] if near else row.get("feet_if_finer_than_medium", row["feet"])
    source = _rows()["sources"][row["source"]]
    return KeepOut(Quantity(Decimal(feet), "ft"), source["title"], row["locator"])


@cache
def _rows() -> dict[str, Any]:
    return tomllib.loads(TABLE.read_text("utf-8"))
