"""Wash-off: how much of a protectant spray is likely left after rain, and whether to spray again."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from mixing.calculations import fields
from mixing.calculations.exact import Amount, brief
from mixing.calculations.registry import calculation
from mixing.calculations.results import decimal, result
from mixing.calculations.sources import table
from mixing.calculations.worksheet import Worksheet
from mixing.catalogue import said
from mixing.reading import LENGTH


@calculation(
    does="How much of a protectant spray is likely left after rain, and whether to spray again.",
    inputs=(
        fields.quantity("rain", LENGTH, "all rain since the spray dried", zero=True),
        fields.interval("age", "the time since the spray"),
    ),
    results=(
        decimal("left_percent", "what is likely left of the deposit"),
        result(
            "spray_again",
            "whether to spray again, within the label's interval and number",
            {"type": "boolean"},
        ),
    ),
    sources=("onfruit-rain", "missouri-rain"),
    example={"rain": {"value": "1.2", "unit": "in"}, "age": {"value": "8", "unit": "d"}},
)
def wash_off(sheet: Worksheet, *, rain: Amount, age: Amount) -> Mapping[str, object]:
    """left = 100 - 50 for each inch of rain; again after 2 in, or 1 in on a deposit of 7 days."""
    rule = table("wash_off")
    lost, per = Fraction(rule["lost_percent"]), _amount(rule["per"])
    again, when_old, old = (_amount(rule[name]) for name in ("again", "again_when_old", "old"))
    here = sheet.turn(rain, per.unit)
    left = max(100 - lost * here.value / per.value, Fraction(0))
    step = "step.washed" if left else "step.washed_off"
    sheet.note(said(step, lost=brief(lost), rain=here, per=per, left=brief(left)))
    spray_again = rain.base >= again.base or (age.base >= old.base and rain.base >= when_old.base)
    sheet.note(
        said(
            "step.spray_again",
            rain=again,
            old_rain=when_old,
            old=old,
            here=here,
            age=age,
            answer="spray again" if spray_again else "not yet",
        )
    )
    return {"left_percent": left, "spray_again": spray_again}


def _amount(row: Mapping[str, str]) -> Amount:
    return Amount(Fraction(row["value"]), row["unit"])
