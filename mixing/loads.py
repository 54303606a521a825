"""The loads of a job: full ones, then the last partial one, each with its spray, its water and its doses.

Full loads are alike and are worked out once. The last load is the total less the others, so that the loads
add up to the total to the last digit that the report shows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal

from mixing import measuring, quantities, spraying
from mixing.doses import Dose
from mixing.quantities import Quantity
from mixing.request import MixRequest

TENTH = Decimal("0.1")
HUNDRED = Decimal(100)
SHARE_THAT_MATTERS = Decimal("0.01")
"""Liquids that take more of a load than this leave less room for water."""


@dataclass(frozen=True, slots=True)
class LoadDose:
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


@dataclass(frozen=True, slots=True)
class Load:
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
    if count == 1:
        return (_load(1, spraying.of_volume(total, unit), None, doses, Decimal(1), request),)
    full = _load(1, spraying.of_volume(tank, unit), None, doses, tank / total, request)
    others = [_numbered(full, number) for number in range(1, count)]
    return (*others, _last(full, count, total, tank, doses, request))


def _tank_ml(request: MixRequest) -> Decimal | None:
    return None if request.sprayer.tank is None else request.sprayer.tank.in_base()


def _numbered(full: Load, number: int) -> Load:
    return Load(number, full.spray, full.water, full.products, full.share)


def _last(
    full: Load, count: int, total: Decimal, tank: Decimal, doses: Sequence[Dose], request: MixRequest
) -> Load:
    """Return the last load: the total, as shown, less the others, as shown."""
    others = count - 1
    unit = full.spray.unit
    spray = Quantity(spraying.of_volume(total, unit).value - others * full.spray.value, unit)
    rest = [
        None
        if dose.job is None or one.exact is None
        else spraying.rounded(dose.job) - others * one.exact.value
        for dose, one in zip(doses, full.products, strict=True)
    ]
    return _load(count, spray, rest, doses, 1 - others * tank / total, request)


def _load(
    number: int,
    spray: Quantity,
    amounts: Sequence[Decimal | None] | None,
    doses: Sequence[Dose],
    share: Decimal,
    request: MixRequest,
) -> Load:
    """Return one load; `amounts` are given for the last one, else they are its share of the job."""
    wanted = [
        None if dose.job is None else spraying.rounded(dose.job * share) for dose in doses
    ] if amounts is None else amounts  # fmt: skip
    products = tuple(
        _dose(dose, amount, share, request.measures) for dose, amount in zip(doses, wanted, strict=True)
    )
    return Load(number, spray, _water(spray, wanted, doses), products, share)


def _dose(dose: Dose, amount: Decimal | None, share: Decimal, measures: tuple[str, ...] | None) -> LoadDose:
    if amount is None:
        return LoadDose(dose.product.id, None, None, None, None)
    base = Quantity((amount * dose.base_factor).quantize(TENTH), dose.base_unit)
    exact = Quantity(amount, dose.unit)
    if not measures:
        return LoadDose(dose.product.id, exact, None, None, base)
    limit = None if dose.limit is None else dose.limit * share
    shown = measuring.measure(dose, amount, limit=limit, measures=measures) if amount > 0 else None
    if shown is None:
        return LoadDose(dose.product.id, exact, (), None, base)
    return LoadDose(dose.product.id, exact, shown.amounts, shown.error, base)


def _water(spray: Quantity, amounts: Sequence[Decimal | None], doses: Sequence[Dose]) -> Quantity:
    """Return the water to add: the spray, less the liquids where they take more than 1 % of it."""
    liquids = sum(
        amount * dose.ml
        for dose, amount in zip(doses, amounts, strict=True)
        if dose.liquid and dose.ml is not None and amount is not None
    )
    if liquids <= SHARE_THAT_MATTERS * spray.in_base():
        return spray
    taken = liquids / quantities.unit(spray.unit).above
    return Quantity(spraying.rounded(spray.value - taken), spray.unit)


def percent(error: Decimal | None) -> str | None:
    """Return an error in percent with one decimal, `0.0` never below zero."""
    if not error:
        return None if error is None else "0.0"
    shown = (error * HUNDRED).quantize(TENTH)
    return str(shown if shown else abs(shown))
