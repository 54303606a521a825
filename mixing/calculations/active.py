"""Active ingredient and metal: what a product brings, what is wanted, and what a year still allows."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from mixing import chemistry
from mixing.calculations import bare, fields
from mixing.calculations.doses import content_by_weight_or_volume
from mixing.calculations.exact import Amount, brief, is_us, of_base
from mixing.calculations.registry import Given, calculation
from mixing.calculations.results import decimal, measured, whole
from mixing.calculations.worksheet import Worksheet, per, share, weight_per_volume
from mixing.catalogue import said
from mixing.faults import TOP, Faults, near
from mixing.reading import AMOUNT, AMOUNT_PER_AREA
from mixing.reading import RATE as ANY_RATE

RATE = tuple(one for one in ANY_RATE if one != "ppm")
MASS_PER_AREA = ("mass/area",)
MASS_RATE = tuple(one for one in RATE if one.startswith("mass"))
CONTENT = fields.content("content", "active ingredient or metal in the product, as its label gives it")


def _matches(given: Given, faults: Faults, product: str) -> None:
    """Note where a product by volume has a content by weight, or the other way, and no density is given."""
    amount, content = given.amount(product), given.amount("content")
    if amount is None or content is None or given.has("density"):
        return
    by_volume = amount.dimension.startswith("volume")
    if by_volume == (content.dimension == "mass/mass"):
        detail = said("fault.density_needed", product=product, unit=amount.unit, content=content.unit)
        faults.add((TOP, "density"), "unit_needs_density", detail)


def _product_matches(given: Given, faults: Faults) -> None:
    for name in ("product_rate", "product_amount", "rate"):
        _matches(given, faults, name)


def active_in(sheet: Worksheet, product: Amount, content: Amount, density: Amount | None) -> Amount:
    """Return the active ingredient in an amount or a rate of product, by weight."""
    by_volume = product.dimension.startswith("volume")
    if content.dimension == "mass/mass":
        if by_volume:
            assert density is not None
            product = sheet.weigh(product, _mass_unit(product.unit, density.unit), density)
        part = share(content.unit) * content.value
        active = Amount(product.value * part, product.unit)
        sheet.note(
            said("step.active_by_share", product=product, part=brief(part), content=content, active=active)
        )
        return active
    if not by_volume:
        assert density is not None
        product = sheet.weigh(product, _volume_unit(product.unit, density.unit), density)
    strength = weight_per_volume(sheet, content)
    mass, count, volume = per(strength)
    here = sheet.turn(product, volume + _below(product.unit))
    active = Amount(here.value / count * strength.value, mass + _below(product.unit))
    sheet.note(said("step.active_by_strength", product=here, strength=strength, active=active))
    return active


def _below(name: str) -> str:
    """Return the line and what stands below it: `/acre` of `pt/acre`, nothing of `pt`."""
    if name == "percent_vv":
        return "/L"
    _, line, below = name.partition("/")
    return line + below


def _mass_unit(product: str, by: str) -> str:
    """Return a unit of weight to go with a unit of product: lb where the content or density is in lb."""
    above = by.partition("/")[0]
    known = {"lb": "lb", "kg": "kg", "g": "g", "oz_wt": "oz_wt"}
    return known.get(above, "lb" if is_us(product) else "g") + _below(product)


def _volume_unit(product: str, by: str) -> str:
    """Return a unit of volume to go with a unit of product: gal where the content or density is per gal."""
    below = by.partition("/")[2].lstrip("0123456789")
    return (below if below in ("gal", "L", "mL") else "gal" if is_us(product) else "L") + _below(product)


@calculation(
    does="The active ingredient in an amount or a rate of product.",
    inputs=(
        fields.rate("product_rate", "a rate of product", RATE).optional(),
        fields.quantity("product_amount", AMOUNT, "an amount of product").optional(),
        CONTENT,
        fields.density(),
    ),
    results=(measured("active", ("mass", *MASS_RATE), "the active ingredient, by weight"),),
    sources=("pnw-handbook",),
    example={
        "product_rate": {"value": "2", "unit": "pt/acre"},
        "content": {"value": "4", "unit": "lb/gal"},
    },
    ways=((("product_rate",), ("product_amount",)),),
    relations=(_product_matches, content_by_weight_or_volume),
)
def active_ingredient(
    sheet: Worksheet,
    *,
    content: Amount,
    product_rate: Amount | None = None,
    product_amount: Amount | None = None,
    density: Amount | None = None,
) -> Mapping[str, object]:
    """active = product x content."""
    product = product_rate or product_amount
    assert product is not None
    return {"active": sheet.answer("active", active_in(sheet, product, content, density))}


@calculation(
    does="The rate of product that brings a wanted rate of active ingredient.",
    inputs=(
        fields.rate(
            "active_rate", "the active ingredient wanted, by weight; ppm is mg/L", (*MASS_RATE, "ppm")
        ),
        CONTENT,
        fields.density("density of a liquid whose content is by weight"),
    ),
    results=(measured("product_rate", RATE, "the product to apply"),),
    sources=("pnw-handbook",),
    example={
        "active_rate": {"value": "2", "unit": "lb/acre"},
        "content": {"value": "80", "unit": "percent_ww"},
    },
    relations=(content_by_weight_or_volume,),
)
def product_for_active(
    sheet: Worksheet, *, active_rate: Amount, content: Amount, density: Amount | None = None
) -> Mapping[str, object]:
    """product = active ingredient / content."""
    active = Amount(active_rate.value / 1000, "g/L") if active_rate.unit == "ppm" else active_rate
    if content.dimension == "mass/mass":
        part = share(content.unit) * content.value
        product = Amount(active.value / part, active.unit)
        sheet.note(
            said("step.product_by_share", active=active, part=brief(part), content=content, product=product)
        )
        if density is not None:
            product = sheet.weigh(product, _volume_unit(active.unit, density.unit), density)
    else:
        strength = weight_per_volume(sheet, content)
        mass, count, volume = per(strength)
        here = sheet.turn(active, mass + _below(active.unit))
        product = Amount(here.value / strength.value * count, volume + _below(active.unit))
        sheet.note(said("step.product_by_strength", active=here, strength=strength, product=product))
        if active_rate.unit == "ppm":
            product = sheet.turn(product, "mL/L")
    return {"product_rate": sheet.answer("product_rate", product, density)}


@calculation(
    does="The metal in an amount or a rate of a compound, from its formula and the atomic masses.",
    inputs=(
        bare.word("compound", "an English name or a formula; hydrates as CuSO4.5H2O or CuSO4·5H2O"),
        fields.quantity("amount", ("mass",), "an amount of the compound").optional(),
        fields.quantity(
            "rate", (*MASS_RATE, "mass/mass"), "a rate of the compound, or its content in a product"
        ).optional(),
        bare.word("metal", "the metal, by its name or symbol: copper or Cu"),
    ),
    results=(
        measured("equivalent", ("mass", *MASS_RATE, "mass/mass"), "the metal in it"),
        decimal("fraction", "the share of the metal by weight"),
    ),
    sources=("iupac-masses",),
    example={
        "compound": "copper hydroxide",
        "amount": {"value": "10", "unit": "lb"},
        "metal": "copper",
    },
    ways=((("amount",), ("rate",)),),
)
def metal_equivalent(
    sheet: Worksheet,
    *,
    compound: str,
    metal: str,
    amount: Amount | None = None,
    rate: Amount | None = None,
) -> Mapping[str, object]:
    """fraction = atoms x atomic mass of the metal / molar mass; equivalent = amount x fraction."""
    given = amount or rate
    assert given is not None
    formula, symbol = _formula(sheet, compound), _symbol(sheet, metal)
    sheet.faults.refuse()
    atoms, molar = chemistry.atoms_of(formula), Fraction(chemistry.molar_mass(formula))
    if not atoms.get(symbol):
        sheet.refuse("metal", "invalid", said("fault.no_metal_in_it", formula=formula, metal=metal))
    of_metal = atoms[symbol] * Fraction(chemistry.molar_mass(symbol))
    fraction = of_metal / molar
    sheet.note(
        said(
            "step.molar_mass",
            formula=formula,
            molar=brief(molar),
            atoms=atoms[symbol],
            symbol=symbol,
            of_metal=brief(of_metal),
        )
    )
    sheet.note(f"{brief(of_metal)} ÷ {brief(molar)} = {brief(fraction)}")
    equivalent = Amount(given.value * fraction, given.unit)
    sheet.note(said("step.metal", given=given, fraction=brief(fraction), equivalent=equivalent, metal=metal))
    return {"equivalent": sheet.answer("equivalent", equivalent), "fraction": fraction}


def _formula(sheet: Worksheet, compound: str) -> str:
    """Return the formula of a compound named in English or written as one."""
    found = chemistry.substance(compound)
    if found is not None and found.formula is not None:
        sheet.note(said("step.formula", compound=compound, formula=found.formula))
        return found.formula
    written = compound.strip().replace("•", "·").replace("∙", "·")
    try:
        if chemistry.molar_mass(written) > 0:
            return written
    except chemistry.FormulaError:
        pass
    known = [name for name in chemistry.formulas() if name]
    hint = near(compound.casefold(), known) or said("fault.write_a_formula")
    detail = said("fault.unknown_compound", compound=repr(compound[:60]), hint=hint)
    sheet.faults.add((TOP, "compound"), "invalid", detail)
    return ""


def _symbol(sheet: Worksheet, metal: str) -> str:
    """Return the symbol of a metal, by its name or as it stands."""
    names = chemistry.metals()
    wanted = metal.strip()
    found = names.get(wanted.casefold()) or (wanted if wanted in names.values() else None)
    if found is None:
        detail = said("fault.unknown_metal", metal=repr(metal[:40]), hint=near(wanted.casefold(), names))
        sheet.faults.add((TOP, "metal"), "invalid", detail)
    return found or ""


def _application_matches(given: Given, faults: Faults) -> None:
    """The rate must become a rate of active ingredient per area."""
    _matches(given, faults, "rate")
    rate = given.amount("rate")
    if rate is not None and rate.dimension.endswith("/volume") and not given.has("volume_per_area"):
        detail = said("fault.needs_spray_per_area", unit=rate.unit)
        faults.add((TOP, "volume_per_area"), "required", detail)


@calculation(
    does="How many more applications a yearly limit of active ingredient or metal allows.",
    inputs=(
        fields.quantity("limit", MASS_PER_AREA, "the most of the active ingredient or metal that is allowed"),
        fields.quantity("used", MASS_PER_AREA, "what was used of it so far", zero=True),
        fields.rate(
            "rate", "the product of one application", (*AMOUNT_PER_AREA, "mass/volume", "volume/volume")
        ),
        CONTENT,
        fields.spray_per_area(
            "volume_per_area", "the spray per area, where the rate is per volume"
        ).optional(),
        fields.density(),
    ),
    results=(
        whole("applications", "how many whole applications are left"),
        measured("left", MASS_PER_AREA, "what is left of the limit; below zero where it is passed"),
    ),
    sources=("pnw-handbook",),
    example={
        "limit": {"value": "18", "unit": "lb/acre"},
        "used": {"value": "4", "unit": "lb/acre"},
        "rate": {"value": "8", "unit": "lb/acre"},
        "content": {"value": "35", "unit": "percent_ww"},
    },
    relations=(_application_matches, content_by_weight_or_volume),
)
def applications_left(
    sheet: Worksheet,
    *,
    limit: Amount,
    used: Amount,
    rate: Amount,
    content: Amount,
    volume_per_area: Amount | None = None,
    density: Amount | None = None,
) -> Mapping[str, object]:
    """left = limit - used; applications = left / (rate x content), rounded down."""
    here = sheet.turn(used, limit.unit)
    left = Amount(limit.value - here.value, limit.unit)
    step = "step.left_passed" if left.value < 0 else "step.left"
    sheet.note(said(step, limit=limit, used=here, left=left))
    active = active_in(sheet, rate, content, density)
    if active.dimension == "mass/volume":
        assert volume_per_area is not None
        ground = of_base(active.base * volume_per_area.base, limit.unit)
        sheet.note(said("step.one_application", active=active, spray=volume_per_area, ground=ground))
        active = ground
    each = sheet.turn(active, limit.unit)
    times = max(left.value / each.value, Fraction(0))
    count = int(times)
    sheet.note(said("step.whole_applications", left=left, each=each, times=brief(times), count=count))
    return {"applications": count, "left": sheet.answer("left", left)}
