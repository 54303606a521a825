"""When a wish may be done: the open stretches less what keeps its block closed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from scheduling.assignment.problem import Span, Spell, without
from scheduling.gather.between import Waits
from scheduling.gather.bookings import LONG_AGO, Frame
from scheduling.gather.skies import Stretch
from scheduling.gather.standing import Standing, closed_by
from scheduling.gather.wishes import Wish, risk_of


def closed_to(
    wish: Wish, stay: Sequence[Standing], waits: Waits, frame: Frame
) -> Iterator[tuple[Standing | None, Span]]:
    """Yield when a block is closed: re-entry after what was sprayed, and other work on it that stays."""
    until = wish.block.re_entry_until
    if until is not None:
        yield None, (frame.minute(until) - LONG_AGO, frame.minute(until))
    for one in stay:
        if one.order.block == wish.block:
            for span in closed_by(one, wish.mix, frame=frame, waits=waits):
                yield one, span


def spells_in(
    stretches: Iterable[Stretch],
    *,
    within: Span,
    closed: tuple[Span, ...],
    frame: Frame,
    wish: Wish | None = None,
) -> tuple[Spell, ...]:
    """Return what stretches leave open, with the risk of a wish where one is given."""
    return tuple(
        Spell(start, end, 0 if wish is None else risk_of(wish, stretch))
        for stretch in stretches
        for start, end in without(
            (max(within[0], frame.minute(stretch.start)), min(within[1], frame.minute(stretch.end))), closed
        )
        if end > start
    )
