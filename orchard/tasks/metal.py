"""How much of an element that stays in the soil a product brings, exactly, by label or else by formula."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal, localcontext

from mixing import chemistry
from mixing.labels import Ingredient, Label
from mixing.quantities import EXACT, Quantity
from mixing.totals import METALS

PER_VOLUME = "g/mL"


def content(label: Label, metal: str) -> Quantity | None:
    """Return what of an element is in a product: a share of its weight if dry, a weight per volume if liquid.

    None where no ingredient brings it, or where a density or a content is missing.
    """
    found = [one for one in (_of(each, metal, label) for each in label.active_ingredients or ()) if one]
    if not found:
        return None
    with localcontext(EXACT):
        total = sum((one.in_base() for one in found), Decimal(0))
        name = PER_VOLUME if found[0].dimension == "mass/volume" else "g/kg"
        return Quantity(total / Quantity(Decimal(1), name).in_base(), name)


def _of(ingredient: Ingredient, metal: str, label: Label) -> Quantity | None:
    own = ingredient.metal
    if own is not None and own.of == metal and own.content is not None:
        return _per_volume_of_a_liquid(own.content, label)
    fraction = chemistry.metal_fraction(ingredient.name, metal)
    if fraction is None or ingredient.content is None:
        return None
    with localcontext(EXACT):
        found = Quantity(ingredient.content.value * fraction, ingredient.content.unit)
    return _per_volume_of_a_liquid(found, label)


def _per_volume_of_a_liquid(share: Quantity, label: Label) -> Quantity | None:
    """Return the content; of a liquid by weight, what is in a volume of it, which wants a density."""
    if share.dimension != "mass/mass" or label.is_dry is not False:
        return share
    if label.density is None:
        return None
    with localcontext(EXACT):
        per_volume = share.in_base() * label.density.in_base()
        return Quantity(per_volume / Quantity(Decimal(1), PER_VOLUME).in_base(), PER_VOLUME)


def brought(label: Label, amount: Quantity) -> Mapping[str, Decimal]:
    """Return the grams of each element that an amount of product brings; what cannot be told is left out."""
    found = {}
    for metal in METALS:
        share = content(label, metal)
        if share is not None and share.dimension.partition("/")[2] == amount.dimension:
            found[metal] = EXACT.multiply(amount.in_base(), share.in_base())
    return found
