"""Hose-end sprayers with a dial: the mark to set, what goes into the jar neat, and how often it is filled."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from math import ceil, floor

from mixing.calculations import fields, lists
from mixing.calculations.exact import Amount, brief, total
from mixing.calculations.registry import Given, calculation
from mixing.calculations.results import decimal, inner, measured, result, whole
from mixing.calculations.worksheet import Worksheet, times
from mixing.catalogue import said
from mixing.faults import TOP, Faults
from mixing.reading import VOLUME

DIAL = ("volume/volume",)
HALF = Fraction(1, 2)


def _dial_reaches(given: Given, faults: Faults) -> None:
    """The wanted rate must lie between the first mark and the end of the dial."""
    rates = [one for one in given.listed("rates") if isinstance(one, Amount)]
    step, end = given.amount("dial_step"), given.amount("dial_max")
    if not rates or step is None or end is None:
        return
    wanted = sum((one.base for one in rates), Fraction(0))
    if step.base > end.base:
        faults.add((TOP, "dial_step"), "out_of_range", said("fault.step_above_dial"))
    elif wanted > end.base:
        detail = said("fault.dial_too_short", wanted=_in(wanted, end), end=end)
        faults.add((TOP, "dial_max"), "out_of_range", detail)
    elif wanted < step.base / 2:
        detail = said("fault.under_first_mark", wanted=_in(wanted, step), step=step)
        faults.add((TOP, "dial_step"), "out_of_range", detail)


def _in(base: Fraction, like: Amount) -> str:
    return f"{brief(base / Amount(Fraction(1), like.unit).base)} {like.unit}"


def _maximums_match(given: Given, faults: Faults) -> None:
    """One maximum, or null, for each rate; none below its own rate."""
    rates, maximums = given.listed("rates"), given.listed("maximums")
    if not rates or not maximums:
        return
    if len(rates) != len(maximums):
        faults.add((TOP, "maximums"), "invalid", said("fault.one_maximum_each"))
        return
    for rank, (rate, most) in enumerate(zip(rates, maximums, strict=True)):
        if isinstance(rate, Amount) and isinstance(most, Amount) and rate.base > most.base:
            detail = said("fault.rate_above_maximum", rate=rate, most=most)
            faults.add(((TOP, "rates"), rank), "out_of_range", detail)


@calculation(
    does="The dial of a hose-end sprayer that draws neat product, and what goes into its jar.",
    inputs=(
        lists.many(
            "rates", "the rate of each product", fields.rate("rate", "a rate by volume", DIAL), most=20
        ),
        fields.quantity("volume", VOLUME, "all the spray of the job"),
        fields.rate("dial_step", "from one mark of the dial to the next", DIAL),
        fields.rate("dial_max", "the end of the dial", DIAL),
        fields.quantity("jar", VOLUME, "what the jar holds"),
        lists.many(
            "maximums",
            "the most that each label allows, or null, in the order of `rates`",
            fields.rate("maximum", "a rate by volume", DIAL),
            most=20,
            gaps=True,
        ).optional(),
    ),
    results=(
        measured("dial", DIAL, "the mark to set"),
        result(
            "premix",
            "each product for the whole job, neat, in the order of `rates`",
            {"type": "array", "items": {"$ref": "#/$defs/quantity"}},
        ),
        inner("premix", VOLUME),
        whole("jars", "how often the jar is filled, rounded up"),
        decimal("error_percent", "(set - wanted) / wanted x 100"),
    ),
    sources=("dial-practice",),
    example={
        "rates": [{"value": "4", "unit": "tbsp/gal"}, {"value": "2", "unit": "tbsp/gal"}],
        "volume": {"value": "12", "unit": "gal"},
        "dial_step": {"value": "0.5", "unit": "tbsp/gal"},
        "dial_max": {"value": "8", "unit": "tbsp/gal"},
        "jar": {"value": "1", "unit": "pt"},
    },
    relations=(_dial_reaches, _maximums_match),
)
def dial_setting(
    sheet: Worksheet,
    *,
    rates: Sequence[Amount],
    volume: Amount,
    dial_step: Amount,
    dial_max: Amount,
    jar: Amount,
    maximums: Sequence[Amount | None] | None = None,
) -> Mapping[str, object]:
    """dial = the sum of the rates at the nearest mark; premix = rate x volume; jars = premix / jar."""
    wanted = total(rates, dial_step.unit)
    sheet.note(
        said("step.wanted", terms=" + ".join(str(one.to(dial_step.unit)) for one in rates), wanted=wanted)
    )
    steps = _mark(sheet, wanted, dial_step, dial_max, rates, maximums)
    dial = Amount(dial_step.value * steps, dial_step.unit)
    error = (dial.value - wanted.value) / wanted.value * 100
    sheet.note(
        f"({brief(dial.value)} − {brief(wanted.value)}) ÷ {brief(wanted.value)} × 100 = {brief(error)} %"
    )
    premix = [_neat(sheet, rate, volume) for rate in rates]
    neat = total(premix, jar.unit)
    jars = ceil(neat.value / jar.value)
    sheet.note(said("step.jars", neat=neat, jar=jar, ratio=brief(neat.value / jar.value), jars=jars))
    return {
        "dial": sheet.answer("dial", dial),
        "premix": sheet.answers("premix", premix),
        "jars": jars,
        "error_percent": error,
    }


def _neat(sheet: Worksheet, rate: Amount, volume: Amount) -> Amount:
    if rate.unit == "percent_vv":
        neat = Amount(volume.value * rate.value / 100, volume.unit)
        sheet.note(f"{volume} × {brief(rate.value)} ÷ 100 = {neat}")
        return neat
    return times(sheet, rate, volume)


def _mark(
    sheet: Worksheet,
    wanted: Amount,
    step: Amount,
    end: Amount,
    rates: Sequence[Amount],
    maximums: Sequence[Amount | None] | None,
) -> int:
    """Return the number of the nearest mark at which no product passes its maximum, else of that below."""
    last = floor(end.base / step.base)
    marks = wanted.value / step.value
    nearest = min(max(ceil(marks - HALF), 1), last)
    allowed = _allowed(rates, maximums)
    if allowed is not None and nearest > marks * allowed:
        below = floor(marks)
        sheet.note(said("step.mark_below", mark=nearest, below=below))
        if below < 1:
            sheet.refuse("dial_step", "out_of_range", said("fault.first_mark_too_high"))
        nearest = min(below, last)
    sheet.note(said("step.mark", wanted=wanted, step=step, marks=brief(marks), mark=nearest))
    return nearest


def _allowed(rates: Sequence[Amount], maximums: Sequence[Amount | None] | None) -> Fraction | None:
    """Return how far all rates together may be raised before the first label's maximum is reached."""
    if maximums is None:
        return None
    room = [most.base / rate.base for rate, most in zip(rates, maximums, strict=True) if most is not None]
    return min(room, default=None)
