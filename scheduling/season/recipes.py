"""The recipe: what was written down first, checked on every block, and what it was cut to."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

from orchard.tasks import checks
from orchard.tasks.models import MixCheck
from scheduling.season import deeds, telling
from scheduling.season.farm import recipe, written
from scheduling.season.setting import Season


def try_recipes(season: Season, on: dt.date) -> None:
    """Check the recipe that the manager wrote down first, and the one that it was cut to."""
    for rate in ("first_rate", "rate"):
        wanted = recipe(season.made, rate)
        season.say(f"\n  Recipe: {', '.join(_rate_in_words(season, one) for one in wanted)}")
        for name in season.made.blocks:
            report = check(season, block=name, wanted=wanted, at=season.clock(on)).report
            season.say(f"  {name}")
            season.tell(telling.doses(report, season.names))
            season.tell(telling.findings(report, least=("stop", "caution")))


def _rate_in_words(season: Season, one: Mapping[str, Any]) -> str:
    return f"{telling.words(one['rate'])} {season.names[one['product']]}"


def check(
    season: Season, *, block: str, wanted: Sequence[Mapping[str, Any]], at: dt.datetime, dry_run: bool = False
) -> MixCheck:
    made, row = season.made, deeds.block_row(block)
    products = [checks.Wanted(deeds.product_of(made, one["product"]), one["rate"]) for one in wanted]
    return checks.check_mix(
        farm=made.farm,
        block=made.blocks[block],
        sprayer=made.sprayers[row["sprayer"]],
        products=products,
        spray={"volume_per_tree": dict(row["volume_per_tree"])},
        targets=["leaf curl"],
        water=dict(written()["water"]),
        at=at,
        dry_run=dry_run,
        by=made.manager,
        now=at,
    )
