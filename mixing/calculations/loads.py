"""Tank loads: the spray and the product of each load, the last one partly filled; the amounts of a jar."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from mixing.calculations import exact, fields, lists
from mixing.calculations.doses import (
    CONTENT,
    by_volume,
    content_by_weight_or_volume,
    content_for_ppm,
)
from mixing.calculations.exact import Amount, brief
from mixing.calculations.registry import Given, calculation
from mixing.calculations.results import inner, measured, result, whole
from mixing.calculations.worksheet import Worksheet, per, times
from mixing.catalogue import said
from mixing.faults import TOP, Faults
from mixing.reading import AMOUNT, AREA, VOLUME, VOLUME_PER_LENGTH

MOST_LOADS = 200
"""As a mix check: a job of more loads than this was typed wrongly. Common practice, no source."""

BASIS = {"area": "volume_per_area", "tree": "volume_per_tree", "length": "volume_per_length"}
"""What says how much spray goes on what a rate is counted by."""


def _spray_is_known(given: Given, faults: Faults) -> None:
    """The spray is `total`, or `area` with `volume_per_area`; one of the two may stand beside `total`."""
    if given.has("total"):
        if given.has("area", "volume_per_area"):
            detail = said("fault.total_or_area")
            faults.add((TOP, "volume_per_area"), "invalid", detail)
        return
    if given.has("area") or given.has("volume_per_area"):
        for name in ("area", "volume_per_area"):
            if not given.has(name):
                faults.add((TOP, name), "required", said("fault.missing_total_or_both", name=name))
        return
    faults.add(TOP, "required", said("fault.total_missing"))


def _rate_has_its_basis(given: Given, faults: Faults) -> None:
    """A rate per area, tree or row needs to know how much spray goes on it."""
    rate = given.amount("rate")
    if rate is None or rate.unit == "ppm":
        return
    need = BASIS.get(rate.dimension.split("/")[1])
    if need is None or given.has(need) or (need == "volume_per_area" and given.has("area")):
        return
    faults.add((TOP, need), "required", said("fault.rate_needs", unit=rate.unit, need=need))


def _loads_are_few(given: Given, faults: Faults) -> None:
    tank, spray = given.amount("tank"), _spray(given)
    if tank is not None and spray is not None and spray.base > tank.base * MOST_LOADS:
        detail = said("fault.loads_of_tank", most=MOST_LOADS)
        faults.add((TOP, "tank"), "out_of_range", detail)


def _spray(given: Given) -> Amount | None:
    whole_spray = given.amount("total")
    area, volume_per_area = given.amount("area"), given.amount("volume_per_area")
    if whole_spray is None and area is not None and volume_per_area is not None:
        return Amount(area.base * volume_per_area.base, "mL")
    return whole_spray


@calculation(
    does="The loads of a job: full tanks and the last part of one, with the product of each.",
    inputs=(
        fields.quantity("total", VOLUME, "all the spray of the job").optional(),
        fields.quantity("area", AREA, "the ground treated").optional(),
        fields.spray_per_area("volume_per_area", "the spray on each unit of ground").optional(),
        fields.quantity("volume_per_tree", VOLUME, "the spray on each tree").optional(),
        fields.quantity("volume_per_length", VOLUME_PER_LENGTH, "the spray on so much row").optional(),
        fields.quantity("tank", VOLUME, "what the tank holds"),
        fields.rate("rate", "the product per volume, area, tree or row length"),
        CONTENT.optional(),
        fields.density(),
    ),
    results=(
        result(
            "loads",
            "each load in order",
            {
                "type": "array",
                "items": {
                    "type": "object",
                    "properties": {
                        "spray": {"$ref": "#/$defs/quantity"},
                        "amount": {"$ref": "#/$defs/quantity"},
                    },
                    "required": ["spray", "amount"],
                },
            },
        ),
        whole("full_loads", "how many loads fill the tank"),
        measured("total", AMOUNT, "the product in all loads"),
        inner("spray", VOLUME),
        inner("amount", AMOUNT),
    ),
    sources=("handbook-44",),
    example={
        "area": {"value": "13.5", "unit": "acre"},
        "volume_per_area": {"value": "25", "unit": "gal/acre"},
        "tank": {"value": "100", "unit": "gal"},
        "rate": {"value": "2", "unit": "pt/acre"},
    },
    relations=(_spray_is_known, _rate_has_its_basis, _loads_are_few, content_for_ppm),
)
def tank_loads(
    sheet: Worksheet,
    *,
    tank: Amount,
    rate: Amount,
    total: Amount | None = None,
    area: Amount | None = None,
    volume_per_area: Amount | None = None,
    volume_per_tree: Amount | None = None,
    volume_per_length: Amount | None = None,
    content: Amount | None = None,
    density: Amount | None = None,
) -> Mapping[str, object]:
    """Full loads of the tank, then the rest; the loads add up to the total exactly."""
    spray = total
    if spray is None:
        assert area is not None and volume_per_area is not None
        spray = times(sheet, volume_per_area, area)
    spray = sheet.turn(spray, tank.unit)
    if volume_per_area is None and area is not None:
        volume_per_area = Amount(spray.value / area.value, f"{spray.unit}/{area.unit}")
        sheet.note(f"{spray} ÷ {area} = {volume_per_area}")
    bases = {"area": volume_per_area, "tree": volume_per_tree, "length": volume_per_length}
    full, rest = int(spray.value // tank.value), spray.value % tank.value
    sheet.note(
        said(
            "step.full_loads",
            spray=spray,
            tank=tank,
            ratio=brief(spray.value / tank.value),
            full=full,
            rest=brief(rest),
            unit=tank.unit,
        )
    )
    lots = [(one, count) for one, count in ((tank, full), (Amount(rest, tank.unit), bool(rest))) if count]
    loads: list[Mapping[str, object]] = []
    together: list[Amount] = []
    for one, count in lots:
        dose = _dose(sheet, rate, one, bases, content, density)
        together.append(Amount(dose.value * count, dose.unit))
        load = {"spray": sheet.answer("spray", one), "amount": sheet.answer("amount", dose, density)}
        loads.extend([load] * count)
    product = exact.total(together, together[0].unit)
    sheet.note(said("step.all_loads", product=product))
    return {"loads": loads, "full_loads": full, "total": sheet.answer("total", product, density)}


def _dose(
    sheet: Worksheet,
    rate: Amount,
    spray: Amount,
    bases: Mapping[str, Amount | None],
    content: Amount | None,
    density: Amount | None,
) -> Amount:
    """Return the product in a volume of spray for a rate of any kind."""
    below = "volume" if rate.unit == "ppm" else rate.dimension.split("/")[1]
    basis = bases.get(below)
    if basis is None:
        return by_volume(sheet, rate, spray, content, density)
    return times(sheet, rate, covered(sheet, spray, basis, per(rate)[2]))


def covered(sheet: Worksheet, spray: Amount, basis: Amount, name: str) -> Amount:
    """Return the ground, the trees or the row that a volume of spray covers, in the unit `name`."""
    if basis.dimension == "volume":
        here = sheet.turn(spray, basis.unit)
        trees = Amount(here.value / basis.value, "tree")
        sheet.note(said("step.trees_of_spray", spray=here, each=basis, trees=trees))
        return trees
    above, count, below = per(basis)
    here = sheet.turn(spray, above)
    ground = Amount(here.value / basis.value * count, below)
    sheet.note(f"{here} ÷ {basis} = {ground}")
    return sheet.turn(ground, name)


def _jar_rates(given: Given, faults: Faults) -> None:
    contents = given.listed("contents")
    rates = given.listed("rates")
    if given.has("contents") and given.has("rates") and rates and contents and len(contents) != len(rates):
        faults.add((TOP, "contents"), "invalid", said("fault.one_content_each"))
        return
    for rank, rate in enumerate(rates):
        if isinstance(rate, Amount):
            _jar_rate(rate, rank, given, faults)


def _jar_rate(rate: Amount, rank: int, given: Given, faults: Faults) -> None:
    if rate.unit == "ppm":
        contents = given.listed("contents")
        content = contents[rank] if len(contents) > rank else None
        if content is None:
            detail = said("fault.rate_of_active", rate=rate)
            faults.add(((TOP, "contents"), rank), "required", detail)
        elif isinstance(content, Amount) and content.dimension == "volume/volume":
            content_by_weight_or_volume(Given({"content": content}, frozenset(("content",))), faults)
        return
    need = BASIS.get(rate.dimension.split("/")[1])
    if need is not None and not given.has(need):
        faults.add((TOP, need), "required", said("fault.rate_needs_for_jar", rate=rate, need=need))


@calculation(
    does="The product for a jar test, scaled down exactly from the rates in the tank.",
    inputs=(
        fields.quantity("jar", VOLUME, "the water in the jar"),
        lists.many("rates", "the rates in the tank, of any kind", fields.rate("rate", "one rate"), most=20),
        fields.spray_per_area("volume_per_area", "the spray per area, where a rate is by area").optional(),
        fields.quantity("volume_per_tree", VOLUME, "the spray per tree, where a rate is by tree").optional(),
        fields.quantity(
            "volume_per_length", VOLUME_PER_LENGTH, "the spray per row length, where a rate is by it"
        ).optional(),
        lists.many(
            "contents",
            "the content of each product, or null, in the order of `rates`; needed for a rate in ppm",
            fields.content("content", "active ingredient in the product"),
            most=20,
            gaps=True,
        ).optional(),
    ),
    results=(
        result(
            "amounts", "in the order of `rates`", {"type": "array", "items": {"$ref": "#/$defs/quantity"}}
        ),
        inner("amounts", AMOUNT),
    ),
    sources=("grdc-jar",),
    example={
        "jar": {"value": "1", "unit": "qt"},
        "rates": [{"value": "2", "unit": "pt/acre"}, {"value": "1.5", "unit": "tbsp/gal"}],
        "volume_per_area": {"value": "50", "unit": "gal/acre"},
    },
    relations=(_jar_rates,),
)
def jar_amounts(
    sheet: Worksheet,
    *,
    jar: Amount,
    rates: Sequence[Amount],
    volume_per_area: Amount | None = None,
    volume_per_tree: Amount | None = None,
    volume_per_length: Amount | None = None,
    contents: Sequence[Amount | None] | None = None,
) -> Mapping[str, object]:
    """amount = jar x rate per volume, or jar / volume per area x rate per area."""
    bases = {"area": volume_per_area, "tree": volume_per_tree, "length": volume_per_length}
    each = contents or [None] * len(rates)
    amounts = [
        _dose(sheet, rate, jar, bases, content, None) for rate, content in zip(rates, each, strict=True)
    ]
    return {"amounts": sheet.answers("amounts", amounts)}
