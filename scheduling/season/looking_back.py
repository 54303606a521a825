"""After the season: what was counted in treated and untreated trees, and the review that comes of it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from typing import Any

from mixing.quantities import plain
from orchard.blocks import services as ground
from orchard.farms.actors import Role
from orchard.tasks.review import BlockReview, season_review
from scheduling.season import story, telling
from scheduling.season.setting import Season


def look_back(season: Season) -> None:
    """Count, as `story.toml` invents it, and tell the season block by block."""
    season.say("\nWhat came of it (the counts are invented for the demonstration)")
    for counted in story.script().counts:
        _count(season, counted)
    plan = season.programme
    review = season_review(farm=season.made.farm, since=plan.starts_on, until=plan.ends_on, programme=plan)
    for block in review.blocks:
        season.tell(_told(block))
    for says in review.says:
        season.say("")
        season.say(telling.paragraph(says))


def _count(season: Season, counted: Mapping[str, Any]) -> None:
    at = season.clock(counted["on"], dt.time(9))
    for untreated, (found, of) in ((False, counted["treated"]), (True, counted["untreated"])):
        ground.add_scouting(
            block=season.made.blocks[counted["block"]],
            target=counted["target"],
            method=counted["method"],
            count=found,
            sample_size=of,
            untreated=untreated,
            observed_at=at,
            by=season.made.actors[Role.ADVISER],
            now=at,
        )


def _told(block: BlockReview) -> Iterator[str]:
    done = sum(1 for line in block.lines if line.state == "done")
    inside = sum(1 for spray in block.sprays if spray.in_window)
    yield (
        f"  {block.block}: {done} of {len(block.lines)} lines of the plan done, "
        f"{inside} of {len(block.sprays)} sprays inside their stage window"
    )
    for metal in block.metals:
        if metal.per_area is not None:
            yield f"    {plain(metal.per_area.value, 2)} {metal.per_area.unit} of {metal.of} in the season"
    for result in block.results:
        yield telling.paragraph(result.says, indent=4, hang=2)
    for change in block.changes:
        yield telling.paragraph(f"next year: {change.says} [{change.code}]", indent=4, hang=2)
