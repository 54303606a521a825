"""From a published rate to a rate of the farm's own product, never more than its label allows.

A publication counts metallic copper, or percent of the spray; the label of the product in store says how
much of that it holds and what its crop may get. Where a publication gives no rate, the label's own is taken.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from decimal import ROUND_DOWN, Decimal, localcontext

from mixing import chemistry
from mixing.labels import Label
from mixing.quantities import EXACT, Quantity
from orchard.tasks import metal
from orchard.tasks.examples import Part

DIGITS = 4
"""Digits of a rate that was worked out; always rounded down."""
RATES = {
    (True, True): "lb/acre",
    (True, False): "gal/acre",
    (False, True): "kg/ha",
    (False, False): "L/ha",
}
"""The unit of a rate that was worked out: on a farm that counts in US units, of what is dry."""


def rate_of(
    part: Part, *, label: Label, crops: Iterable[str], volume_per_area: Quantity, units: str
) -> Quantity | None:
    """Return the rate of a product for one part of a published mix; None where nothing gives one.

    :param crops: those of the blocks that are to be sprayed: the strictest label row of any of them holds
    :param volume_per_area: spray, to tell a limit per volume from one per area
    :param units: `us` or `metric`, for a rate that has to be worked out
    """
    limits = list(_maxima(label, crops))
    wanted = part.rate if part.metal is None else _for_metal(part, label, units)
    if wanted is None:
        if not limits:
            return None
        wanted = limits[0]
    capped = [wanted, *(_as(limit, wanted, volume_per_area) for limit in limits)]
    return min((one for one in capped if one is not None), key=lambda one: one.in_base())


def _maxima(label: Label, crops: Iterable[str]) -> Iterator[Quantity]:
    """Yield the label's maximum rates for the crops, per area first."""
    wanted = [chemistry.names_of_crop(crop) for crop in crops]
    found = [
        use.maximum
        for use in label.uses or ()
        if use.maximum is not None
        and any(chemistry.crop_name(one) in names for one in use.crops for names in wanted)
    ]
    yield from sorted(found, key=lambda one: not one.dimension.endswith("/area"))


def covers(label: Label, crop: str) -> bool:
    """Say whether a label names a crop in any of its rows."""
    names = chemistry.names_of_crop(crop)
    return any(chemistry.crop_name(one) in names for use in label.uses or () for one in use.crops)


def _as(limit: Quantity, wanted: Quantity, volume_per_area: Quantity) -> Quantity | None:
    """Return a limit in the unit of the rate that is wanted; None where the two cannot be compared."""
    above, _, below = limit.dimension.partition("/")
    kind, _, per = wanted.dimension.partition("/")
    if above != kind or {below, per} - {"area", "volume"}:
        return None
    one = Quantity(Decimal(1), wanted.unit).in_base()
    with localcontext(EXACT):
        base = limit.in_base()
        if below == "volume" and per == "area":
            base *= volume_per_area.in_base()
        elif below == "area" and per == "volume":
            base /= volume_per_area.in_base()
        return Quantity(_cut(base / one), wanted.unit)


def _for_metal(part: Part, label: Label, units: str) -> Quantity | None:
    """Return the product that brings so much of an element per area; None where its content is not known."""
    assert part.metal is not None and part.metal_rate is not None
    share = metal.content(label, part.metal)
    if share is None:
        return None
    dry = share.dimension == "mass/mass"
    name = RATES[units == "us", dry]
    with localcontext(EXACT):
        value = part.metal_rate.in_base() / share.in_base() / Quantity(Decimal(1), name).in_base()
    return Quantity(_cut(value), name)


def _cut(value: Decimal) -> Decimal:
    """Return a worked-out rate with four digits, rounded down so that it never passes what it comes from."""
    places = DIGITS - 1 - value.adjusted()
    return value.quantize(Decimal(1).scaleb(-places), rounding=ROUND_DOWN, context=EXACT)
