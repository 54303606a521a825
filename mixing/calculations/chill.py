"""Winter chill in hours, units or portions, and growing degree hours after it, from hourly temperatures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from fractions import Fraction
from math import cos, exp, pi

from mixing.calculations import bare, hourly, lists
from mixing.calculations.exact import Amount, brief, from_float
from mixing.calculations.registry import calculation
from mixing.calculations.results import decimal, result
from mixing.calculations.sources import table
from mixing.calculations.worksheet import Worksheet
from mixing.catalogue import Text, said
from mixing.faults import joined

MODELS = ("hours", "utah", "dynamic")
UNITS = {"hours": "chill hours", "utah": "chill units", "dynamic": "chill portions"}
SOURCES = {"hours": "chill-hours", "utah": "richardson-1974", "dynamic": "fishman-1987"}


def chill_hours(hours: Sequence[Amount]) -> Fraction:
    """Return how many hours lie from 0 to 7.2 degC (32 to 45 degF where they are given so), both ends in."""
    limits = {name: tuple(Fraction(x) for x in pair) for name, pair in table("chill")["hours"].items()}
    return Fraction(sum(limits[one.unit][0] <= one.value <= limits[one.unit][1] for one in hours))


def utah_units(celsius: Sequence[float]) -> Fraction:
    """Return the chill units: each hour counts by the step of the table that it falls in."""
    steps = [(float(row["up_to"]), Fraction(row["units"])) for row in table("chill")["utah"]["steps"]]
    warmest = Fraction(table("chill")["utah"]["above"])
    total = Fraction(0)
    for degrees in celsius:
        near = round(degrees, 9)
        total += next((units for up_to, units in steps if near <= up_to), warmest)
    return total


def dynamic_portions(celsius: Sequence[float]) -> float:
    """Return the chill portions, with the part that each hour delivers: an intermediate is built and lost
    with the temperature, and once it reaches one a share of it is fixed for good. The first hour only
    sets out, from nothing.
    """
    k = {name: float(value) for name, value in table("chill")["dynamic"].items()}
    made, portions = 0.0, 0.0
    for degrees in celsius[1:]:
        kelvin = degrees + k["offset"]
        ease = k["slope"] * k["critical"] * (kelvin - k["critical"]) / kelvin
        fixed = 1 / (1 + exp(-ease))
        ceiling = k["a0"] / k["a1"] * exp((k["e1"] - k["e0"]) / kelvin)
        left = made if made < 1 else made * (1 - fixed)
        made = ceiling - (ceiling - left) * exp(-k["a1"] * exp(-k["e1"] / kelvin))
        if made >= 1:
            portions += made * fixed
    return portions


@calculation(
    does="The winter chill of a run of hours or days, by one of three models.",
    inputs=(*hourly.INPUTS, bare.choice("model", "how chill is counted", MODELS)),
    results=(
        decimal("total", "chill hours, chill units or chill portions, by the model"),
        result("counted_in", "what `total` counts", {"type": "string", "enum": list(UNITS.values())}),
        hourly.MODEL_RESULT,
    ),
    sources=("chill-hours", "richardson-1974", "fishman-1987", *hourly.MODELS),
    example={
        "hours": [{"value": v, "unit": "degC"} for v in ("-1", "0", "4.5", "7.2", "9")],
        "model": "hours",
    },
    ways=hourly.WAYS,
    relations=(hourly.place_and_date,),
)
def chill(
    sheet: Worksheet,
    *,
    model: str,
    hours: Sequence[Amount] | None = None,
    days: Sequence[lists.Day] | None = None,
    latitude: Fraction | None = None,
    first_day: date | None = None,
) -> Mapping[str, object]:
    """The chill of all hours together."""
    read = hourly.read(sheet, hours=hours, days=days, latitude=latitude, first_day=first_day)
    if model == "hours":
        total = chill_hours(read.given)
        sheet.note(said("step.chill_hours"))
    elif model == "utah":
        total = utah_units(read.celsius)
        sheet.note(_utah_words())
    else:
        total = from_float(dynamic_portions(read.celsius))
        sheet.note(said("step.chill_portions"))
    sheet.note(said("step.chill_total", total=brief(total), units=UNITS[model]))
    return {"total": total, "counted_in": UNITS[model], "hourly_model": read.model, "source": SOURCES[model]}


def _utah_words() -> Text:
    rows = table("chill")["utah"]
    steps = [said("step.utah_row", units=row["units"], warmth=row["up_to"]) for row in rows["steps"]]
    return said("step.utah", steps=joined("fault.and", steps), above=rows["above"])


def degree_hour(celsius: float, *, base: float, optimum: float, critical: float) -> float:
    """Return the growing degree hours of one hour: a rising and a steeper falling cosine."""
    if not base <= celsius <= critical:
        return 0.0
    span = optimum - base
    if celsius <= optimum:
        return span / 2 * (1 + cos(pi + pi * (celsius - base) / span))
    return span * (1 + cos(pi / 2 + pi / 2 * (celsius - optimum) / (critical - optimum)))


@calculation(
    does="Growing degree hours by the asymmetric curve of fruit trees: base 4, optimum 25, critical 36 degC.",
    inputs=hourly.INPUTS,
    results=(decimal("total", "growing degree hours [degC x h]"), hourly.MODEL_RESULT),
    sources=("anderson-1986", *hourly.MODELS),
    example={"hours": [{"value": v, "unit": "degC"} for v in ("4", "10", "15", "20", "25", "30")]},
    ways=hourly.WAYS,
    relations=(hourly.place_and_date,),
)
def growing_degree_hours(
    sheet: Worksheet,
    *,
    hours: Sequence[Amount] | None = None,
    days: Sequence[lists.Day] | None = None,
    latitude: Fraction | None = None,
    first_day: date | None = None,
) -> Mapping[str, object]:
    """The growing degree hours of all hours together."""
    read = hourly.read(sheet, hours=hours, days=days, latitude=latitude, first_day=first_day)
    k = {name: float(value) for name, value in table("chill")["degree_hours"].items()}
    span, fall = k["optimum"] - k["base"], k["critical"] - k["optimum"]
    each = [degree_hour(degrees, **k) for degrees in read.celsius]
    sheet.note(
        said(
            "step.heat_curve",
            optimum=f"{k['optimum']:g}",
            half=f"{span / 2:g}",
            base=f"{k['base']:g}",
            span=f"{span:g}",
            fall=f"{fall:g}",
        )
    )
    if len(each) <= 24:
        sheet.note(" + ".join(brief(from_float(one)) for one in each))
    total = from_float(sum(each))
    sheet.note(said("step.heat_total", total=brief(total)))
    return {"total": total, "hourly_model": read.model}
