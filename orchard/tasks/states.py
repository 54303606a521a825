"""The states of a work order and its moves: one table that code, tests and documentation read."""

from __future__ import annotations

from dataclasses import dataclass

from orchard.farms.actors import Role

KINDS = ("spray", "leaf_removal", "scouting", "calibration", "equipment_wash", "stocktake")
STATES = ("draft", "issued", "accepted", "under_way", "done", "held", "cancelled")
OPEN = ("draft", "issued", "accepted", "under_way", "held")
HOLD_REASONS = ("wind", "rain", "frost", "heat", "people", "fault", "stage", "other")

_OFFICE = frozenset({Role.OWNER, Role.MANAGER})
_LEADS = _OFFICE | {Role.CREW_LEAD}
_FIELD = _LEADS | {Role.CREW_MEMBER}


@dataclass(frozen=True, slots=True)
class Move:
    """One action: from which states to which, who may make it, and what it demands, in words.

    :ivar becomes: the state after it; None for "the same" (record_load) or "as before the hold" (resume)
    :ivar happened: what has happened in the field and cannot be unsaid, so `If-Match: *` is taken
    """

    action: str
    come_from: tuple[str, ...]
    becomes: str | None
    roles: frozenset[Role]
    demands: str
    happened: bool = False


MOVES: dict[str, Move] = {
    move.action: move
    for move in (
        Move(
            "issue",
            ("draft",),
            "issued",
            _OFFICE,
            "a mix check from now with no stop left open, stock reserved, crew qualified, sprayer calibrated "
            "and clean, the plan line's stage and leaf-drop conditions, no picking date too soon",
        ),
        Move("accept", ("issued",), "accepted", _FIELD, "the revision that is in force"),
        Move(
            "start",
            ("accepted",),
            "under_way",
            _FIELD,
            "the limits again with wind, temperature, rain to come and stage as seen; nobody in the block",
        ),
        Move(
            "record_load",
            ("under_way",),
            None,
            _FIELD,
            "what was mixed, no more than the tank holds; each number once",
            happened=True,
        ),
        Move(
            "finish",
            ("under_way",),
            "done",
            _FIELD,
            "a load for a spray, what became of a leftover, nothing unusual or the incidents",
            happened=True,
        ),
        Move("hold", ("issued", "accepted", "under_way"), "held", _FIELD, "a reason", happened=True),
        Move("resume", ("held",), None, _LEADS, "nothing: it goes back to the state before"),
        Move(
            "cancel",
            ("draft", "issued", "accepted", "held"),
            "cancelled",
            _OFFICE,
            "a reason, and no load recorded; what was reserved goes back",
        ),
    )
}


def allowed_in(state: str) -> tuple[str, ...]:
    """Return the actions that a state allows, in the order of the table."""
    return tuple(move.action for move in MOVES.values() if state in move.come_from)
