"""Which rows of a label apply to a request, and what they allow.

Rows that name the crop and one of the targets (all rows of the crop where no target is given); a stage window
narrows them; of what remains the strictest value of each limit holds.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from mixing import chemistry
from mixing.labels import Label, Use
from mixing.quantities import Quantity
from mixing.request import MixRequest
from mixing.stages import within


@dataclass(frozen=True, slots=True)
class Applying:
    """The rows that apply, and what of the request no row speaks of.

    :ivar rows: rows whose limits hold; where none fits the target or the stage, those that fit otherwise
    :ivar known: whether the label's uses were given at all
    :ivar crop, target, stage: whether a row names the crop, a target and the stage
    :ivar needs_stage: a row has a stage window, and the stage was not given
    :ivar windowed: the stage lies in a window that an applying row gives
    """

    rows: tuple[Use, ...]
    known: bool = True
    crop: bool = True
    target: bool = True
    stage: bool = True
    needs_stage: bool = False
    windowed: bool = False

    @property
    def maxima(self) -> tuple[Quantity, ...]:
        """The highest rates of the rows: the strictest of each kind of unit (per volume, per area)."""
        return _strictest([row.maximum for row in self.rows], highest=False)

    @property
    def minima(self) -> tuple[Quantity, ...]:
        """The lowest rates of the rows: the strictest of each kind of unit."""
        return _strictest([row.minimum for row in self.rows], highest=True)


def applying(label: Label, request: MixRequest) -> Applying:
    """Return the rows of a label that apply to the request's crop, targets and stage."""
    bbch = request.stage.bbch if request.stage else None
    return _applying(label, request.crop, request.targets, bbch)


@lru_cache(maxsize=1024)
def _applying(label: Label, crop: str, targets: tuple[str, ...], bbch: int | None) -> Applying:
    if label.uses is None:
        return Applying((), known=False)
    names = chemistry.names_of_crop(crop)
    of_crop = tuple(use for use in label.uses if not names.isdisjoint(map(_fold, use.crops)))
    if not of_crop:
        return Applying((), crop=False)
    of_target = _for_targets(of_crop, targets)
    rows = of_target or of_crop
    if bbch is None:
        return Applying(rows, target=bool(of_target), needs_stage=any(use.stages for use in rows))
    at_stage = tuple(use for use in rows if within(bbch, use.stages))
    windowed = any(use.stages for use in at_stage)
    return Applying(
        at_stage or rows, target=bool(of_target), stage=bool(at_stage), windowed=windowed and bool(at_stage)
    )


def _for_targets(rows: tuple[Use, ...], targets: tuple[str, ...]) -> tuple[Use, ...]:
    """Rows against one of the targets; a row that names no target is for any."""
    wanted = set(map(_fold, targets))
    return tuple(
        use for use in rows if not wanted or not use.targets or not wanted.isdisjoint(map(_fold, use.targets))
    )


def _fold(name: str) -> str:
    return " ".join(name.casefold().split())


def _strictest(amounts: list[Quantity | None], *, highest: bool) -> tuple[Quantity, ...]:
    kept: dict[str, Quantity] = {}
    for amount in amounts:
        if amount is None:
            continue
        other = kept.get(amount.dimension)
        if other is None or (amount.in_base() > other.in_base()) is highest:
            kept[amount.dimension] = amount
    return tuple(kept.values())
