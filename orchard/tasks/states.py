"""The states of a work order and its moves: one table that code, tests and documentation read."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from orchard.farms.actors import Role

KINDS = ("spray", "leaf_removal", "scouting", "calibration", "equipment_wash", "stocktake")
STATES = ("draft", "issued", "accepted", "under_way", "done", "held", "cancelled")
OPEN = ("draft", "issued", "accepted", "under_way", "held")
HOLD_REASONS = ("wind", "rain", "frost", "heat", "people", "fault", "stage", "other")

SPRAY = ("spray",)
IN_A_BLOCK = ("spray", "leaf_removal", "scouting")
WITH_A_SPRAYER = ("spray", "calibration", "equipment_wash")
HANDLED = WITH_A_SPRAYER
"""Kinds of work that somebody must do who may handle pesticides."""
ENTERING = ("leaf_removal", "scouting")
"""Kinds of work for which people without protection go into a block."""

_OFFICE = frozenset({Role.OWNER, Role.MANAGER})
_LEADS = _OFFICE | {Role.CREW_LEAD}
_FIELD = _LEADS | {Role.CREW_MEMBER}


@dataclass(frozen=True, slots=True)
class Demand:
    """What a move asks for, and the codes that it is refused with.

    :ivar name: of the check in `services.demands`; a move's own service asks for what has none there
    :ivar kinds: of work that it is asked of
    :ivar says: in words, as the documentation prints it
    """

    name: str
    codes: tuple[str, ...]
    kinds: tuple[str, ...]
    says: str


@dataclass(frozen=True, slots=True)
class Move:
    """One action: from which states to which, who may make it, and what it demands.

    :ivar becomes: the state after it; None for "the same" (record_load) or "as before the hold" (resume)
    :ivar happened: what has happened in the field and cannot be unsaid, so `If-Match: *` is taken
    """

    action: str
    come_from: tuple[str, ...]
    becomes: str | None
    roles: frozenset[Role]
    demands: tuple[Demand, ...] = ()
    happened: bool = False

    def of_kind(self, kind: str) -> Iterator[Demand]:
        """Yield what is demanded of one kind of work."""
        return (demand for demand in self.demands if kind in demand.kinds)


_MIX = Demand(
    "mix",
    ("mix_stop",),
    SPRAY,
    "a mix check from now, with the label in force, no stop left open; none that harms bees on open weeds",
)
_CREW = Demand("crew", ("crew_missing",), KINDS, "a crew")
_PEOPLE = Demand(
    "people",
    ("crew_not_qualified", "worker_not_qualified"),
    HANDLED,
    "people who may handle that day: adults, trained, fit-tested where a label wants a respirator, one with "
    "a licence where the use is restricted",
)
_SPRAYER = Demand(
    "sprayer",
    ("sprayer_not_calibrated", "sprayer_not_clean", "sprayer_dedicated"),
    SPRAY,
    "a sprayer that is calibrated for this nozzle and these people, clean for this mix and kept for it",
)
_RE_ENTRY = Demand(
    "re_entry", ("block_in_re_entry",), ENTERING, "a block that may be entered, and no spray on near it"
)
_TOLD = Demand("told", ("notice_missing",), SPRAY, "everybody told whom a rule of the farm names, in time")
_LATE = Demand("times", ("out_of_range", "time_in_future"), KINDS, "a time after the issue and not ahead")
_REASON = Demand("reason", ("reason_required",), KINDS, "a reason")

MOVES: dict[str, Move] = {
    move.action: move
    for move in (
        Move(
            "issue",
            ("draft",),
            "issued",
            _OFFICE,
            (
                _MIX,
                Demand(
                    "stage_condition",
                    ("stage_condition_unmet", "stage_unknown"),
                    IN_A_BLOCK,
                    "the stage and the leaf drop that the plan's line wants, as seen in the block",
                ),
                _CREW,
                _PEOPLE,
                _SPRAYER,
                _RE_ENTRY,
                Demand("harvest", ("pre_harvest",), SPRAY, "no picking planned before the label allows it"),
                _TOLD,
                Demand("stock", ("stock_short",), SPRAY, "the product, reserved from lots first to expire"),
            ),
        ),
        Move(
            "accept",
            ("issued",),
            "accepted",
            _FIELD,
            (Demand("revision", ("revision_is_old",), KINDS, "the revision that is in force"),),
        ),
        Move(
            "start",
            ("accepted",),
            "under_way",
            _FIELD,
            (
                Demand(
                    "observed", ("required",), SPRAY, "wind, temperature and whether people are out, as seen"
                ),
                Demand("revision", ("revision_is_old",), KINDS, "the revision that is in force"),
                _LATE,
                _MIX,
                Demand("farm_limits", ("mix_stop",), SPRAY, "the farm's own limits of wind and temperature"),
                Demand(
                    "people_out",
                    ("people_in_block",),
                    SPRAY,
                    "nobody in the block, nor at other work in it or near it",
                ),
                _CREW,
                _PEOPLE,
                _SPRAYER,
                _RE_ENTRY,
                _TOLD,
                Demand("sign", ("notice_missing",), SPRAY, "the signs up that a rule of the farm asks for"),
                Demand("stock_usable", ("stock_short",), SPRAY, "lots that may still be used"),
            ),
        ),
        Move(
            "record_load",
            ("under_way",),
            None,
            _FIELD,
            (
                Demand("a_spray", ("state_conflict",), SPRAY, "only a spray has loads"),
                _LATE,
                Demand("tank", ("over_tank",), SPRAY, "no more than the tank holds"),
                Demand("number", ("load_exists",), SPRAY, "each number once"),
                Demand("mixed_by", ("worker_not_qualified",), SPRAY, "mixed by who may handle"),
            ),
            happened=True,
        ),
        Move(
            "finish",
            ("under_way",),
            "done",
            _FIELD,
            (
                _LATE,
                Demand("unusual", ("required",), SPRAY, "nothing unusual, or the incidents"),
                Demand("loads", ("loads_missing",), SPRAY, "a load on record"),
                Demand("fate", ("leftover_fate_required",), SPRAY, "what became of what was left"),
                Demand("rest", ("mix_stop",), SPRAY, "the whole check where the rest was sprayed out"),
                Demand("once", ("possible_duplicate",), KINDS, "one end: another is kept beside it"),
            ),
            happened=True,
        ),
        Move(
            "hold",
            ("issued", "accepted", "under_way"),
            "held",
            _FIELD,
            (_REASON, _LATE),
            happened=True,
        ),
        Move(
            "resume",
            ("held",),
            None,
            _LEADS,
            (
                _LATE,
                Demand("people_out", ("people_in_block",), SPRAY, "nobody in the block, where it is said"),
            ),
        ),
        Move(
            "cancel",
            ("draft", "issued", "accepted", "held"),
            "cancelled",
            _OFFICE,
            (
                _REASON,
                Demand(
                    "no_loads", ("loads_recorded",), SPRAY, "no load recorded; what was reserved goes back"
                ),
            ),
        ),
    )
}


def allowed_in(state: str) -> tuple[str, ...]:
    """Return the actions that a state allows, in the order of the table."""
    return tuple(move.action for move in MOVES.values() if state in move.come_from)


def in_words(move: Move) -> str:
    """Return a move as a sentence or two: its states, and what it demands of which kinds."""
    becomes = move.becomes or ("the same" if move.action == "record_load" else "the state before the hold")
    demands = "; ".join(f"{one.says}{_of(one.kinds)} (`{'`, `'.join(one.codes)}`)" for one in move.demands)
    return f"{', '.join(move.come_from)} -> {becomes}. It demands: {demands}."


def _of(kinds: tuple[str, ...]) -> str:
    return "" if kinds == KINDS else f" [{', '.join(kinds)}]"


def as_markdown() -> str:
    """Return the whole table as Markdown, as the contributor's guide prints it."""
    rows = [("action", "from", "to", "who", "demands: codes [kinds]")]
    for move in MOVES.values():
        becomes = move.becomes or ("the same" if move.action == "record_load" else "the state before")
        demands = "; ".join(f"{one.says}: {', '.join(one.codes)}{_of(one.kinds)}" for one in move.demands)
        who = ", ".join(role.value for role in Role if role in move.roles)
        rows.append((f"`{move.action}`", ", ".join(move.come_from), becomes, who, demands))
    return "\n".join(_lines(rows))


def _lines(rows: Iterable[tuple[str, ...]]) -> Iterator[str]:
    for place, row in enumerate(rows):
        yield f"| {' | '.join(row)} |"
        if place == 0:
            yield f"|{'---|' * len(row)}"
