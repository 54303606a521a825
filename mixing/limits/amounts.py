"""Rates turned into what limits are counted in: amount for the job, amount and substance per area.

All of it is called in `EXACT`, as a check is.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache

from mixing import chemistry, doses, spraying
from mixing.labels import Ingredient, Label
from mixing.quantities import Quantity
from mixing.request import Application, MixRequest, Product, Spray

MICRO = Decimal("0.000001")
HAIR = Decimal("1e-40")
"""Relative difference that comes of quotients that do not end (lb/100gal), carried to sixty digits."""


@dataclass(frozen=True, slots=True)
class Unknown:
    """What is missing to work an amount out: a dotted path (`spray.area`, `label.density:cu`)."""

    path: str


def exceeds(amount: Decimal, bound: Decimal) -> bool:
    """Say whether an amount lies above a bound; two that are equal but for endless quotients are equal."""
    return amount > bound and amount - bound > abs(bound) * HAIR


def density_of(label: Label) -> Decimal | None:
    """Return grams in a millilitre: the bulk density of what is dry, else the density."""
    chosen = label.bulk_density or label.density if label.is_dry else label.density or label.bulk_density
    return chosen.in_base() if chosen else None


def for_job(rate: Quantity, label: Label, spray: Spray | None) -> Decimal | Unknown:
    """Return what a rate takes for the whole job [g or mL, as its unit is]."""
    per = rate.per
    if spray is None:
        return Unknown("spray")
    if per == "area":
        return rate.in_base() * spray.area.in_base() if spray.area else Unknown("spray.area")
    if per == "tree":
        return rate.in_base() * spray.trees if spray.trees else Unknown("spray.trees")
    if per == "length":
        length = spray.row_length
        return rate.in_base() * length.in_base() if length else Unknown("spray.row_length")
    volume = spraying.total_ml(spray) if label.adjuvant else spraying.dilute_ml(spray)
    return Unknown("spray.total") if volume is None else rate.in_base() * volume


def beside(
    rate: Quantity, bound: Quantity, product: Product, request: MixRequest
) -> tuple[Decimal, Decimal] | Unknown:
    """Return a rate and a bound of a label as two numbers to compare, whatever kinds of unit the two have."""
    if rate.unit == bound.unit:
        return rate.value, bound.value
    if rate.dimension == bound.dimension:
        return rate.in_base(), bound.in_base()
    if "ppm" in (rate.dimension, bound.dimension):
        return _beside_in_ppm(rate, bound, product, request)
    label = product.label
    job, most = for_job(rate, label, request.spray), for_job(bound, label, request.spray)
    if isinstance(job, Unknown):
        return job
    if isinstance(most, Unknown):
        return most
    if rate.measures != bound.measures:
        density = density_of(label)
        if density is None:
            return Unknown(f"label.density:{product.id}")
        job = job * density if rate.measures == "volume" else job / density
    return job, most


def _beside_in_ppm(
    rate: Quantity, bound: Quantity, product: Product, request: MixRequest
) -> tuple[Decimal, Decimal] | Unknown:
    """Return a rate of active ingredient and one of product as what each takes for the whole job."""
    mine, most = doses.at_rate(rate, product, request), doses.at_rate(bound, product, request)
    if mine is None or most is None:
        return Unknown(f"label.content:{product.id}")
    return mine, most


def substance_of(product: Product, of: str, spray: Spray | None) -> Decimal | Unknown:
    """Return how much of a substance a product brings to the ground [g/m2]; 0 where it has none of it."""
    label = product.label
    if not brings(label, of):
        return Decimal(0)
    if spray is None or spray.area is None:
        return Unknown("spray.area")
    job = for_job(product.rate, label, spray)
    if isinstance(job, Unknown):
        return job
    grams = _substance(job, product.rate, label, of, product.id)
    return grams if isinstance(grams, Unknown) else grams / spray.area.in_base()


def substance_before(application: Application, place: int, of: str) -> Decimal | Unknown:
    """Return how much of a substance an earlier application, of a product that has it, brought [g/m2].

    :param place: its place in the history, for the path of what is missing
    """
    label, rate = application.label, application.rate
    if rate is None:
        return Unknown(f"history.{place}.rate")
    per_area, per, area = rate.in_base(), rate.per, application.area
    if per != "area":
        if area is None:
            return Unknown(f"history.{place}.area")
        if application.spray_volume is None:
            return Unknown(f"history.{place}.spray_volume")
        if per not in ("volume", "ppm"):
            return Unknown(f"history.{place}.rate")
        per_area = per_area * application.spray_volume.in_base() / area.in_base()
    return _substance(per_area, rate, label, of, f"history.{place}")


def brings(label: Label, of: str) -> bool:
    """Say whether a label's product has any of a substance, by ingredient, group or metal."""
    return chemistry.facts(label).brings(of.casefold())


def _substance(amount: Decimal, rate: Quantity, label: Label, of: str, owner: str) -> Decimal | Unknown:
    """Return grams of a substance in an amount of product [g or mL, as the unit of the rate is]."""
    share = _share(label, of.casefold(), rate.measures)
    return Unknown(f"{share.path}:{owner}") if isinstance(share, Unknown) else amount * share


@lru_cache(maxsize=2048)
def _share(label: Label, of: str, kind: str) -> Decimal | Unknown:
    """Return grams of a substance in one g or mL of product (`kind` mass or volume), or one mg/L of `ppm`."""
    total = Decimal(0)
    for ingredient in label.active_ingredients or ():
        content = _content(ingredient, of)
        if content is None:
            continue
        if isinstance(content, Unknown):
            return Unknown("label.content")
        said, factor = content
        if kind == "ppm":  # mg of active in a litre of spray, whatever the product
            total += MICRO * factor
            continue
        measured = _as_measured(kind, said, label)
        if measured is None:
            return Unknown("label.density")
        total += measured * said.in_base() * factor
    return total


def _as_measured(kind: str, said: Quantity, label: Label) -> Decimal | None:
    """Return one g or mL of product in what the content is per: grams of product, or mL of it."""
    wanted, density = said.per, density_of(label)
    if said.dimension == "volume/volume":  # a share of the volume: weighed by the product's own density
        millilitres = _turned(kind, "volume", density)
        if density is None or millilitres is None:
            return None
        return millilitres * density
    return _turned(kind, "mass" if wanted == "ppm" else wanted, density)


def _turned(kind: str, wanted: str, density: Decimal | None) -> Decimal | None:
    if kind == wanted:
        return Decimal(1)
    if density is None:
        return None
    return density if wanted == "mass" else 1 / density


def _content(ingredient: Ingredient, of: str) -> tuple[Quantity, Decimal] | Unknown | None:
    """Return the content that counts and a factor on it: the label's metal, else the formula's share."""
    wanted = of.casefold()
    metal = ingredient.metal
    if metal is not None and metal.of.casefold() == wanted and metal.content is not None:
        return metal.content, Decimal(1)
    share = chemistry.metal_fraction(ingredient.name, wanted)
    if share is None and wanted not in chemistry.groups_of(ingredient.name):
        return Unknown("metal") if metal is not None and metal.of.casefold() == wanted else None
    if ingredient.content is None or (share is None and chemistry.is_metal(wanted)):
        return Unknown("content")
    return ingredient.content, share if share is not None else Decimal(1)
