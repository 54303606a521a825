"""Blocks so near to each other that people in the one have to wait for the other.

While a spray is on nobody but its handlers is within the distance that it keeps people away, and a block
beside one in re-entry is closed as its windows say.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import permutations

from mixing import keep_out
from orchard.blocks import outlines
from orchard.blocks import queries as blocks
from orchard.blocks.models import Block
from orchard.crews.models import Sprayer
from orchard.farms.models import Farm
from orchard.tasks.models import WorkOrder
from orchard.tasks.states import ENTERING
from orchard.tasks.windows import BESIDE_M
from scheduling.assignment.problem import Span
from scheduling.gather.bookings import LONG_AGO, Frame, span_of
from scheduling.gather.wishes import Wish

Pair = tuple[str, str]


class Neighbours:
    """How far apart blocks lie, each pair measured once, and which of them nobody may enter yet."""

    def __init__(self, farm: Farm, *, sprayers: Iterable[Sprayer], now: dt.datetime) -> None:
        zones = [keep_out.around(one.kind, droplets=one.droplets).distance.in_base() for one in sprayers]
        self._away_m = float(max(zones, default=0))
        self._metres: dict[Pair, float] = {}
        self._resting = list(
            blocks.blocks(farm=farm).filter(re_entry_until__gt=now, outline__isnull=False).order_by("id")
        )

    def closed_to(self, wish: Wish, fixed: Iterable[WorkOrder], frame: Frame) -> Iterator[Span]:
        """Yield when a block is closed by what is beside it: re-entry, and orders that stay."""
        for other in self._resting:
            if other != wish.block and self._apart(wish.block, other) <= BESIDE_M:
                assert other.re_entry_until is not None
                end = frame.minute(other.re_entry_until)
                yield end - LONG_AGO, end
        for order in fixed:
            if order.block is None or order.block == wish.block:
                continue
            if _apart_in_time(order.kind, wish.kind) and self._too_near(wish.block, order.block):
                yield span_of(order, frame)

    def pairs(self, wishes: Sequence[Wish]) -> Mapping[str, frozenset[str]]:
        """Return the jobs on other blocks that must not be done at the same time, by the job."""
        found: dict[str, set[str]] = {}
        for one, other in permutations(wishes, 2):
            if (
                one.block != other.block
                and _apart_in_time(one.kind, other.kind)
                and self._too_near(one.block, other.block)
            ):
                found.setdefault(one.id, set()).add(other.id)
        return {id: frozenset(others) for id, others in found.items()}

    def _too_near(self, one: Block, other: Block) -> bool:
        return self._apart(one, other) < self._away_m

    def _apart(self, one: Block, other: Block) -> float:
        if one.outline is None or other.outline is None:
            return float("inf")
        first, second = sorted((one, other), key=lambda block: block.key)
        pair = str(first.id), str(second.id)
        if pair not in self._metres:
            self._metres[pair] = outlines.distance_m(one.outline, other.outline)
        return self._metres[pair]


def _apart_in_time(one: str, other: str) -> bool:
    """Say whether of two kinds of work one is a spray and the other people without protection."""
    return (one == "spray" and other in ENTERING) or (other == "spray" and one in ENTERING)
