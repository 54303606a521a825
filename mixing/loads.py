"""The loads of a job: full ones, then the last partial one, each with its spray, its water and its doses.

Full loads are alike and are worked out once. The last load is the total less the others, so that the loads
add up to the total to the last digit that the report shows.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import ROUND_CEILING, Decimal
from typing import NamedTuple

from mixing import measuring, quantities, spraying
from mixing.doses import Dose
from mixing.measuring import Scale
from mixing.quantities import EXACT, Quantity
from mixing.request import MixRequest
from mixing.spraying import PLACES

TENTH = Decimal("0.1")
ZERO, HUNDRED = Decimal(0), Decimal(100)
SHARE_THAT_MATTERS = Decimal("0.01")
"""Liquids that take more of a load than this leave less room for water."""


class LoadDose(NamedTuple):
    """What one load takes of one product.

    :ivar exact: in the unit of the rate; None where something is missing
    :ivar measure: largest first; None without measures, empty where no mark can show it
    :ivar error: (measured - exact) / exact; None where nothing is to be measured
    :ivar base: in g or mL, one decimal
    """

    id: str
    exact: Quantity | None
    measure: tuple[Quantity, ...] | None
    error: Decimal | None
    base: Quantity | None


class Load(NamedTuple):
    """One filling of the tank; `share` is its part of the job."""

    number: int
    spray: Quantity
    water: Quantity
    products: tuple[LoadDose, ...]
    share: Decimal


def loads(request: MixRequest, doses: Sequence[Dose]) -> tuple[Load, ...]:
    """Return the loads; none where the spray or the tank is not given, one for a hose-end sprayer."""
    total = spraying.total_ml(request.spray)
    if total is None:
        return ()
    tank = total if request.sprayer.is_hose_end else _tank_ml(request)
    if tank is None:
        return ()
    count = int((total / tank).quantize(measuring.SLACK).to_integral_value(ROUND_CEILING))
    unit = spraying.load_unit(request)
    kits = [_kit(dose, request.measures) for dose in doses]
    if count == 1:
        return (_load(1, spraying.of_volume(total, unit), None, kits, Decimal(1)),)
    full = _load(1, spraying.of_volume(tank, unit), None, kits, tank / total)
    others = [full._replace(number=number) for number in range(2, count)]
    return (full, *others, _last(full, count, total, tank, kits))


class Kit(NamedTuple):
    """A dose and what it can be measured with; None where no measures were given."""

    dose: Dose
    scales: tuple[Scale, ...] | None


def _kit(dose: Dose, measures: tuple[str, ...] | None) -> Kit:
    if not measures:
        return Kit(dose, None)
    return Kit(dose, measuring.scales(measures, dose.unit, dose.ml, dose.grams, dose.liquid))


def _tank_ml(request: MixRequest) -> Decimal | None:
    return None if request.sprayer.tank is None else request.sprayer.tank.in_base()


def _last(full: Load, count: int, total: Decimal, tank: Decimal, kits: Sequence[Kit]) -> Load:
    """Return the last load: the total, as shown, less the others, as shown."""
    others = count - 1
    unit = full.spray.unit
    spray = Quantity(spraying.of_volume(total, unit).value - others * full.spray.value, unit)
    rest = [
        None
        if dose.job is None or one.exact is None
        else spraying.rounded(dose.job) - others * one.exact.value
        for (dose, _), one in zip(kits, full.products, strict=True)
    ]
    return _load(count, spray, rest, kits, 1 - others * tank / total)


def _load(
    number: int,
    spray: Quantity,
    amounts: Sequence[Decimal | None] | None,
    kits: Sequence[Kit],
    share: Decimal,
) -> Load:
    """Return one load; `amounts` are given for the last one, else they are its share of the job."""
    wanted = [
        None if dose.job is None else (dose.job * share).quantize(PLACES, None, EXACT) for dose, _ in kits
    ] if amounts is None else amounts  # fmt: skip
    products = tuple(
        [_dose(dose, amount, share, scales) for (dose, scales), amount in zip(kits, wanted, strict=True)]
    )
    return Load(number, spray, _water(spray, wanted, kits), products, share)


def _dose(dose: Dose, amount: Decimal | None, share: Decimal, scales: tuple[Scale, ...] | None) -> LoadDose:
    id = dose.product.id
    if amount is None:
        return LoadDose(id, None, None, None, None)
    base = Quantity((amount * dose.base_factor).quantize(TENTH), dose.base_unit)
    exact = Quantity(amount, dose.unit)
    if scales is None:
        return LoadDose(id, exact, None, None, base)
    limit = None if dose.limit is None else dose.limit * share
    shown = measuring.measure(dose, amount, scales, limit=limit) if amount > 0 else None
    if shown is None:
        return LoadDose(id, exact, (), None, base)
    amounts, error = shown
    return LoadDose(id, exact, amounts, error, base)


def _water(spray: Quantity, amounts: Sequence[Decimal | None], kits: Sequence[Kit]) -> Quantity:
    """Return the water to add: the spray, less the liquids where they take more than 1 % of it."""
    above, liquids = quantities.unit(spray.unit).above, ZERO
    for (dose, _), amount in zip(kits, amounts, strict=True):
        if dose.liquid and dose.ml is not None and amount is not None:
            liquids += amount * dose.ml
    if liquids <= SHARE_THAT_MATTERS * spray.value * above:
        return spray
    taken = liquids / above
    return Quantity(spraying.rounded(spray.value - taken), spray.unit)


def percent(error: Decimal | None) -> str | None:
    """Return an error in percent with one decimal, `0.0` never below zero."""
    if not error:
        return None if error is None else "0.0"
    shown = (error * HUNDRED).quantize(TENTH)
    return str(shown if shown else abs(shown))
