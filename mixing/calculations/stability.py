"""How long an active ingredient lasts in the tank: hydrolysis by pH, between published half-lives."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import exp, log
from typing import Any

from mixing.calculations import bare, fields
from mixing.calculations.exact import Amount, brief, from_float
from mixing.calculations.registry import calculation
from mixing.calculations.results import decimal, measured, result
from mixing.calculations.sources import table
from mixing.calculations.worksheet import Worksheet
from mixing.catalogue import said
from mixing.faults import near
from mixing.reading import TIME

MOST_HALVES = 100
"""Half-lives that are counted: after them nothing is left that could be measured."""


@dataclass(frozen=True, slots=True)
class Row:
    """One published half-life."""

    ph: Fraction
    time: Amount


@calculation(
    does="The half-life of an active ingredient in water of a pH, and what is left after a time.",
    inputs=(
        bare.word("active", "the active ingredient, such as captan"),
        bare.number("ph", "of the spray in the tank", low=0, high=14),
        fields.temperature("temperature", "of the water; 20 to 25 degC where it is not given").optional(),
        fields.interval("after", "how long the spray stands").optional(),
    ),
    results=(
        measured("half_life", TIME, "the time in which half is lost"),
        decimal("left_percent", "what is left after `after`", always=False),
        result("from_memory", "whether a half-life used was not seen in a source", {"type": "boolean"}),
    ),
    sources=("captan-half-life", "hawaii-half-life", "phosmet-half-life", "msu-decay"),
    example={"active": "captan", "ph": "8", "after": {"value": "20", "unit": "min"}},
)
def half_life(
    sheet: Worksheet,
    *,
    active: str,
    ph: Fraction,
    temperature: Amount | None = None,
    after: Amount | None = None,
) -> Mapping[str, object]:
    """Between two published values the logarithm of the half-life goes straight with pH."""
    found = _active(sheet, active)
    rows = [Row(Fraction(row["ph"]), Amount(Fraction(row["time"]), row["unit"])) for row in found["rows"]]
    if not rows[0].ph <= ph <= rows[-1].ph:
        span = f"pH {brief(rows[0].ph)} - {brief(rows[-1].ph)}"
        sheet.refuse("ph", "out_of_range", said("fault.half_life_ph", active=active, span=span, ph=brief(ph)))
    life = _between(sheet, rows, ph)
    if temperature is not None:
        life = _at(sheet, life, temperature)
    used = [row for row in found["rows"] if _is_used(Fraction(row["ph"]), rows, ph)]
    answer: dict[str, object] = {
        "half_life": sheet.answer("half_life", life),
        "from_memory": any(row.get("memory", False) for row in used),
        "source": found["source"],
    }
    if after is not None:
        answer["left_percent"] = _left(sheet, life, after)
    return answer


def _active(sheet: Worksheet, active: str) -> Mapping[str, Any]:
    known: Mapping[str, Mapping[str, Any]] = table("half_lives")["active"]
    wanted = " ".join(active.casefold().split())
    found = known.get(wanted)
    if found is None:
        hint = near(wanted, known) or said("fault.it_has", names=", ".join(sorted(known)))
        sheet.refuse("active", "not_found", said("fault.no_half_life", active=repr(active[:40]), hint=hint))
    assert found is not None
    return found


def _around(rows: Sequence[Row], ph: Fraction) -> tuple[Row, Row]:
    under = max((row for row in rows if row.ph <= ph), key=lambda row: row.ph)
    over = min((row for row in rows if row.ph >= ph), key=lambda row: row.ph)
    return under, over


def _is_used(of: Fraction, rows: Sequence[Row], ph: Fraction) -> bool:
    return of in [row.ph for row in _around(rows, ph)]


def _between(sheet: Worksheet, rows: Sequence[Row], ph: Fraction) -> Amount:
    """Return the half-life at a pH, as published or between two published ones."""
    under, over = _around(rows, ph)
    if under.ph == over.ph:
        sheet.note(said("step.half_life", ph=brief(ph), life=under.time))
        return under.time
    part = (ph - under.ph) / (over.ph - under.ph)
    first, second = (log(float(row.time.to("h").value)) for row in (under, over))
    hours = exp(first + float(part) * (second - first))
    life = Amount(from_float(hours), "h")
    sheet.note(
        said(
            "step.between_ph",
            ph=brief(ph),
            part=brief(part),
            low=brief(under.ph),
            low_life=under.time,
            high=brief(over.ph),
            high_life=over.time,
            life=life,
        )
    )
    return life


def _at(sheet: Worksheet, life: Amount, temperature: Amount) -> Amount:
    """Return the half-life at a temperature outside the room's, halved for each step above it."""
    room = table("half_lives")["room"]
    coldest, warmest, step = (Fraction(room[name]["value"]) for name in ("coldest", "warmest", "step"))
    celsius = temperature.to("degC").value
    off = celsius - min(max(celsius, coldest), warmest)
    if not off:
        return life
    turned = Amount(from_float(float(life.value) * 2.0 ** float(-off / step)), life.unit)
    sheet.note(
        said(
            "step.half_life_warmth",
            temperature=temperature,
            off=brief(abs(off)),
            side="above" if off > 0 else "below",
            step=brief(step),
            life=turned,
        )
    )
    return turned


def _left(sheet: Worksheet, life: Amount, after: Amount) -> Fraction:
    """Return what is left, in percent: half for each half-life."""
    lives = after.base / life.base
    halves, part = min(int(lives), MOST_HALVES), lives - int(lives)
    left = 100 * from_float(0.5 ** float(part)) / Fraction(2**halves)
    sheet.note(said("step.half_lives", after=after, life=life, lives=brief(lives), left=brief(left)))
    return left
