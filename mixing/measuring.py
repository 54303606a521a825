"""What to measure: the nearest amount that the farm's spoons, cups, jugs and scales can show.

The tools of one family have marks that are multiples of each other (a quarter tablespoon is three quarter
teaspoons), so the nearest amount is a multiple of the finest mark. Amounts of two families are never added:
nobody measures teaspoons and millilitres into one cup.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import ROUND_FLOOR, ROUND_HALF_DOWN, Decimal, localcontext
from functools import lru_cache
from typing import NamedTuple

from mixing import quantities
from mixing.doses import Dose
from mixing.quantities import EXACT, Quantity
from mixing.spraying import PLACES

FIVE_PERCENT = Decimal("0.05")
QUARTER, WHOLE = Decimal("0.25"), Decimal(1)
ZERO, ONE = Decimal(0), Decimal(1)

FAMILIES: tuple[Mapping[str, Decimal], ...] = (
    dict.fromkeys(("gal", "qt", "pt", "cup", "fl_oz", "tbsp", "tsp"), QUARTER),
    dict.fromkeys(("imp_gal", "imp_pt", "imp_fl_oz"), QUARTER),
    dict.fromkeys(("m3", "L", "mL"), WHOLE),
    {"lb": WHOLE, "oz_wt": QUARTER},
    dict.fromkeys(("kg", "g", "mg"), WHOLE),
)
"""Tools of one family, largest first, each with its finest mark."""

MOST_SCOOPS = 16
"""More of one tool than this is counted wrong; a larger tool comes first then. Common practice, no source."""

SLACK = Decimal("1e-25")
"""What sixty digits may lose in a quotient, and no scale can show."""


@dataclass(frozen=True, slots=True)
class Tool:
    """One measure: how many of the set's finest marks make one of its own, and its own as a share of it."""

    unit: str
    marks: int
    step: Decimal


@dataclass(frozen=True, slots=True, eq=False)
class ToolSet:
    """Tools of one family, largest first. It equals only itself, so that what it showed can be kept by it.

    :ivar per_unit: finest marks in one unit of the dose, or in one mL or g where the dose must be turned
    :ivar own: place of the tool that reads in the unit of the dose; 0 where there is none
    """

    dimension: str
    tools: tuple[Tool, ...]
    per_unit: Decimal
    turned: bool
    own: int


Measured = tuple[tuple[Quantity, ...], Decimal]
"""What to measure, largest first, empty below the smallest mark; and its error, (shown - wanted) / wanted."""


@lru_cache(maxsize=1024)
def tool_sets(measures: tuple[str, ...], own: str) -> tuple[ToolSet, ...]:
    """Return the sets of tools to choose from, the one with the unit `own` first.

    Then those that measure what `own` does, then those for which the amount is turned by its density.
    """
    with localcontext(EXACT):
        sets = [_tool_set(family, measures, own) for family in FAMILIES if family.keys() & set(measures)]
    sets.sort(key=lambda found: (found.turned, all(tool.unit != own for tool in found.tools)))
    return tuple(sets)


def _tool_set(family: Mapping[str, Decimal], measures: tuple[str, ...], own: str) -> ToolSet:
    names = [name for name in family if name in measures]
    finest = quantities.unit(names[-1]).above * family[names[-1]]
    tools = tuple(
        Tool(name, int((quantities.unit(name).above * family[name] / finest).quantize(ONE)), family[name])
        for name in names
    )
    dimension, wanted = quantities.unit(names[0]).dimension, quantities.unit(own)
    turned = dimension != wanted.dimension
    per_unit = ONE / finest if turned else wanted.above / finest
    place = names.index(own) if own in names else 0
    return ToolSet(dimension, tools, per_unit, turned, place)


class Scale(NamedTuple):
    """One set of tools for one dose.

    :ivar per_unit: how many of its finest marks one unit of the dose makes
    :ivar last: taken only where the others are off by more than 5 %: spoons for what is weighed, a scale for
        what is poured. How a powder lies in a spoon varies by more. Common practice, no source.
    """

    tools: ToolSet
    per_unit: Decimal
    last: bool


@lru_cache(maxsize=4096)
def scales(
    measures: tuple[str, ...], unit: str, ml: Decimal | None, grams: Decimal | None, liquid: bool
) -> tuple[Scale, ...]:
    """Return what a dose can be measured with, the tools of its own unit first; empty where none can.

    :param unit: the unit of the dose
    :param ml, grams: volume and mass of one unit, None where a density is missing
    :param liquid: whether it is poured
    """
    found = []
    for tools in tool_sets(measures, unit):
        factor = (ml if tools.dimension == "volume" else grams) if tools.turned else ONE
        if factor is not None:
            last = tools.turned and liquid is (tools.dimension == "mass")
            found.append(Scale(tools, EXACT.multiply(tools.per_unit, factor), last))
    return tuple(found)


def measure(
    dose: Dose, amount: Decimal, scaled: Iterable[Scale], *, limit: Decimal | None
) -> Measured | None:
    """Return what to measure for an amount of a dose; None where no tool at hand can show it at all.

    :param amount: the amount wanted [unit of the dose]
    :param scaled: what it can be measured with
    :param limit: the most that the label allows here [unit of the dose]; the shown amount stays within it
    """
    content = dose.product.label.packet_content
    if content is not None and dose.product.label.packet:
        return _packets(dose, amount, limit, content)
    best: Scale | None = None
    most = error = ZERO
    for scale in scaled:
        if best is not None and (not error or (scale.last and abs(error) <= FIVE_PERCENT)):
            continue
        marks = amount * scale.per_unit
        shown = marks.to_integral_value(ROUND_HALF_DOWN)
        if shown > marks and limit is not None:
            shown = _within(shown, marks, limit * scale.per_unit)
        off = ZERO if shown == marks else (shown - marks) / marks
        if best is None or abs(off) < abs(error):
            best, most, error = scale, shown, off
    return None if best is None else (_split(int(most), best.tools), error)


def _within(nearest: Decimal, marks: Decimal, limit: Decimal) -> Decimal:
    """Return the nearest whole number of marks, the one below where it would pass the limit."""
    return (marks + SLACK).to_integral_value(ROUND_FLOOR) if nearest > limit + SLACK else nearest


@lru_cache(maxsize=8192)
def _split(shown: int, tools: ToolSet) -> tuple[Quantity, ...]:
    """Share marks among tools, largest first, from the unit of the rate on unless that is too many."""
    start = tools.own
    if start and shown * tools.tools[start].step > MOST_SCOOPS * tools.tools[start].marks:
        start = 0
    parts = []
    for tool in tools.tools[start:]:
        count, shown = divmod(shown, tool.marks)
        if count:
            parts.append(Quantity(count * tool.step, tool.unit))
    return tuple(parts)


def _packets(dose: Dose, amount: Decimal, limit: Decimal | None, content: Quantity) -> Measured | None:
    """Return whole packets, as what they hold: a packet is never opened."""
    packet = packet_amount(dose, content)
    if packet is None:
        return None
    wanted = amount / packet
    count = wanted.to_integral_value(ROUND_HALF_DOWN)
    if limit is not None:
        count = _within(count, wanted, limit / packet)
    amounts = (Quantity(int(count) * content.value, content.unit),) if count else ()
    return amounts, (count - wanted) / wanted


def packet_amount(dose: Dose, content: Quantity) -> Decimal | None:
    """Return what one packet holds, in the unit of the dose; None where a density is missing."""
    factor = dose.ml if content.dimension == "volume" else dose.grams
    return None if factor is None else content.in_base() / factor


def whole_packets(dose: Dose, amount: Decimal) -> bool:
    """Say whether an amount is a whole number of packets, as far as that can be told."""
    content = dose.product.label.packet_content
    packet = None if content is None else packet_amount(dose, content)
    if packet is None:
        return True
    count = (amount / packet).quantize(PLACES, context=EXACT)
    return count == count.to_integral_value()
