"""The named calculations of the spray trade: `calculate(name, inputs)` and `listing()`.

Every answer carries the steps that lead to it and the source of its formula; every refusal names all
faults at once. Amounts are exact fractions inside and decimal texts outside.
"""

from mixing.calculations import (
    active,
    calibration,
    canopy,
    chill,
    degree_days,
    disease,
    doses,
    efficacy,
    frost,
    hose_end,
    intervals,
    loads,
    stability,
    wash_off,
    weather,
)
from mixing.calculations.described import listing
from mixing.calculations.registry import CalculationError, calculate

SUBJECTS = (
    active,
    calibration,
    canopy,
    chill,
    degree_days,
    disease,
    doses,
    efficacy,
    frost,
    hose_end,
    intervals,
    loads,
    stability,
    wash_off,
    weather,
)
"""The modules that register the calculations, one for each subject."""

__all__ = ["CalculationError", "calculate", "listing"]
