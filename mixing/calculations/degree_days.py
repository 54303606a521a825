"""Degree days above a base, with a horizontal cut-off, by four published methods."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import asin, cos, pi

from mixing.calculations import bare, fields, lists
from mixing.calculations.exact import Amount, brief, from_float
from mixing.calculations.registry import Given, calculation
from mixing.calculations.results import inner, measured, result
from mixing.calculations.worksheet import Worksheet
from mixing.catalogue import Text, said
from mixing.faults import TOP, Faults

METHODS = ("average", "single_triangle", "single_sine", "double_sine")
DEGREE_DAY = ("degree_day",)


@dataclass(frozen=True, slots=True)
class Span:
    """A day's lowest and highest temperature in the unit of the base."""

    low: Fraction
    high: Fraction


Above = Callable[[Span, Fraction], Fraction]


def triangle_above(span: Span, line: Fraction) -> Fraction:
    """Return the area of a day's triangle above a line [degree days]."""
    if span.low >= line:
        return (span.low + span.high) / 2 - line
    if span.high <= line:
        return Fraction(0)
    return (span.high - line) ** 2 / (2 * (span.high - span.low))


def sine_above(span: Span, line: Fraction) -> Fraction:
    """Return the area of a day's sine curve above a line [degree days]."""
    if span.low >= line:
        return (span.low + span.high) / 2 - line
    if span.high <= line:
        return Fraction(0)
    mean, half = float(span.low + span.high) / 2, float(span.high - span.low) / 2
    angle = asin(min(max((float(line) - mean) / half, -1.0), 1.0))
    return from_float(((mean - float(line)) * (pi / 2 - angle) + half * cos(angle)) / pi)


def average_above(span: Span, base: Fraction, upper: Fraction | None) -> Fraction:
    """Return the mean of the minimum and the maximum, both cut to base and upper, less the base."""
    low, high = max(span.low, base), max(span.high, base)
    if upper is not None:
        low, high = min(low, upper), min(high, upper)
    return (low + high) / 2 - base


def between(above: Above, span: Span, base: Fraction, upper: Fraction | None) -> Fraction:
    """Return the area above the base less that above the cut-off."""
    return above(span, base) - (above(span, upper) if upper is not None else 0)


def _upper_lies_above(given: Given, faults: Faults) -> None:
    base, upper = given.amount("base"), given.amount("upper")
    if base is not None and upper is not None and upper.base <= base.base:
        faults.add((TOP, "upper"), "out_of_range", said("fault.cut_off_below_base"))


def _mean_needs_average(given: Given, faults: Faults) -> None:
    method = given.values.get("method", "average")
    for rank, day in enumerate(given.listed("days")):
        if isinstance(day, lists.Day) and day.mean is not None and method != "average":
            detail = said("fault.method_needs_both", method=method)
            faults.add((((TOP, "days"), rank), "mean"), "invalid", detail)


@calculation(
    does="Degree days above a base temperature, day by day and together.",
    inputs=(
        lists.days(mean=True),
        fields.temperature("base", "the lower threshold of development"),
        fields.temperature("upper", "the upper threshold, a horizontal cut-off").optional(),
        bare.choice("method", "how the day is drawn; `average` where it is not given", METHODS).optional(),
    ),
    results=(
        result("per_day", "each day in order", {"type": "array", "items": {"$ref": "#/$defs/quantity"}}),
        measured("total", DEGREE_DAY, "all days together"),
        inner("per_day", DEGREE_DAY),
    ),
    sources=("uc-degree-days", "baskerville-emin", "sevacherian"),
    example={
        "days": [
            {"minimum": {"value": "40", "unit": "degF"}, "maximum": {"value": "65", "unit": "degF"}},
            {"minimum": {"value": "48", "unit": "degF"}, "maximum": {"value": "80", "unit": "degF"}},
        ],
        "base": {"value": "50", "unit": "degF"},
        "upper": {"value": "88", "unit": "degF"},
        "method": "single_sine",
    },
    relations=(_upper_lies_above, _mean_needs_average),
)
def degree_days(
    sheet: Worksheet,
    *,
    days: Sequence[lists.Day],
    base: Amount,
    upper: Amount | None = None,
    method: str = "average",
) -> Mapping[str, object]:
    """Each day's degree days above the base, and their sum."""
    spans = [_span(day, base.unit) for day in days]
    top = upper.to(base.unit).value if upper is not None else None
    way = Text(f"step.way.{method}")
    if upper is None:
        sheet.note(said("step.degrees_above", way=way, base=base))
    else:
        sheet.note(said("step.degrees_between", way=way, base=base, upper=upper))
    name = f"{base.unit}_day"
    per_day = [Amount(_of_day(method, spans, rank, base.value, top), name) for rank in range(len(spans))]
    for rank, (span, one) in enumerate(zip(spans, per_day, strict=True), 1):
        if rank <= SHOWN_DAYS or rank == len(spans):
            sheet.note(said("step.degree_day", day=rank, span=_written(span), unit=base.unit, result=one))
        elif rank == SHOWN_DAYS + 1:
            sheet.note(said("step.and_so_on"))
    together = Amount(sum((one.value for one in per_day), Fraction(0)), name)
    sheet.note(said("step.all_days", count=len(per_day), together=together))
    return {
        "per_day": sheet.answers("per_day", per_day),
        "total": sheet.answer("total", together),
        "source": SOURCES[method],
    }


SHOWN_DAYS = 40
SOURCES = {
    "average": "uc-degree-days",
    "single_triangle": "sevacherian",
    "single_sine": "baskerville-emin",
    "double_sine": "uc-degree-days",
}


def _span(day: lists.Day, name: str) -> Span:
    if day.mean is not None:
        return Span(day.mean.to(name).value, day.mean.to(name).value)
    assert day.minimum is not None and day.maximum is not None
    return Span(day.minimum.to(name).value, day.maximum.to(name).value)


def _written(span: Span) -> str:
    return brief(span.low) if span.low == span.high else f"{brief(span.low)} to {brief(span.high)}"


def _of_day(
    method: str, spans: Sequence[Span], rank: int, base: Fraction, upper: Fraction | None
) -> Fraction:
    span = spans[rank]
    if method == "average":
        return average_above(span, base, upper)
    if method == "single_triangle":
        return between(triangle_above, span, base, upper)
    if method == "single_sine":
        return between(sine_above, span, base, upper)
    following = spans[min(rank + 1, len(spans) - 1)].low if rank + 1 < len(spans) else span.low
    later = Span(min(following, span.high), max(following, span.high))
    return (between(sine_above, span, base, upper) + between(sine_above, later, base, upper)) / 2
