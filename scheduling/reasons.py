"""Why an hour or a day is closed: the reason, and the comparisons and words that hours and days share."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from functools import lru_cache

from django.utils.translation import gettext as _

from mixing.quantities import Quantity, plain
from scheduling.bounds import Basis, Bound, Limit
from scheduling.weather import MEASURABLE_RAIN

WORDS = {"degF": "°F", "degC": "°C", "degF_difference": "°F", "degC_difference": "°C"}


@dataclass(frozen=True, slots=True)
class Reason:
    """One limit that closes: its code, who says so, and the sentence for a person."""

    limit: Limit
    basis: Basis
    says: str


def above(bound: Bound, limit: Limit, what: str, measured: Quantity | None) -> Iterator[Reason]:
    """Yield the reason where something is above a bound, or not known."""
    if measured is None:
        yield because(bound, limit, _("%(what)s is not known") % {"what": what})
    elif measured.in_base() > bound.value.in_base():
        says = _("%(what)s %(measured)s is above %(limit)s")
        yield because(bound, limit, says % _named(what, measured, bound.value))


def below(bound: Bound, limit: Limit, what: str, measured: Quantity | None) -> Iterator[Reason]:
    """Yield the reason where something is below a bound, or not known."""
    if measured is None:
        yield because(bound, limit, _("%(what)s is not known") % {"what": what})
    elif measured.in_base() < bound.value.in_base():
        says = _("%(what)s %(measured)s is below %(limit)s")
        yield because(bound, limit, says % _named(what, measured, bound.value))


def _named(what: str, measured: Quantity, limit: Quantity) -> dict[str, str]:
    return {"what": what, "measured": _apart(measured, limit), "limit": shown(limit)}


@lru_cache(maxsize=65536)
def _apart(measured: Quantity, limit: Quantity) -> str:
    """Return what was measured in the limit's unit, with as many decimals as tell the two apart."""
    texts = (shown(measured, limit.unit, places=places) for places in range(1, 6))
    return next((text for text in texts if text != shown(limit)), shown(measured, limit.unit))


def rains(rain: Quantity) -> bool:
    return rain.to("mm").value >= MEASURABLE_RAIN


def wanted_dry(bound: Bound) -> str:
    return _("%(time)s without rain are wanted") % {"time": shown(bound.value)}


def because(bound: Bound, limit: Limit, says: str) -> Reason:
    return Reason(limit, bound.basis, f"{says} ({_(bound.whose)})")


@lru_cache(maxsize=65536)
def shown(quantity: Quantity, name: str | None = None, *, places: int = 1) -> str:
    """Return a quantity for a person, rounded, in the unit `name` where one is given."""
    value = quantity.to(name or quantity.unit)
    rounded = value.value.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_EVEN)
    return f"{plain(rounded)} {WORDS.get(value.unit, value.unit)}"
