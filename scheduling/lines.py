"""A line of the programme on a block: whether it is its turn, and from when on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from decimal import Decimal

from django.utils.translation import gettext_noop as _

from mixing.quantities import Quantity, plain
from orchard.tasks.models import WorkOrder
from orchard.tasks.told import Told, joined

LEAF_FALL = (93, 97)
YEAR_ROUND = (0, 99)
"""The stages of a line that names none: nobody has to look before it."""


@dataclass(frozen=True, slots=True)
class ProgrammeLine:
    """One spray of the programme.

    :ivar stage: first and last BBCH stage, both included; may wrap round the year (97 to 53)
    :ivar blocks: names or ids of the blocks, in the order in which they are to be done
    :ivar repeat_after: shortest time from a spray of this line to its next; no repeat where None
    """

    id: str
    title: str
    kind: str
    blocks: tuple[str, ...]
    stage: tuple[int, int]
    products: tuple[str, ...] = ()
    leaf_drop_minimum_percent: Decimal | None = None
    repeat_after: Quantity | None = None

    @property
    def year_round(self) -> bool:
        """Whether no stage limits it."""
        return self.stage == YEAR_ROUND


@dataclass(frozen=True, slots=True)
class BlockSeen:
    """What is known of a block on the day of planning.

    :ivar bbch: latest observed stage; None where nobody has looked
    :ivar observed_on: the day of that observation
    :ivar done: days on which each line was done here, by line id
    """

    block: str
    bbch: int | None = None
    leaf_drop_percent: Decimal | None = None
    observed_on: date | None = None
    done: Mapping[str, tuple[date, ...]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A line and block without a job.

    :ivar code: `stage_unknown`, `too_early`, `stage_passed`, `leaf_drop_unknown`, `leaf_drop_unmet`, `done`,
        `no_forecast`, `no_open_day`, `block_closed`, `interval`, `too_long`, `mix_stop`, `no_sprayer`,
        `crew_not_qualified`, `stock_short`, `no_crew` or `planned_already`
    """

    line: str
    block: str
    code: str
    says: str


def with_draft(one: LeftOut, draft: WorkOrder | None) -> LeftOut:
    """Return a reason that tells as well of the draft which stays though it cannot be done as it stands."""
    if draft is None:
        return one
    stays = _("order %(number)s stays a draft as it was: move it by hand, or cancel it")
    return replace(one, says=joined((one.says, Told(stays, number=draft.number)), "; "))


def barred(line: ProgrammeLine, block: BlockSeen) -> LeftOut | None:
    """Return why it is not the line's turn on the block; None where it is."""

    def out(code: str, says: str, **facts: object) -> LeftOut:
        return LeftOut(line.id, block.block, code, Told(says, **facts))

    if block.bbch is None and not line.year_round:
        return out("stage_unknown", _("nobody has looked at the buds of %(block)s"), block=block.block)
    if block.bbch is not None and not in_window(block.bbch, line.stage):
        passed = line.stage[1] < block.bbch < LEAF_FALL[0]
        code = "stage_passed" if passed else "too_early"
        says = _("%(block)s is at BBCH %(bbch)s, the line wants %(first)s to %(last)s")
        first, last = line.stage
        return out(code, says, block=block.block, bbch=block.bbch, first=first, last=last)
    if line.leaf_drop_minimum_percent is not None:
        wanted = plain(line.leaf_drop_minimum_percent)
        if block.leaf_drop_percent is None:
            says = _("nobody has counted the leaves of %(block)s; %(wanted)s %% is wanted")
            return out("leaf_drop_unknown", says, block=block.block, wanted=wanted)
        if block.leaf_drop_percent < line.leaf_drop_minimum_percent:
            found = plain(block.leaf_drop_percent)
            says = _(
                "%(found)s %% of the leaves of %(block)s are down, %(wanted)s %% are wanted: wait, or take "
                "them off by hand"
            )
            return out("leaf_drop_unmet", says, found=found, block=block.block, wanted=wanted)
    if block.done.get(line.id) and line.repeat_after is None:
        says = _("done on %(on)s, and the line is not repeated")
        return out("done", says, on=str(max(block.done[line.id])))
    return None


def in_window(bbch: int, stage: tuple[int, int]) -> bool:
    """Say whether a stage lies in a window that may wrap round the year, both ends included."""
    first, last = stage
    return first <= bbch <= last if first <= last else bbch >= first or bbch <= last


def not_before(line: ProgrammeLine, block: BlockSeen) -> date:
    """Return the first day on which the line may be done again on the block."""
    done = block.done.get(line.id)
    if not done or line.repeat_after is None:
        return date.min
    days = line.repeat_after.in_base() / 86400
    return max(done) + timedelta(days=int(days.to_integral_value(rounding="ROUND_CEILING")))
