"""How much of each product the job takes, in the unit of its rate, in g or mL, and at most by its label.

A rate is by volume of spray, by area, by tree, by row length, a share of the spray (`percent_vv`) or parts of
active ingredient in a million (`ppm`, mg in a litre of spray). Where concentrate spraying is said, a rate by
volume is meant for the dilute volume, except for adjuvants, whose rate is of the spray as made.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal, localcontext
from functools import lru_cache
from typing import NamedTuple

from mixing import quantities, spraying, uses
from mixing.findings import Missing
from mixing.labels import Label
from mixing.quantities import Quantity
from mixing.request import MixRequest, Product
from mixing.uses import Applying

MICRO = Decimal("0.000001")
HUNDRED = Decimal(100)


class Dose(NamedTuple):
    """The dose of one product for the whole job.

    :ivar unit: unit of its amounts (`tbsp` of `tbsp/gal`)
    :ivar job: amount for the whole job [unit], None where something is missing
    :ivar limit: the most that the label allows for the whole job [unit], None where it sets no limit
    :ivar ml, grams: volume and mass of one unit [mL, g]; None where a density is missing
    :ivar base_unit: `g` for what is weighed, `mL` for what is poured, as far as that can be turned
    :ivar base_factor: g or mL of one unit
    :ivar liquid: whether it takes a share of the tank
    :ivar missing: what would be needed to say more
    """

    product: Product
    unit: str
    job: Decimal | None
    limit: Decimal | None
    ml: Decimal | None
    grams: Decimal | None
    base_unit: str
    base_factor: Decimal
    liquid: bool
    missing: tuple[Missing, ...]

    @property
    def job_ml(self) -> Decimal | None:
        """Volume of the product in the whole job [mL]."""
        return None if self.job is None or self.ml is None else self.job * self.ml


class Extent(NamedTuple):
    """How far a job goes, in what each kind of rate is per; None where it was not said.

    :ivar made, dilute: spray as it leaves the nozzles, and what it would be at dilute volume [mL]
    :ivar area, length, trees: [m2, m, number]
    """

    made: Decimal | None
    dilute: Decimal | None
    area: Decimal | None
    length: Decimal | None
    trees: int | None
    us_units: bool
    nothing: bool = False
    """Whether nothing at all was said of the spray."""


def extent_of(request: MixRequest) -> Extent:
    """Return how far the job of a request goes."""
    spray, us_units = request.spray, spraying.in_us_units(request)
    if spray is None:
        return Extent(None, None, None, None, None, us_units, nothing=True)
    return Extent(
        spraying.total_ml(spray),
        spraying.dilute_ml(spray),
        None if spray.area is None else spray.area.in_base(),
        None if spray.row_length is None else spray.row_length.in_base(),
        spray.trees,
        us_units,
    )


def doses(request: MixRequest, *, applying: Sequence[Applying] | None = None) -> tuple[Dose, ...]:
    """Return the dose of each product, in the order of the request.

    :param applying: the rows of their labels that apply, where they have been looked up already
    """
    rows, extent = applying or uses.of_products(request), extent_of(request)
    return tuple(
        [_dose(product, one.maxima, extent) for product, one in zip(request.products, rows, strict=True)]
    )


def _dose(product: Product, maxima: tuple[Quantity, ...], extent: Extent) -> Dose:
    label, rate = product.label, product.rate
    turning = _turning_of(label, rate.unit, extent.us_units)
    amount, missing = _job_amount(rate, label, extent)
    ml, grams, limit = turning.ml, turning.grams, None
    for maximum in maxima:
        most = _in_unit(maximum, label, extent, ml, grams)
        if most is not None and (limit is None or most < limit):
            limit = most
    return Dose(
        product,
        turning.unit,
        None if amount is None else amount / turning.above,
        limit,
        ml,
        grams,
        turning.base_unit,
        turning.base_factor,
        turning.liquid,
        _gaps(product, missing, turning.needs) if missing or turning.needs else (),
    )


def _gaps(product: Product, *paths: str | None) -> tuple[Missing, ...]:
    return tuple(
        Missing(f"{path}:{product.id}" if path.startswith("label.") else path) for path in paths if path
    )


@dataclass(frozen=True, slots=True)
class _Turning:
    """What a unit of amount is for a product: itself in the base of its dimension, in mL and in g."""

    unit: str
    above: Decimal
    ml: Decimal | None
    grams: Decimal | None
    base_unit: str
    base_factor: Decimal
    liquid: bool
    needs: str | None


@lru_cache(maxsize=4096)
def _turning_of(label: Label, rate_unit: str, us_units: bool) -> _Turning:
    """Return what a unit of amount is for a product, of the unit that its rate is in."""
    return _turning(label, _amount_unit(rate_unit, label, us_units))


def _turning(label: Label, unit: str) -> _Turning:
    with localcontext(quantities.EXACT):
        ml, grams = _factors(unit, label)
    one, base_unit = quantities.unit(unit), _base_unit(label, ml, grams)
    base_factor = grams if base_unit == "g" else ml
    assert base_factor is not None
    return _Turning(
        unit=unit,
        above=one.above,
        ml=ml,
        grams=grams,
        base_unit=base_unit,
        base_factor=base_factor,
        liquid=_is_liquid(label, one.dimension),
        needs=_turning_needs(label, ml, grams),
    )


def amount_unit(product: Product, request: MixRequest) -> str:
    """Return the unit of a product's amounts: that of its rate, fl_oz or mL for a share, g or mL for ppm."""
    return _amount_unit(product.rate.unit, product.label, extent_of(request).us_units)


def _amount_unit(rate_unit: str, label: Label, us_units: bool) -> str:
    if rate_unit == "percent_vv":
        return "fl_oz" if us_units else "mL"
    if rate_unit == "ppm":
        return "mL" if _ppm_by_volume(label) else "g"
    return rate_unit.partition("/")[0]


def _ppm_by_volume(label: Label) -> bool:
    content = ppm_content(label)
    if content is None:
        return label.is_dry is False
    by_volume = content.dimension in ("mass/volume", "volume/volume")
    return by_volume or (label.is_dry is False and density(label) is not None)


def ppm_content(label: Label) -> Quantity | None:
    """Return the content that a rate in ppm speaks of: that of the first active ingredient."""
    ingredients = label.active_ingredients
    return ingredients[0].content if ingredients else None


def _job_amount(rate: Quantity, label: Label, extent: Extent) -> tuple[Decimal | None, str | None]:
    """Return the amount of a rate for the whole job [g or mL], or the path of what is missing for it."""
    per = rate.per
    if per == "volume":
        volume = extent.made if label.adjuvant else extent.dilute
        return (None, None) if volume is None else (rate.in_base() * volume, None)
    if per == "ppm":
        volume = extent.made if label.adjuvant else extent.dilute
        return (None, None) if volume is None else _of_ppm(rate.value, label, volume)
    size = {"area": extent.area, "tree": extent.trees, "length": extent.length}[per]
    if size is None:
        return None, None if extent.nothing else f"spray.{SIZES[per]}"
    return rate.in_base() * size, None


SIZES = {"area": "area", "tree": "trees", "length": "row_length"}
"""Where in `spray` stands what a rate is per."""


def _of_ppm(ppm: Decimal, label: Label, volume_ml: Decimal) -> tuple[Decimal | None, str | None]:
    content = ppm_content(label)
    if content is None:
        return None, "label.content"
    active_g = ppm * MICRO * volume_ml
    if content.dimension == "mass/volume":  # g in a mL of product
        return active_g / content.in_base(), None
    if content.dimension == "volume/volume":  # taken as weighing what the product weighs
        share, by_volume = content.in_base(), True
    else:
        share = content.value * MICRO if content.dimension == "ppm" else content.in_base()
        by_volume = _ppm_by_volume(label)
    if not by_volume:
        return active_g / share, None
    per_ml = density(label)
    if per_ml is None:
        return None, "label.density"
    return active_g / share / per_ml.in_base(), None


def _factors(unit: str, label: Label) -> tuple[Decimal | None, Decimal | None]:
    """Return what one unit of amount is in mL and in g, as far as the density is known."""
    one = quantities.unit(unit)
    given = density(label)
    per_ml = None if given is None else given.in_base()
    if one.dimension == "volume":
        return one.above, None if per_ml is None else one.above * per_ml
    return None if per_ml is None else one.above / per_ml, one.above


def density(label: Label) -> Quantity | None:
    """Return what turns mass and volume into each other: the bulk density first for what is weighed."""
    if label.is_dry:
        return label.bulk_density or label.density
    return label.density or label.bulk_density


def _base_unit(label: Label, ml: Decimal | None, grams: Decimal | None) -> str:
    if grams is None:
        return "mL"
    if ml is None:
        return "g"
    weighed = label.is_dry
    if weighed is None:
        weighed = label.density is None
    return "g" if weighed else "mL"


def _is_liquid(label: Label, dimension: str) -> bool:
    if label.is_dry is not None:
        return not label.is_dry
    return label.bulk_density is None and (dimension == "volume" or label.density is not None)


def _turning_needs(label: Label, ml: Decimal | None, grams: Decimal | None) -> str | None:
    """A dry product dosed by volume, or a liquid by mass, needs its density."""
    if label.is_dry and grams is None:
        return "label.density"
    if label.is_dry is False and ml is None:
        return "label.density"
    return None


def at_rate(rate: Quantity, product: Product, request: MixRequest) -> Decimal | None:
    """Return what a rate takes for the whole job, in the unit of the product's dose; None if not known."""
    extent, label = extent_of(request), product.label
    turning = _turning_of(label, product.rate.unit, extent.us_units)
    return _in_unit(rate, label, extent, turning.ml, turning.grams)


def _in_unit(
    rate: Quantity, label: Label, extent: Extent, ml: Decimal | None, grams: Decimal | None
) -> Decimal | None:
    amount, _ = _job_amount(rate, label, extent)
    factor = ml if _measures(rate, label) == "volume" else grams
    return None if amount is None or factor is None else amount / factor


def _measures(rate: Quantity, label: Label) -> str:
    if rate.unit == "ppm":
        return "volume" if _ppm_by_volume(label) else "mass"
    return rate.measures
