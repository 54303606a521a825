"""The published rules of infection: which conditions each asks for, and the risk that follows."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from mixing.calculations.exact import Amount, brief
from mixing.calculations.registry import Given
from mixing.calculations.sources import table
from mixing.calculations.worksheet import Worksheet
from mixing.catalogue import said

BLIGHT_RISK = {4: "infection", 3: "high", 2: "moderate"}
"""By the number of conditions met; fewer are low. University of Maryland key, 1 to 3 from memory."""


@dataclass(frozen=True, slots=True)
class Condition:
    """One condition of a rule: met, not met, or (None) not known, which never makes the risk less."""

    name: str
    met: bool | None
    value: object
    limit: object

    def as_json(self) -> dict[str, object]:
        """Return `{"name", "met", "value", "limit"}`."""
        return {"name": self.name, "met": self.met, "value": self.value, "limit": self.limit}


def risk(disease: str, met: int, of: int) -> str:
    if disease == "fire_blight":
        return BLIGHT_RISK.get(met, "low")
    return "infection" if met == of else "low"


def verdict(met: bool | None) -> str:
    return "not known, taken as met" if met is None else "met" if met else "not met"


def shown(value: object) -> str:
    if isinstance(value, Mapping):
        return ", ".join(f"{name.replace('_', ' ')} {shown(one)}" for name, one in value.items())
    if isinstance(value, Fraction):
        return brief(value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "not known" if value is None else str(value)


def _limit(disease: str, name: str) -> Amount:
    row = table("infection")[disease][name]
    return Amount(Fraction(row["value"]), row["unit"])


def _at_least(disease: str, name: str, value: Amount | None) -> Condition:
    limit = _limit(disease, name)
    return Condition(name, value.base >= limit.base if value else None, value, limit)


def _below(disease: str, name: str, value: Amount | None) -> Condition:
    limit = _limit(disease, name)
    return Condition(name, value.base < limit.base if value else None, value, limit)


def _leaf_curl(sheet: Worksheet, given: Given) -> Sequence[Condition]:
    """Rain of 3 mm, 12.5 h wet, below 16 degC while wet and below 19 degC until symptoms."""
    return (
        _at_least("leaf_curl", "rain", given.amount("rain")),
        _at_least("leaf_curl", "wetness", given.amount("wetness")),
        _below("leaf_curl", "temperature", given.amount("temperature")),
        _below("leaf_curl", "incubation_temperature", given.amount("incubation_temperature")),
    )


def _apple_scab(sheet: Worksheet, given: Given) -> Sequence[Condition]:
    """Wet for the least hours of the table at the mean temperature."""
    wet, mean = _wet_hours(sheet, given), given.amount("temperature")
    assert mean is not None
    least = least_wet_hours(mean.to("degF").value)
    rows = table("infection")["apple_scab"]["hours"]
    cold, warm = (Amount(Fraction(rows[rank][0]), "degF") for rank in (0, -1))
    span = f"{cold} to {warm}"
    if least is None:
        return (Condition("temperature", False, mean, span), Condition("wetness", None, wet, None))
    limit = Amount(least, "h")
    return (
        Condition("temperature", True, mean, span),
        Condition("wetness", wet.base >= limit.base, wet, limit),
    )


def least_wet_hours(degrees: Fraction) -> Fraction | None:
    """Return the least hours of wetness at a mean temperature [degF]; None outside the table.

    Between two rows the shorter of their hours holds, since a missed infection costs more.
    """
    rows = [(Fraction(t), Fraction(h)) for t, h in table("infection")["apple_scab"]["hours"]]
    if not rows[0][0] <= degrees <= rows[-1][0]:
        return None
    under = max(row for row in rows if row[0] <= degrees)
    over = min(row for row in rows if row[0] >= degrees)
    return min(under[1], over[1])


def _wet_hours(sheet: Worksheet, given: Given) -> Amount:
    """Return the longest run of wet hours; periods with a dry gap under 8 h count as one."""
    whole = given.amount("wetness")
    if whole is not None:
        return whole
    gap = _limit("apple_scab", "dry_gap")
    runs: list[Fraction] = []
    for period in given.listed("wet_periods"):
        assert isinstance(period, dict)
        wet, dry = period["wet"], period["dry_before"]
        if runs and dry is not None and dry.base < gap.base:
            runs[-1] += wet.to("h").value
        else:
            runs.append(wet.to("h").value)
    longest = Amount(max(runs), "h")
    sheet.note(said("step.wet_periods", gap=gap, longest=longest))
    return longest


def _fire_blight(sheet: Worksheet, given: Given) -> Sequence[Condition]:
    """Open flowers, 198 degree hours, wetting, and a mean of 60 degF."""
    rule = table("infection")["fire_blight"]
    open_now = given.values.get("blossom_open") is True
    heat, enough = _degree_hours(sheet, given), Fraction(rule["degree_hours"])
    return (
        Condition("blossom_open", open_now, open_now, True),
        Condition("degree_hours", heat >= enough, heat, enough),
        _wetting(given),
        _at_least("fire_blight", "mean_temperature", given.amount("mean_temperature")),
    )


def _wetting(given: Given) -> Condition:
    """Dew, or rain on the day, or more of it on the day before."""
    rain, before = given.amount("rain"), given.amount("rain_day_before")
    today, day_before = _limit("fire_blight", "rain"), _limit("fire_blight", "rain_day_before")
    wet = given.values.get("dew") is True
    met = (
        wet
        or (rain is not None and rain.base >= today.base)
        or (before is not None and before.base >= day_before.base)
    )
    open_ends = not given.has("dew") or rain is None or before is None
    value = {"dew": given.values.get("dew"), "rain": rain, "rain_day_before": before}
    limit = {"dew": True, "rain": today, "rain_day_before": day_before}
    return Condition("wetting", True if met else None if open_ends else False, value, limit)


def _degree_hours(sheet: Worksheet, given: Given) -> Fraction:
    known = given.number("degree_hours")
    if known is not None:
        return known
    base = _limit("fire_blight", "degree_hours_base").value
    hours = [one.to("degF").value for one in given.listed("hours") if isinstance(one, Amount)]
    heat = sum((max(one - base, Fraction(0)) for one in hours), Fraction(0))
    sheet.note(said("step.degree_hours", count=len(hours), base=brief(base), heat=brief(heat)))
    return heat


RULES: Mapping[str, Callable[[Worksheet, Given], Sequence[Condition]]] = {
    "leaf_curl": _leaf_curl,
    "apple_scab": _apple_scab,
    "fire_blight": _fire_blight,
}
"""The rule of each disease: its conditions from the weather that was given."""
