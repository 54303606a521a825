"""What the whole job takes: product, g or mL, per area, and the metal in it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from functools import lru_cache
from typing import NamedTuple

from mixing import chemistry, spraying
from mixing.doses import Dose, density
from mixing.findings import Missing
from mixing.labels import Ingredient, Label
from mixing.loads import TENTH
from mixing.quantities import Quantity
from mixing.request import MixRequest

METALS = ("copper", "zinc", "manganese")
"""Metals that stay in the soil and whose use is counted as the element."""


class MetalTotal(NamedTuple):
    """An element in the whole job, given by `label` or `formula`; None where a mass is missing."""

    of: str
    amount: Quantity | None
    given_by: str


class Total(NamedTuple):
    """One product over the whole job; None where something is missing, `per_area` without an area."""

    id: str
    exact: Quantity | None
    base: Quantity | None
    per_area: Quantity | None
    metal: tuple[MetalTotal, ...]
    missing: tuple[Missing, ...]


def totals(request: MixRequest, doses: Sequence[Dose]) -> tuple[Total, ...]:
    """Return the total of each product, in the order of the request."""
    area = request.spray.area if request.spray is not None else None
    return tuple([_total(dose, area) for dose in doses])


def _total(dose: Dose, area: Quantity | None) -> Total:
    metal = _metals(dose) if _has_metal(dose.product.label) else ()
    unknown = bool(metal) and dose.job is not None and any(one.amount is None for one in metal)
    missing = (_mass_needs(dose),) if unknown else ()
    if dose.job is None:
        return Total(dose.product.id, None, None, None, metal, missing)
    return Total(
        id=dose.product.id,
        exact=Quantity(spraying.rounded(dose.job), dose.unit),
        base=Quantity((dose.job * dose.base_factor).quantize(TENTH), dose.base_unit),
        per_area=None if area is None else _per_area(dose.job, dose.unit, area),
        metal=metal,
        missing=missing,
    )


def _per_area(job: Decimal, unit: str, area: Quantity) -> Quantity:
    return Quantity(spraying.rounded(job / area.value), f"{unit}/{area.unit}")


def _metals(dose: Dose) -> tuple[MetalTotal, ...]:
    """Return each element once: the label's own figure, else the formula's, added up over the ingredients."""
    found: dict[tuple[str, str], Decimal | None] = {}
    for ingredient in dose.product.label.active_ingredients or ():
        if ingredient.metal is None and not _shares(ingredient.name, METALS):
            continue
        for of, given_by, grams in _of_ingredient(dose, ingredient):
            before = found.get((of, given_by), Decimal(0))
            found[of, given_by] = None if grams is None or before is None else before + grams
    return tuple(
        MetalTotal(of, None if grams is None else Quantity(grams.quantize(TENTH), "g"), given_by)
        for (of, given_by), grams in found.items()
    )


@lru_cache(maxsize=2048)
def _has_metal(label: Label) -> bool:
    return any(one.metal or _shares(one.name, METALS) for one in label.active_ingredients or ())


def _of_ingredient(dose: Dose, ingredient: Ingredient) -> Iterator[tuple[str, str, Decimal | None]]:
    own = ingredient.metal
    if own is not None and own.content is not None:
        yield own.of, "label", mass_of(dose, own.content)
        return
    shares = _shares(ingredient.name, METALS if own is None else (own.of,))
    for metal, share in shares:
        grams = None if ingredient.content is None else mass_of(dose, ingredient.content)
        yield metal, "formula", None if grams is None else grams * share
    if own is not None and not shares:
        yield own.of, "label", None


@lru_cache(maxsize=2048)
def _shares(ingredient: str, metals: tuple[str, ...]) -> tuple[tuple[str, Decimal], ...]:
    """Return the metals of an ingredient with their share of its weight, by its formula."""
    found = ((metal, chemistry.metal_fraction(ingredient, metal)) for metal in metals)
    return tuple((metal, share) for metal, share in found if share is not None)


def mass_of(dose: Dose, content: Quantity) -> Decimal | None:
    """Return the mass of what a content speaks of in the whole job [g]; None where a density is missing."""
    if dose.job is None:
        return None
    if content.dimension == "mass/volume":
        return None if dose.ml is None else dose.job * dose.ml * content.in_base()
    if content.dimension == "volume/volume" and density(dose.product.label) is None:
        return None
    share = content.value / 1_000_000 if content.dimension == "ppm" else content.in_base()
    return None if dose.grams is None else dose.job * dose.grams * share


def _mass_needs(dose: Dose) -> Missing:
    """Name what the mass of the metal wants: a content, else the density that turns volume into mass."""
    label, name = dose.product.label, dose.product.id
    if any(one.content is None and one.metal is None for one in label.active_ingredients or ()):
        return Missing(f"label.content:{name}")
    return Missing(f"label.density:{name}")
