"""From a published rate to a rate of the farm's own product, never more than its label allows.

A publication counts metallic copper, or percent of the spray; the label of the product in store says how
much of that it holds and what its crop may get. Where a publication gives no rate, the label's own is taken.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from decimal import ROUND_DOWN, Decimal, localcontext

from mixing import chemistry
from mixing.labels import Ingredient, Label
from mixing.quantities import EXACT, Quantity
from orchard.tasks.examples import Part

DIGITS = 4
"""Digits of a rate that was worked out; always rounded down."""


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
    shares = [_share(one, part.metal, label) for one in label.active_ingredients or ()]
    known = [one for one in shares if one is not None]
    if not known:
        return None
    dry = not known[0].dimension.endswith("/volume")
    name = {("us", True): "lb/acre", ("us", False): "gal/acre", ("metric", True): "kg/ha"}.get(
        (units, dry), "L/ha"
    )
    with localcontext(EXACT):
        each = sum((one.in_base() for one in known), Decimal(0))
        value = part.metal_rate.in_base() / each / Quantity(Decimal(1), name).in_base()
    return Quantity(_cut(value), name)


def _share(ingredient: Ingredient, metal: str, label: Label) -> Quantity | None:
    """Return what of an element one ingredient brings: by weight, or per volume of a liquid."""
    own = ingredient.metal
    if own is not None and own.of == metal and own.content is not None:
        return _per_volume_of_a_liquid(own.content, label)
    fraction = chemistry.metal_fraction(ingredient.name, metal)
    if fraction is None or ingredient.content is None:
        return None
    with localcontext(EXACT):
        found = Quantity(ingredient.content.value * fraction, ingredient.content.unit)
    return _per_volume_of_a_liquid(found, label)


def _per_volume_of_a_liquid(content: Quantity, label: Label) -> Quantity | None:
    """Return the content; of a liquid by weight, what is in a volume of it, which wants a density."""
    if content.dimension != "mass/mass" or label.is_dry is not False:
        return content
    if label.density is None:
        return None
    with localcontext(EXACT):
        per_volume = content.in_base() * label.density.in_base()
        return Quantity(per_volume / Quantity(Decimal(1), "g/mL").in_base(), "g/mL")


def _cut(value: Decimal) -> Decimal:
    """Return a worked-out rate with four digits, rounded down so that it never passes what it comes from."""
    places = DIGITS - 1 - value.adjusted()
    return value.quantize(Decimal(1).scaleb(-places), rounding=ROUND_DOWN, context=EXACT)
