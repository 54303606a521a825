"""Adding up and dividing amounts as people said them, exactly."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import ROUND_DOWN, Decimal, localcontext

from mixing.quantities import EXACT, Quantity, plain

DIGITS = 15
"""What of a quotient is handed to the engine, which takes at most 20 digits; always rounded down."""


def read(raw: Mapping[str, str]) -> Quantity:
    """Return the quantity that stored JSON holds."""
    return Quantity(Decimal(raw["value"]), raw["unit"])


def total(amounts: Iterable[Quantity]) -> Quantity | None:
    """Return the sum in the unit of the first; None where there is nothing to add.

    :raises QuantityError: where they measure different things
    """
    amounts = list(amounts)
    if not amounts:
        return None
    name = amounts[0].unit
    with localcontext(EXACT):
        return Quantity(sum((one.to(name).value for one in amounts), Decimal(0)), name)


def part(amount: Quantity, share: Quantity, of: Quantity) -> Quantity:
    """Return the part of an amount that goes with a share of a volume."""
    with localcontext(EXACT):
        return Quantity(amount.value * share.in_base() / of.in_base(), amount.unit)


def less(amount: Quantity, other: Quantity) -> Quantity:
    """Return the difference in the unit of the first."""
    with localcontext(EXACT):
        return Quantity(amount.value - other.to(amount.unit).value, amount.unit)


def per(amount: Quantity, size: Quantity, *, name: str | None = None) -> Quantity:
    """Return an amount per volume or per area, cut to 15 digits.

    :param name: unit of the answer; else the two units as they are (`oz_wt/gal`)
    """
    name = name or f"{amount.unit}/{size.unit}"
    with localcontext(EXACT):
        value = amount.in_base() / size.in_base() / Quantity(Decimal(1), name).in_base()
    return Quantity(cut(value), name)


def per_tree(amount: Quantity, trees: int, *, name: str) -> Quantity:
    """Return an amount per tree, cut to 15 digits."""
    with localcontext(EXACT):
        return Quantity(cut(amount.in_base() / trees / Quantity(Decimal(1), name).in_base()), name)


def cut(value: Decimal) -> Decimal:
    """Return the value with at most 15 digits, rounded down so that no limit seems passed by rounding."""
    digits = min(DIGITS - 1 - value.adjusted(), DIGITS)
    return value.quantize(Decimal(1).scaleb(-digits), rounding=ROUND_DOWN, context=EXACT)


def words(amount: Quantity) -> str:
    """Return an amount as a sentence says it."""
    return f"{plain(amount.value, 4)} {amount.unit}"
