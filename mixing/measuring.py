"""What to measure: the nearest amount that the farm's spoons, cups, jugs and scales can show.

The tools of one family have marks that are multiples of each other (a quarter tablespoon is three quarter
teaspoons), so the nearest amount is a multiple of the finest mark. Amounts of two families are never added:
nobody measures teaspoons and millilitres into one cup.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_FLOOR, ROUND_HALF_DOWN, Decimal
from functools import lru_cache

from mixing import quantities
from mixing.doses import Dose
from mixing.quantities import EXACT, Quantity
from mixing.spraying import PLACES

QUARTER, WHOLE = Decimal("0.25"), Decimal(1)

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
    """One measure: its unit, and its finest mark and itself in the base unit [mL or g]."""

    unit: str
    mark: Decimal
    step: Decimal
    """The finest mark as a share of the unit."""


@dataclass(frozen=True, slots=True)
class Measured:
    """What to measure and how far that is off.

    :ivar amounts: largest first; empty below the smallest mark
    :ivar error: (shown - wanted) / wanted
    """

    amounts: tuple[Quantity, ...]
    error: Decimal


@lru_cache(maxsize=512)
def tool_sets(measures: tuple[str, ...], own: str) -> tuple[tuple[str, tuple[Tool, ...]], ...]:
    """Return the sets of tools at hand with what they measure, the one with the unit `own` first."""
    sets = []
    for family in FAMILIES:
        tools = tuple(_tool(name, step) for name, step in family.items() if name in measures)
        if tools:
            sets.append((quantities.unit(tools[0].unit).dimension, tools))
    return tuple(sorted(sets, key=lambda found: all(tool.unit != own for tool in found[1])))


def _tool(name: str, step: Decimal) -> Tool:
    return Tool(name, quantities.unit(name).above * step, step)


def measure(
    dose: Dose, amount: Decimal, *, limit: Decimal | None, measures: tuple[str, ...]
) -> Measured | None:
    """Return what to measure for an amount of a dose; None where no tool at hand can show it at all.

    :param amount: the amount wanted [unit of the dose]
    :param limit: the most that the label allows here [unit of the dose]; the shown amount stays within it
    """
    if dose.product.label.packet and dose.product.label.packet_content is not None:
        return _packets(dose, amount, limit, dose.product.label.packet_content)
    best: tuple[Decimal, Decimal, tuple[Tool, ...], Decimal] | None = None
    for dimension, tools in tool_sets(measures, dose.unit):
        factor = dose.ml if dimension == "volume" else dose.grams
        if factor is None:
            continue
        wanted = amount * factor
        shown = _shown(wanted, None if limit is None else limit * factor, tools[-1].mark)
        error = (shown - wanted) / wanted
        if best is None or abs(error) < best[0]:
            best = abs(error), shown, tools, error
    if best is None:
        return None
    _, shown, tools, error = best
    return Measured(_split(shown, tools, dose.unit), error)


def _shown(wanted: Decimal, limit: Decimal | None, mark: Decimal) -> Decimal:
    """Return the nearest multiple of the mark, the one below where the nearest would pass the limit."""
    marks = (wanted / mark).quantize(SLACK, context=EXACT)
    nearest = marks.to_integral_value(ROUND_HALF_DOWN) * mark
    if limit is not None and nearest > limit + SLACK:
        return marks.to_integral_value(ROUND_FLOOR) * mark
    return nearest


def _split(shown: Decimal, tools: tuple[Tool, ...], own: str) -> tuple[Quantity, ...]:
    """Share an amount among tools, largest first, from the unit of the rate on unless that is too many."""
    start = next((rank for rank, tool in enumerate(tools) if tool.unit == own), 0)
    if start and shown > MOST_SCOOPS * tools[start].mark / tools[start].step:
        start = 0
    parts = []
    for tool in tools[start:]:
        count = (shown / tool.mark).quantize(SLACK, context=EXACT).to_integral_value(ROUND_FLOOR)
        if count:
            parts.append(Quantity(count * tool.step, tool.unit))
            shown -= count * tool.mark
    return tuple(parts)


def _packets(dose: Dose, amount: Decimal, limit: Decimal | None, content: Quantity) -> Measured | None:
    """Return whole packets, as what they hold: a packet is never opened."""
    packet = packet_amount(dose, content)
    if packet is None:
        return None
    shown = _shown(amount, limit, packet)
    count = (shown / packet).to_integral_value(ROUND_HALF_DOWN)
    amounts = (Quantity(count * content.value, content.unit),) if count else ()
    return Measured(amounts, (shown - amount) / amount)


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
