"""The canopy: tree row volume, concentrate spraying, and how many trees stand on the ground."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from mixing.calculations import fields
from mixing.calculations.doses import RATE_OF_SPRAY
from mixing.calculations.exact import Amount, brief, is_us, of_base
from mixing.calculations.registry import calculation
from mixing.calculations.results import decimal, measured
from mixing.calculations.worksheet import Worksheet
from mixing.catalogue import said
from mixing.reading import AREA, LENGTH, VOLUME_PER_AREA

HALF = Fraction(1, 2)


@calculation(
    does="The canopy on the ground, taken as a box along the row, and the dilute spray that it takes.",
    inputs=(
        fields.quantity("height", LENGTH, "of the canopy"),
        fields.quantity("canopy_width", LENGTH, "of the canopy, across the row"),
        fields.quantity("row_spacing", LENGTH, "between the rows"),
        fields.quantity(
            "volume_per_canopy",
            ("volume/volume",),
            "the dilute spray per volume of canopy, such as 0.7 gal/1000ft3",
        ).optional(),
    ),
    results=(
        measured("canopy_volume_per_area", VOLUME_PER_AREA, "m3/ha or ft3/acre"),
        measured(
            "dilute_volume_per_area", VOLUME_PER_AREA, "the spray that wets it to run-off", always=False
        ),
    ),
    sources=("cornell-trv",),
    example={
        "height": {"value": "11", "unit": "ft"},
        "canopy_width": {"value": "8", "unit": "ft"},
        "row_spacing": {"value": "12", "unit": "ft"},
        "volume_per_canopy": {"value": "0.7", "unit": "gal/1000ft3"},
    },
)
def tree_row_volume(
    sheet: Worksheet,
    *,
    height: Amount,
    canopy_width: Amount,
    row_spacing: Amount,
    volume_per_canopy: Amount | None = None,
) -> Mapping[str, object]:
    """canopy = height x width x area / row spacing; spray = canopy x spray per canopy."""
    us = is_us(row_spacing.unit)
    length, side = ("ft", 43560) if us else ("m", 10000)
    tall, wide, row = (sheet.turn(one, length) for one in (height, canopy_width, row_spacing))
    canopy = Amount(tall.value * wide.value * side / row.value, "ft3/acre" if us else "m3/ha")
    sheet.note(f"{tall} × {wide} × {side} ÷ {row} = {canopy}")
    answer: dict[str, object] = {"canopy_volume_per_area": sheet.answer("canopy_volume_per_area", canopy)}
    if volume_per_canopy is not None:
        each = sheet.turn(volume_per_canopy, "gal/1000ft3" if us else "L/m3")
        spray = of_base(canopy.base * each.base, "gal/acre" if us else "L/ha")
        sheet.note(f"{canopy} × {each} = {spray}")
        answer["dilute_volume_per_area"] = sheet.answer("dilute_volume_per_area", spray)
    return answer


@calculation(
    does="How much stronger a concentrate spray is than the dilute one, and the rate in its tank.",
    inputs=(
        fields.spray_per_area("dilute_volume_per_area", "the spray that wets to run-off"),
        fields.spray_per_area("volume_per_area", "the spray that is applied"),
        fields.rate("rate", "the label's rate per volume of dilute spray", RATE_OF_SPRAY).optional(),
    ),
    results=(
        decimal("factor", "how many times dilute the spray is: 1X, 2X, 3X"),
        measured("tank_rate", RATE_OF_SPRAY, "the rate in the tank", always=False),
    ),
    sources=("cornell-trv",),
    example={
        "dilute_volume_per_area": {"value": "200", "unit": "gal/acre"},
        "volume_per_area": {"value": "50", "unit": "gal/acre"},
        "rate": {"value": "2", "unit": "lb/100gal"},
    },
)
def concentrate_factor(
    sheet: Worksheet,
    *,
    dilute_volume_per_area: Amount,
    volume_per_area: Amount,
    rate: Amount | None = None,
) -> Mapping[str, object]:
    """factor = dilute volume / applied volume; tank rate = rate x factor."""
    here = sheet.turn(volume_per_area, dilute_volume_per_area.unit)
    factor = dilute_volume_per_area.value / here.value
    sheet.note(f"{dilute_volume_per_area} ÷ {here} = {brief(factor)}")
    if rate is None:
        return {"factor": factor}
    in_tank = Amount(rate.value * factor, rate.unit)
    sheet.note(said("step.in_the_tank", rate=rate, factor=brief(factor), tank=in_tank))
    return {"factor": factor, "tank_rate": sheet.answer("tank_rate", in_tank)}


@calculation(
    does="How many trees stand on an area at a row spacing and a tree spacing.",
    inputs=(
        fields.quantity("row_spacing", LENGTH, "between the rows"),
        fields.quantity("tree_spacing", LENGTH, "between the trees in a row"),
        fields.quantity("area", AREA, "the ground planted"),
    ),
    results=(
        measured("trees", ("tree",), "rounded to the nearest tree"),
        measured("trees_per_area", ("tree/area",), "tree/ha or tree/acre, not rounded"),
    ),
    sources=("psu-per-tree",),
    example={
        "row_spacing": {"value": "20", "unit": "ft"},
        "tree_spacing": {"value": "20", "unit": "ft"},
        "area": {"value": "1", "unit": "acre"},
    },
)
def planted_trees(
    sheet: Worksheet, *, row_spacing: Amount, tree_spacing: Amount, area: Amount
) -> Mapping[str, object]:
    """trees = area / (row spacing x tree spacing)."""
    us = is_us(area.unit)
    length, side, name = ("ft", 43560, "acre") if us else ("m", 10000, "ha")
    row, tree = sheet.turn(row_spacing, length), sheet.turn(tree_spacing, length)
    each = Amount(side / (row.value * tree.value), f"tree/{name}")
    sheet.note(f"{side} ÷ ({row} × {tree}) = {each}")
    ground = sheet.turn(area, name)
    trees = each.value * ground.value
    count = int(trees + HALF)
    sheet.note(
        said("step.nearest_tree", each=brief(each.value), ground=ground, trees=brief(trees), count=count)
    )
    return {
        "trees": sheet.answer("trees", Amount(Fraction(count), "tree")),
        "trees_per_area": sheet.answer("trees_per_area", each),
    }
