"""Jobs that nobody has checked before, of products that a farm has: other sizes, rates, days and weather.

What a check may remember is what recurs in them: the labels, the rules and the units.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from decimal import Decimal

from tests.mixing.mixes import Json, q

STAGES = (0, 1, 3, 7, 9, 51, 53, 54, 55, 56, 57)
"""Those that the labels of the first job allow."""


def other_jobs(first: Json, *, count: int, seed: int = 1) -> Iterator[Json]:
    """Yield requests like the first, of six loads too, no two alike in any amount."""
    chance = random.Random(seed)
    for _ in range(count):
        yield {
            **first,
            "stage": {"bbch": chance.choice(STAGES), "observed_on": f"2027-01-{chance.randint(18, 28)}"},
            "at": f"2027-01-{chance.randint(28, 31)}T{chance.randint(6, 11):02d}:15:00-08:00",
            "water": {
                "ph": _between(chance, "6", "8.5"),
                "hardness": q(_between(chance, "50", "300"), "ppm"),
                "temperature": q(_between(chance, "6", "12"), "degC"),
            },
            "spray": {
                "total": q(_between(chance, "20.1", "23.9"), "gal"),
                "area": q(_between(chance, "0.2", "0.4"), "acre"),
            },
            "weather": {
                "wind": q(_between(chance, "3.1", "9"), "mph"),
                "temperature": q(_between(chance, "5", "15"), "degC"),
                "minimum_next_24h": q(_between(chance, "1", "5"), "degC"),
                "humidity_percent": _between(chance, "50", "90"),
                "rain_within_h": _between(chance, "20", "60"),
                "inversion": False,
            },
            "products": [
                {**product, "rate": _up_to(chance, product["rate"], "0.7")} for product in first["products"]
            ],
            "history": [
                {
                    **done,
                    "on": f"{done['on'][:8]}{chance.randint(10, 28)}",
                    "rate": _up_to(chance, done["rate"], "0.7"),
                    "spray_volume": _up_to(chance, done["spray_volume"], "0.9"),
                }
                for done in first["history"]
            ],
        }


def _between(chance: random.Random, lowest: str, highest: str) -> str:
    """Return a number of four places."""
    low, high = (int(Decimal(bound) * 10000) for bound in (lowest, highest))
    return str(Decimal(chance.randint(low, high)) / 10000)


def _up_to(chance: random.Random, most: Json, share: str) -> Json:
    """Return an amount between a share of the most and the most."""
    highest = Decimal(most["value"])
    return q(_between(chance, str(highest * Decimal(share)), str(highest)), most["unit"])
