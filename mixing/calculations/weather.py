"""Wet bulb and Delta T by the psychrometric equations, in floats: a physical model, not a dose."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from math import exp, log

from mixing.calculations import bare, fields
from mixing.calculations.exact import Amount, brief, from_float
from mixing.calculations.registry import calculation
from mixing.calculations.results import measured
from mixing.calculations.worksheet import Worksheet
from mixing.catalogue import said

STANDARD = Amount(Fraction("101.325"), "kPa")

# Saturation pressure [Pa] over ice and over liquid water, the logarithm as a polynomial of the
# temperature [K]: ASHRAE Handbook Fundamentals, 2017, chapter 1, equations 5 and 6.
OVER_ICE = (
    -5.6745359e3,
    6.3925247,
    -9.677843e-3,
    6.2215701e-7,
    2.0747825e-9,
    -9.484024e-13,
    4.1635019,
)
OVER_WATER = (-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 0.0, 6.5459673)
TRIPLE_POINT = 0.01
ZERO_C = 273.15
LIGHTER = 0.621945
"""Molar mass of water by that of dry air."""


def saturation_pressure(celsius: float) -> float:
    """Return the pressure of water vapour in saturated air [Pa] at a temperature [degC]."""
    a, b, c, d, e, f, g = OVER_ICE if celsius <= TRIPLE_POINT else OVER_WATER
    t = celsius + ZERO_C
    return exp(a / t + b + c * t + d * t**2 + e * t**3 + f * t**4 + g * log(t))


def saturated_ratio(celsius: float, pascal: float) -> float:
    """Return the water in saturated air by the dry air [kg/kg]."""
    vapour = saturation_pressure(celsius)
    return LIGHTER * vapour / (pascal - vapour)


def humidity_ratio(dry: float, wet: float, pascal: float) -> float:
    """Return the water in air of a dry and a wet bulb [kg/kg]: the psychrometric equation.

    Source: ASHRAE Handbook Fundamentals, 2017, chapter 1, equations 33 (water) and 35 (ice).
    """
    full = saturated_ratio(wet, pascal)
    if wet >= 0:
        return ((2501 - 2.326 * wet) * full - 1.006 * (dry - wet)) / (2501 + 1.86 * dry - 4.186 * wet)
    return ((2830 - 0.24 * wet) * full - 1.006 * (dry - wet)) / (2830 + 1.86 * dry - 2.1 * wet)


def dew_point(vapour: float, dry: float) -> float:
    """Return the temperature [degC] at which a pressure of vapour [Pa] saturates the air, by halving."""
    low, high = dry - 100, dry
    for _ in range(60):
        middle = (low + high) / 2
        if saturation_pressure(middle) > vapour:
            high = middle
        else:
            low = middle
    return high


def wet_bulb(dry: float, humidity: float, pascal: float) -> float:
    """Return the wet bulb [degC] of air at a temperature [degC] and a relative humidity [0 to 1].

    It lies between the dew point and the dry bulb and is found by halving. Round 0 degC a bulb of ice and
    one of water can both answer the equation; the halving settles on one of them, as it does in PsychroLib.
    """
    if humidity >= 1:
        return dry
    vapour = humidity * saturation_pressure(dry)
    wanted = LIGHTER * vapour / (pascal - vapour)
    low, high = dew_point(vapour, dry), dry
    for _ in range(60):
        middle = (low + high) / 2
        if humidity_ratio(dry, middle, pascal) > wanted:
            high = middle
        else:
            low = middle
    return (low + high) / 2


@calculation(
    does="The wet bulb and Delta T, the dry bulb less the wet bulb: how fast droplets dry.",
    inputs=(
        fields.temperature("temperature", "of the air, dry bulb"),
        bare.number("humidity_percent", "relative humidity", low=0, high=100),
        fields.pressure("pressure", "of the air; 101.325 kPa where it is not given").optional(),
    ),
    results=(
        measured("wet_bulb", ("temperature",), "the wet bulb"),
        measured("delta_t", ("temperature_difference",), "dry bulb less wet bulb"),
    ),
    sources=("ashrae-fundamentals",),
    example={"temperature": {"value": "20", "unit": "degC"}, "humidity_percent": "50"},
)
def delta_t(
    sheet: Worksheet, *, temperature: Amount, humidity_percent: Fraction, pressure: Amount = STANDARD
) -> Mapping[str, object]:
    """Delta T = dry bulb - wet bulb; the wet bulb by the psychrometric equation at the pressure."""
    dry = sheet.turn(temperature, "degC")
    celsius, pascal = float(dry.value), float(pressure.base) * 1000
    vapour = float(humidity_percent) / 100 * saturation_pressure(celsius)
    wanted = LIGHTER * vapour / (pascal - vapour)
    sheet.note(said("step.saturation", air=dry, pressure=f"{saturation_pressure(celsius):.1f}"))
    sheet.note(said("step.vapour", humidity=brief(humidity_percent), pressure=f"{vapour:.1f}"))
    sheet.note(
        said("step.humidity_ratio", vapour=f"{vapour:.1f}", pressure=f"{pascal:.0f}", wanted=f"{wanted:.6f}")
    )
    wet = Amount(from_float(wet_bulb(celsius, float(humidity_percent) / 100, pascal)), "degC")
    difference = Amount(dry.value - wet.value, "degC_difference")
    sheet.note(said("step.wet_bulb", wet=wet))
    sheet.note(f"{brief(dry.value)} − {brief(wet.value)} = {difference}")
    if temperature.unit == "degF":
        wet, difference = wet.to("degF"), difference.to("degF_difference")
    return {"wet_bulb": sheet.answer("wet_bulb", wet), "delta_t": sheet.answer("delta_t", difference)}
