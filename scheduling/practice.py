"""How long a job takes and when people work: the estimates of `practice.toml`, that no dose rests on."""

from __future__ import annotations

import tomllib
from datetime import time
from decimal import Decimal
from functools import lru_cache
from math import ceil
from pathlib import Path
from typing import Any

from mixing.quantities import Quantity, parse_quantity

TABLE = Path(__file__).with_name("practice.toml")


@lru_cache(maxsize=1)
def practice() -> dict[str, Any]:
    """Return the table."""
    return tomllib.loads(TABLE.read_text(encoding="utf-8"))


def working_day() -> tuple[time, time]:
    """Return when the day's work begins and ends, in local time."""
    day = practice()["day"]
    return day["begins"], day["ends"]


def steps(minutes: float) -> int:
    """Return minutes rounded up to whole steps, one at least."""
    step = practice()["day"]["step_minutes"]
    return int(step * max(1, ceil(minutes / step)))


def loads_of(litres: float | None, tank: Quantity | None) -> int:
    """Return how many loads a job takes; one where the spray is not known or the tank has no end."""
    if litres is None or tank is None:
        return 1
    return max(1, ceil(Decimal(litres) * 1000 / tank.in_base() - Decimal("1e-9")))


def spray_minutes(
    *, kind: str, litres: float | None, loads: int, drive: float, flow: Quantity | None = None
) -> tuple[int, int]:
    """Return the minutes of a spray, and those of them that go into filling and driving.

    :param drive: minutes from the place where tanks are filled to the block; each load goes there and back
    :param flow: what the sprayer gave at its calibration
    """
    table = practice()
    row = table["sprayers"][kind]
    a_minute = float((flow or parse_quantity(row["flow"])).to("L/min").value)
    road = loads * (row["fill_minutes"] + 2 * drive)
    spraying = (litres or 0) / a_minute
    return steps(road + spraying + table["job"]["rinse_minutes"]), round(road)


def other_minutes(
    *, kind: str, drive: float, trees: int | None, people: int, leaves_on_percent: Decimal | None = None
) -> tuple[int, int]:
    """Return the minutes of work without spray, and those of them on the road."""
    table = practice()
    if kind == "leaf_removal":
        row = table["leaf_removal"]
        share = float(leaves_on_percent if leaves_on_percent is not None else 100) / 100
        hands = row["minutes_a_tree"] * (trees or 0) * share / max(1, people)
        minutes = max(row["least_minutes"], hands)
    else:
        minutes = table.get(kind, {}).get("minutes", table["job"]["other_minutes"])
    return steps(minutes + 2 * drive), round(2 * drive)
