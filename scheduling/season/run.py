"""Take the invented farm through the real winter: each step by the services, each word from the rows."""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Callable
from typing import Any

from orchard.api.refusals import Refusal
from orchard.blocks import queries as ground
from orchard.blocks import services as ground_services
from orchard.inventory import queries as stock
from orchard.tasks import queries
from scheduling import bounds, outbox
from scheduling.season import deeds, job, story, telling
from scheduling.season.farm import recipe, written
from scheduling.season.outing import given_out, order_for, refused_start
from scheduling.season.recipes import check, try_recipes
from scheduling.season.setting import Season


def live(season: Season) -> None:
    """Live through the season, step by step."""
    for on, steps in itertools.groupby(_steps(season), key=lambda step: step.on):
        season.head = telling.heading(on)
        for step in steps:
            _DO[type(step)](season, step)
        if on == story.script().visits[0].on:
            try_recipes(season, on)


def _steps(season: Season) -> tuple[story.Step, ...]:
    labels = [
        bound
        for row in written()["product"]
        for crop in sorted({block.crop for block in season.made.blocks.values()})
        for bound in bounds.of_label(row["label"], crop=crop)
    ]
    in_force = bounds.in_force(labels=labels, farm=bounds.of_farm(season.made.farm.limits))
    return story.season_days(season.cut, bounds=in_force)


def _look(season: Season, seen: story.Look) -> None:
    season.say(telling.look(seen))
    ground_services.add_stage(
        block=season.made.blocks[seen.block],
        by=season.made.lead,
        now=season.clock(seen.on, dt.time(8)),
        bbch=seen.bbch,
        observed_on=seen.on,
        leaf_drop_percent=seen.leaf_drop_percent,
        note=seen.told.value,
    )


def _waiting(season: Season, waiting: story.Waiting) -> None:
    left = waiting.left_out
    season.say(telling.paragraph(f"{left.block} waits: {left.says} [{left.code}]", hang=2))
    if left.code != "leaf_drop_unmet":
        return
    order = order_for(season, left.line, left.block, waiting.on)
    try:
        deeds.give_out(season.made, order, now=season.clock(waiting.on, dt.time(8)))
    except Refusal as refused:
        season.tell(telling.refusal(refused, what=f"issue order {order.number}, {order.title}"))


def _outlook(season: Season, seen: story.Outlook) -> None:
    season.say("  Outlook")
    season.tell(telling.outlook(seen))
    best: dict[Any, Any] = {forecast.event: forecast for forecast in seen.forecasts}  # the fitted are last
    rows = [
        {name: getattr(one, name) for name in ("predicted", "low80", "high80", "issued_on", "model")}
        | {"event": one.event.value, "bbch": one.bbch}
        for one in best.values()
    ]
    for block in season.made.blocks.values():
        ground_services.store_forecasts(
            block=block,
            issued_on=seen.on,
            forecasts=rows,
            last_safe_day=seen.last_safe.on,
            by=season.made.manager,
            now=season.clock(seen.on, dt.time(6)),
        )


def _planned(season: Season, planned: story.Planned) -> None:
    for draft in planned.jobs:
        season.say(
            telling.paragraph(f"Planned: {draft.block} on {draft.on}; {'; '.join(draft.because)}", hang=2)
        )
    for left in planned.left_out:
        season.say(telling.paragraph(f"Not planned: {left.block}; {left.says} [{left.code}]", hang=2))


def _asked(season: Season, asked: story.Try) -> None:
    order = given_out(season, asked)
    if asked.verdict.open:
        job.spray(season, order, asked)
    elif order.status == "held" and telling.limits(asked.verdict.closed_by) <= season.told:
        season.out(
            f"  {telling.day(asked.on)}: {asked.block} stays held: {telling.brief(asked.verdict.closed_by)}"
        )
    else:
        refused_start(season, order, asked)


def _too_late(season: Season, late: story.TooLate) -> None:
    season.say(telling.paragraph(f"The weather is fine, and a third spray of {late.block} is asked for."))
    made, now = season.made, season.clock(late.on, dt.time(8))
    season.orders.pop((late.line, late.block), None)
    order = order_for(season, late.line, late.block, late.on)
    try:
        deeds.give_out(made, order, now=now)
    except Refusal as refused:
        season.tell(telling.refusal(refused, what=f"issue order {order.number}, {order.title}"))
    deeds.call_off(made, order, reason="bud colour has come", now=now)


_DO: dict[type, Callable[[Season, Any], None]] = {
    story.Look: _look,
    story.Waiting: _waiting,
    story.Try: _asked,
    story.Outlook: _outlook,
    story.Planned: _planned,
    story.TooLate: _too_late,
}


def close(season: Season) -> None:
    """Say what is left: the store, the records, and the copper on each block in the 365 days."""
    made, last = season.made, season.clock(season.cut.weather[-1].on)
    outbox.drain(now=last)
    season.say("\nAt the end of the season")
    season.tell(telling.store(stock.lots(farm=made.farm).order_by("product__name", "expires_on", "id")))
    rows = [("block", "sprays on record", "copper in the 365 days", "label allows", "stage last seen")]
    for name, block in made.blocks.items():
        year = check(season, block=name, wanted=recipe(made, "rate"), at=last, dry_run=True).report["year"]
        seen = ground.stage_on(block=block, at=last)
        rows.append(
            (
                name,
                str(queries.current_on(block=block).count()),
                " ".join(telling.words(one["used"]) for one in year),
                " ".join(telling.words(one["maximum"]) for one in year),
                f"BBCH {seen.bbch} on {seen.observed_on}" if seen else "none",
            )
        )
    season.say("")
    season.tell(telling.table(rows))
