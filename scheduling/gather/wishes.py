"""What a plan is asked for: each line on each block whose turn it is, with its days, its mix and its risk."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from math import erf, sqrt
from typing import Any

from django.utils.translation import gettext_noop as _

from mixing.quantities import plain
from orchard.blocks.models import Block
from orchard.tasks.models import WorkOrder
from orchard.tasks.told import Told
from scheduling.assignment.problem import LEFT_OUT
from scheduling.bounds import Bound
from scheduling.forecast import LastSafeDay
from scheduling.gather import ground
from scheduling.gather.mixes import Mix
from scheduling.gather.skies import Opening, Stretch
from scheduling.lines import BlockSeen, ProgrammeLine
from scheduling.planner import BUD_SWELL_LEAD

OF_A_BUD_STAGE = 57
"""A line that ends at this BBCH stage or before is over with the buds: it needs a forecast."""
A_DAY_LATER = 2
"""A thousandth more for each day that is let pass: the forecast may turn (our estimate)."""
LEAVES_DOWN = 15
"""The same where the wounds are open now: after leaf fall the earliest fit day is the best."""
A_DRY_DAY_LESS = 10
Z80 = 1.2816
"""80 % of a normal distribution lie within so many standard deviations of its middle."""


@dataclass(slots=True)
class Wish:
    """One line on one block.

    :ivar since: the first day on which it may be done, or might have been
    :ivar after: the same within the plan
    :ivar last_safe: its last day, where buds limit it
    :ivar closed: days on which the mix is forbidden, and why
    """

    line: ProgrammeLine
    raw: dict[str, Any]
    block: Block
    seen: BlockSeen
    kind: str
    since: dt.date
    after: dt.date
    last_safe: LastSafeDay | None
    opening: Opening
    bounds: tuple[Bound, ...] = ()
    mix: Mix | None = None
    draft: WorkOrder | None = None
    closed: dict[dt.date, Told] = field(default_factory=dict)
    title: str | None = None

    @property
    def own(self) -> WorkOrder | None:
        """The draft, where it holds a mix of its own that its line does not have."""
        return self.draft if ground.mix_of(self.raw, self.draft) is not self.raw else None

    @property
    def id(self) -> str:
        """The name of the job in the assignment."""
        return f"{self.kind} {self.line.id} {self.block.id}"

    @property
    def stretches(self) -> list[Stretch]:
        """The open stretches on its days."""
        return [
            one
            for one in self.opening.stretches
            if one.on >= self.after
            and (self.last_safe is None or one.on <= self.last_safe.on)
            and one.on not in self.closed
        ]


def over_with_the_buds(line: ProgrammeLine) -> bool:
    """Say whether a line is a spray that may not be done once the buds are past their stage."""
    return line.kind == "spray" and not line.year_round and line.stage[1] <= OF_A_BUD_STAGE


def ends_with_the_buds(line: ProgrammeLine) -> bool:
    """Say whether a line is done at the end of its stages, so that it needs a forecast of it."""
    return over_with_the_buds(line) and line.leaf_drop_minimum_percent is None


def opens(line: ProgrammeLine, last_safe: LastSafeDay | None, earliest: dt.date) -> dt.date:
    """Return the first day of a line: at bud swell no sooner than some weeks before the buds burst."""
    if last_safe is None or not ends_with_the_buds(line):
        return earliest
    return max(earliest, last_safe.rests_on.predicted - BUD_SWELL_LEAD)


def risk_of(wish: Wish, stretch: Stretch) -> int:
    """Return the risk of missing the limit with a spray in a stretch, in a thousand.

    The odds that the buds are there by then, what waiting may cost, a little for wind and for rain after it.
    """
    first = min(one.on for one in wish.stretches)
    wait = LEAVES_DOWN if wish.line.leaf_drop_minimum_percent is not None else A_DAY_LATER
    risk = _buds_by(wish.last_safe, stretch.on) + wait * (stretch.on - first).days
    if wish.kind == "spray":
        risk += A_DRY_DAY_LESS * (2 - stretch.dry_days) + min(9, round(stretch.wind or 0))
    return min(LEFT_OUT - 1, round(risk))


def _buds_by(last_safe: LastSafeDay | None, on: dt.date) -> float:
    if last_safe is None:
        return 0.0
    forecast = last_safe.rests_on
    spread = max(1.0, (forecast.high80 - forecast.low80).days / 2 / Z80)
    ahead = (on - forecast.predicted).days + 0.5
    return 1000 * 0.5 * (1 + erf(ahead / spread / sqrt(2)))


def because(wish: Wish, stretch: Stretch) -> list[Told]:
    """Return why the day is the day."""
    found: list[Told] = []
    if wish.kind == "leaf_removal":
        says = _("leaves hang on before %(line)s: take them off by hand, or wait for them to fall")
        return [Told(says, line=wish.line.title)]
    if wish.line.leaf_drop_minimum_percent is not None and wish.seen.leaf_drop_percent is not None:
        down = plain(wish.seen.leaf_drop_percent)
        says = _("%(percent)s %% of the leaves were down on %(on)s")
        found.append(Told(says, percent=down, on=wish.seen.observed_on))
    if wish.last_safe is not None:
        found.append(_last_safe(wish.last_safe))
    if stretch.wind is not None:
        found.append(Told(_("mean wind %(mph)s mph"), mph=f"{round(stretch.wind * 2.2369, 1):g}"))
    if wish.kind == "spray":
        found.append(_dry_days(stretch.dry_days))
    return [*found, *(wish.mix.because if wish.mix else ())]


def _last_safe(day: LastSafeDay) -> Told:
    if day.rests_on.model == "observed":
        return Told(_("%(on)s was the last day before budburst"), on=day.on)
    says = _(
        "%(on)s is the last day before bud colour in nine springs of ten (by budburst, to be safe; %(model)s)"
    )
    return Told(says, on=day.on, model=day.rests_on.model)


def _dry_days(number: int) -> Told:
    if number == 1:
        return Told(_("one dry day known after it"))
    return Told(_("%(number)s dry days known after it"), number=number)
