"""Doses: how much product an area, a volume of spray or a number of trees takes."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from mixing.calculations import bare, fields
from mixing.calculations.exact import Amount, brief, is_us
from mixing.calculations.registry import Given, calculation
from mixing.calculations.results import measured
from mixing.calculations.worksheet import Worksheet, share, times, weight_per_volume
from mixing.catalogue import said
from mixing.faults import TOP, Faults
from mixing.reading import AMOUNT, AREA, VOLUME

RATE_PER_VOLUME = ("mass/volume", "volume/volume")
RATE_OF_SPRAY = (*RATE_PER_VOLUME, "ppm")
RATE_PER_TREE = ("mass/tree", "volume/tree")

CONTENT = fields.content(
    "content", "active ingredient in the product; needed where the rate is in ppm of active ingredient"
)


def content_for_ppm(given: Given, faults: Faults) -> None:
    """Note that a rate in ppm of active ingredient needs the content, and the density with it by weight."""
    rate = given.amount("rate")
    if rate is None or rate.unit != "ppm":
        return
    if not given.has("content"):
        detail = said("fault.ppm_needs_content")
        faults.add((TOP, "content"), "required", detail)
    content_by_weight_or_volume(given, faults)


def content_by_weight_or_volume(given: Given, faults: Faults) -> None:
    """Note that `percent_vv` of an active ingredient says nothing of its weight."""
    content = given.amount("content")
    if content is not None and content.dimension == "volume/volume":
        detail = said("fault.no_weight_by_volume")
        faults.add(((TOP, "content"), "unit"), "unit_kind", detail)


def by_volume(
    sheet: Worksheet, rate: Amount, volume: Amount, content: Amount | None, density: Amount | None
) -> Amount:
    """Return what a rate per volume comes to in a volume of spray, in the unit that a person measures."""
    if rate.unit == "percent_vv":
        return percent_of(sheet, rate.value, volume)
    if rate.unit == "ppm":
        assert content is not None
        return of_active(sheet, rate.value, volume, content, density)
    return times(sheet, rate, volume)


def percent_of(sheet: Worksheet, percent: Fraction, volume: Amount) -> Amount:
    """Return a percentage by volume of a spray: in fl_oz where the spray is in US units, else in mL."""
    part = Amount(volume.value * percent / 100, volume.unit)
    sheet.note(f"{volume} × {brief(percent)} ÷ 100 = {part}")
    return sheet.turn(part, "fl_oz" if is_us(volume.unit) else "mL")


def of_active(
    sheet: Worksheet, ppm: Fraction, volume: Amount, content: Amount, density: Amount | None
) -> Amount:
    """Return the product for so many mg of active ingredient in each litre: in g, or mL of a liquid."""
    litres = sheet.turn(volume, "L")
    grams = Amount(ppm * litres.value / 1000, "g")
    sheet.note(said("step.grams_of_active", litres=litres, ppm=brief(ppm), grams=grams))
    if content.dimension == "mass/mass":
        part = share(content.unit) * content.value
        product = Amount(grams.value / part, "g")
        sheet.note(
            said("step.product_by_share", active=grams, part=brief(part), content=content, product=product)
        )
        return product if density is None else sheet.weigh(product, "mL", density)
    strength = sheet.turn(weight_per_volume(sheet, content), "g/L")
    product = Amount(grams.value / strength.value * 1000, "mL")
    sheet.note(said("step.product_by_litres", active=grams, strength=strength, product=product))
    return product


@calculation(
    does="The product that an area takes at a rate per area.",
    inputs=(
        fields.quantity("area", AREA, "the ground treated"),
        fields.rate_by_area("rate", "the product on each unit of ground, such as 4 lb/acre"),
        fields.density(),
    ),
    results=(measured("amount", AMOUNT, "the product for the area"),),
    sources=("handbook-44",),
    example={"area": {"value": "2.5", "unit": "acre"}, "rate": {"value": "3", "unit": "lb/acre"}},
)
def dose_by_area(
    sheet: Worksheet, *, area: Amount, rate: Amount, density: Amount | None = None
) -> Mapping[str, object]:
    """amount = area x rate."""
    return {"amount": sheet.answer("amount", times(sheet, rate, area), density)}


@calculation(
    does="The product that a volume of spray takes at a rate per volume.",
    inputs=(
        fields.quantity("volume", VOLUME, "the spray to be made"),
        fields.rate("rate", "the product in each volume of spray, such as 2 tbsp/gal", RATE_OF_SPRAY),
        CONTENT.optional(),
        fields.density(),
    ),
    results=(measured("amount", AMOUNT, "the product for the volume"),),
    sources=("handbook-44",),
    example={"volume": {"value": "22", "unit": "gal"}, "rate": {"value": "1.5", "unit": "tbsp/gal"}},
    relations=(content_for_ppm,),
)
def dose_by_volume(
    sheet: Worksheet,
    *,
    volume: Amount,
    rate: Amount,
    content: Amount | None = None,
    density: Amount | None = None,
) -> Mapping[str, object]:
    """amount = volume x rate."""
    return {"amount": sheet.answer("amount", by_volume(sheet, rate, volume, content, density), density)}


@calculation(
    does="The spray and the product that a number of trees takes.",
    inputs=(
        bare.trees("trees", "the trees to be sprayed"),
        fields.quantity("volume_per_tree", VOLUME, "the spray that one tree takes"),
        fields.rate(
            "rate",
            "the product per volume of spray or per tree, such as 2 tbsp/gal or 50 mL/tree",
            (*RATE_OF_SPRAY, *RATE_PER_TREE),
        ),
        CONTENT.optional(),
        fields.density(),
    ),
    results=(
        measured("spray", VOLUME, "the spray for all trees"),
        measured("amount", AMOUNT, "the product for all trees"),
    ),
    sources=("handbook-44",),
    example={
        "trees": 40,
        "volume_per_tree": {"value": "0.5", "unit": "gal"},
        "rate": {"value": "1.5", "unit": "tbsp/gal"},
    },
    relations=(content_for_ppm,),
)
def dose_by_trees(
    sheet: Worksheet,
    *,
    trees: Fraction,
    volume_per_tree: Amount,
    rate: Amount,
    content: Amount | None = None,
    density: Amount | None = None,
) -> Mapping[str, object]:
    """spray = trees x volume per tree; amount = spray x rate, or trees x rate per tree."""
    spray = Amount(trees * volume_per_tree.value, volume_per_tree.unit)
    sheet.note(said("step.spray_of_trees", trees=brief(trees), each=volume_per_tree, spray=spray))
    if rate.dimension in RATE_PER_TREE:
        amount = times(sheet, rate, Amount(trees, "tree"))
    else:
        amount = by_volume(sheet, rate, spray, content, density)
    return {"spray": sheet.answer("spray", spray), "amount": sheet.answer("amount", amount, density)}


@calculation(
    does="The product for a solution of so many percent by volume.",
    inputs=(
        fields.quantity("volume", VOLUME, "the finished spray"),
        bare.number("percent_vv", "percent of the finished spray by volume", above=0, below=100),
        fields.density(),
    ),
    results=(measured("amount", AMOUNT, "the product"),),
    sources=("handbook-44",),
    example={"volume": {"value": "12", "unit": "gal"}, "percent_vv": "1.5"},
)
def percent_solution(
    sheet: Worksheet, *, volume: Amount, percent_vv: Fraction, density: Amount | None = None
) -> Mapping[str, object]:
    """amount = volume x percent / 100; 1 % is 1.28 fl_oz per gallon."""
    return {"amount": sheet.answer("amount", percent_of(sheet, percent_vv, volume), density)}


@calculation(
    does="The product for a solution of so many mg of active ingredient per litre.",
    inputs=(
        fields.quantity("volume", VOLUME, "the finished spray"),
        bare.number("ppm", "active ingredient in the finished spray [mg/L]", above=0, below=1_000_000),
        fields.content("content", "active ingredient in the product"),
        fields.density("density of a liquid whose content is by weight, to measure it by volume"),
    ),
    results=(measured("amount", AMOUNT, "the product"),),
    sources=("handbook-44",),
    example={
        "volume": {"value": "100", "unit": "gal"},
        "ppm": "100",
        "content": {"value": "17", "unit": "percent_ww"},
    },
    relations=(content_by_weight_or_volume,),
)
def ppm_solution(
    sheet: Worksheet, *, volume: Amount, ppm: Fraction, content: Amount, density: Amount | None = None
) -> Mapping[str, object]:
    """amount = litres x ppm / 1000 [g of active ingredient] / content."""
    return {"amount": sheet.answer("amount", of_active(sheet, ppm, volume, content, density), density)}


@calculation(
    does="A weight from a volume by the density, or a volume from a weight.",
    inputs=(
        fields.quantity("volume", VOLUME, "the volume to weigh").optional(),
        fields.quantity("mass", ("mass",), "the weight to measure out by volume").optional(),
        fields.density("mass per volume of what is measured").mandatory(),
    ),
    results=(
        measured("mass", ("mass",), "the weight of the volume", always=False),
        measured("volume", VOLUME, "the volume of the weight", always=False),
    ),
    sources=("handbook-44",),
    example={"volume": {"value": "6", "unit": "tbsp"}, "density": {"value": "0.7", "unit": "kg/L"}},
    ways=((("volume",), ("mass",)),),
)
def weigh_measure(
    sheet: Worksheet, *, density: Amount, volume: Amount | None = None, mass: Amount | None = None
) -> Mapping[str, object]:
    """mass = volume x density."""
    above, _, below = density.unit.partition("/")
    below = below.lstrip("0123456789")
    if volume is not None:
        return {"mass": sheet.weigh(volume, sheet.asked("mass") or above, density)}
    assert mass is not None
    return {"volume": sheet.weigh(mass, sheet.asked("volume") or below, density)}
