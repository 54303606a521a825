"""Which rows of a label apply to a request, and what they allow.

Rows that name the crop and one of the targets (all rows of the crop where no target is given); a stage window
narrows them; of what remains the strictest value of each limit holds.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from mixing import chemistry
from mixing.labels import Buffer, Label, Use, YearlyLimit
from mixing.quantities import Quantity
from mixing.request import MixRequest, Recipe
from mixing.stages import within


@dataclass(frozen=True, slots=True)
class Bounds:
    """The strictest of each limit that the rows set; None is no limit."""

    wind_maximum: Quantity | None = None
    wind_minimum: Quantity | None = None
    temperature_maximum: Quantity | None = None
    temperature_minimum: Quantity | None = None
    rain_free: Quantity | None = None
    interval: Quantity | None = None
    maximum_applications: int | None = None
    maximum_per_year: tuple[YearlyLimit, ...] = ()
    buffer: Buffer | None = None


NO_BOUNDS = Bounds()


@dataclass(frozen=True, slots=True, eq=False)
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
    maxima: tuple[Quantity, ...] = ()
    """The highest rates of the rows: the strictest of each kind of unit (per volume, per area)."""
    minima: tuple[Quantity, ...] = ()
    """The lowest rates of the rows: the strictest of each kind of unit."""
    bounds: Bounds = NO_BOUNDS
    re_entry: Quantity | None = None
    """The longest re-entry interval of the rows."""
    pre_harvest: Quantity | None = None
    """The longest wait before harvest of the rows."""


def applying(label: Label, request: MixRequest) -> Applying:
    """Return the rows of a label that apply to the request's crop, targets and stage."""
    bbch = request.stage.bbch if request.stage else None
    return _applying(label, request.crop, request.targets, bbch)


def of_products(request: MixRequest) -> tuple[Applying, ...]:
    """Return the rows that apply of each product's label, in the order of the request."""
    bbch = request.stage.bbch if request.stage else None
    return _of_products(request.recipe, request.crop, request.targets, bbch)


@lru_cache(maxsize=1024)
def _of_products(
    recipe: Recipe, crop: str, targets: tuple[str, ...], bbch: int | None
) -> tuple[Applying, ...]:
    return tuple(_applying(label, crop, targets, bbch) for _, label in recipe.products)


@lru_cache(maxsize=1024)
def _applying(label: Label, crop: str, targets: tuple[str, ...], bbch: int | None) -> Applying:
    if label.uses is None:
        return Applying((), known=False)
    names = chemistry.names_of_crop(crop)
    of_crop = tuple(use for use in label.uses if not names.isdisjoint(map(chemistry.crop_name, use.crops)))
    if not of_crop:
        return Applying((), crop=False)
    of_target = _for_targets(of_crop, targets)
    rows = of_target or of_crop
    at_stage = rows if bbch is None else _at_stage(rows, bbch)
    left = at_stage or rows
    return Applying(
        left,
        target=bool(of_target),
        stage=bool(at_stage),
        needs_stage=bbch is None and any(use.stages for use in rows),
        windowed=bbch is not None and any(use.stages for use in at_stage),
        maxima=_strictest([use.maximum for use in left], highest=False),
        minima=_strictest([use.minimum for use in left], highest=True),
        bounds=_bounds(left),
        re_entry=longest(use.re_entry for use in left),
        pre_harvest=longest(use.pre_harvest for use in left),
    )


def _at_stage(rows: tuple[Use, ...], bbch: int) -> tuple[Use, ...]:
    """Rows that allow the stage.

    A limit per volume and one per area stand in two rows. Where only the first names a window, the second is
    a limit beside it and opens no other stage.
    """
    fitting = tuple(use for use in rows if within(bbch, use.stages))
    if any(use.stages for use in fitting):
        return fitting
    windowed = [use for use in rows if use.stages]
    return tuple(use for use in fitting if not any(_is_a_limit_beside(use, other) for other in windowed))


def _is_a_limit_beside(use: Use, windowed: Use) -> bool:
    return (
        (use.crops, use.targets) == (windowed.crops, windowed.targets)
        and use.maximum is not None
        and windowed.maximum is not None
        and use.maximum.dimension != windowed.maximum.dimension
        and (use.re_entry, use.pre_harvest, use.interval) == (None, None, None)
    )


def _bounds(rows: tuple[Use, ...]) -> Bounds:
    numbers = [use.maximum_applications for use in rows if use.maximum_applications is not None]
    yearly: dict[str, YearlyLimit] = {}
    for limit in (limit for use in rows for limit in use.maximum_per_year):
        of = _fold(limit.of)
        if of not in yearly or limit.amount.in_base() < yearly[of].amount.in_base():
            yearly[of] = YearlyLimit(of, limit.amount)
    return Bounds(
        _least(use.wind_maximum for use in rows),
        _most(use.wind_minimum for use in rows),
        _least(use.temperature_maximum for use in rows),
        _most(use.temperature_minimum for use in rows),
        _most((use.rain_free for use in rows), zero=True),
        _most(use.interval for use in rows),
        min(numbers, default=None),
        tuple(yearly.values()),
        _widest(use.buffer for use in rows),
    )


def _least(bounds: Iterable[Quantity | None]) -> Quantity | None:
    return min((one for one in bounds if one is not None), key=Quantity.in_base, default=None)


def _most(bounds: Iterable[Quantity | None], *, zero: bool = False) -> Quantity | None:
    """The highest. Zero asks for nothing and is no limit, except of a temperature or where `zero` counts."""
    given = [one for one in bounds if one is not None]
    given = [one for one in given if zero or one.value != 0 or one.dimension == "temperature"]
    return max(given, key=Quantity.in_base, default=None)


def longest(intervals: Iterable[Quantity | None]) -> Quantity | None:
    """Return the longest interval, of equal ones the first; None where none is given."""
    return max([one for one in intervals if one is not None], key=Quantity.in_base, default=None)


def _widest(buffers: Iterable[Buffer | None]) -> Buffer | None:
    widest: tuple[Quantity, Buffer] | None = None
    for buffer in buffers:
        if buffer is None or buffer.width is None:
            continue
        if widest is None or buffer.width.in_base() > widest[0].in_base():
            widest = (buffer.width, buffer)
    return widest[1] if widest else None


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
