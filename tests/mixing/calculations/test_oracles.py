"""The same figures from other people's code: wet bulb, atomic masses, unit factors."""

from __future__ import annotations

from decimal import Decimal

import pint
import psychrolib
import pytest
from molmass import Formula

from mixing import chemistry, quantities
from mixing.calculations.weather import saturation_pressure, wet_bulb
from mixing.quantities import COMPOUND, SIMPLE, Quantity, unit
from tests.mixing.calculations.asking import ask

psychrolib.SetUnitSystem(psychrolib.SI)


@pytest.mark.parametrize("celsius", [-25, -8, -1, 0, 0.5, 4, 12, 20, 28, 36, 45])
@pytest.mark.parametrize("percent", [1, 15, 40, 65, 90, 100])
@pytest.mark.parametrize("pascal", [101325, 84500])
def test_the_wet_bulb_is_that_of_psychrolib(celsius: float, percent: int, pascal: int) -> None:
    """PsychroLib 2.5, Meyer and Thevenard, 2019: it halves to 0.001 degC."""
    theirs = psychrolib.GetTWetBulbFromRelHum(celsius, percent / 100, pascal)

    assert wet_bulb(celsius, percent / 100, pascal) == pytest.approx(theirs, abs=0.0021)


@pytest.mark.parametrize("celsius", [-40, -5, 0, 0.01, 5, 25, 60])
def test_saturation_is_that_of_psychrolib(celsius: float) -> None:
    assert saturation_pressure(celsius) == pytest.approx(psychrolib.GetSatVapPres(celsius), rel=1e-9)


FORMULAS = sorted({found for name in chemistry.formulas() if (found := chemistry.substance(name).formula)})


@pytest.mark.parametrize("formula", FORMULAS)
def test_a_compound_weighs_what_molmass_says(formula: str) -> None:
    """molmass, C. Gohlke, 2026; its masses are means over isotopes, ours IUPAC's abridged ones."""
    parts = formula.replace("·", ".").split(".")
    theirs = 0.0
    for part in parts:
        times = part[: len(part) - len(part.lstrip("0123456789"))]
        theirs += int(times or 1) * Formula(part.lstrip("0123456789")).mass

    assert float(chemistry.molar_mass(formula)) == pytest.approx(theirs, rel=2e-4)


@pytest.mark.parametrize(
    ("compound", "formula"),
    [
        ("copper hydroxide", "Cu(OH)2"),
        ("copper oxychloride", "Cu2Cl(OH)3"),
        ("tribasic copper sulfate", "Cu4SO4(OH)6"),
        ("cuprous oxide", "Cu2O"),
        ("copper octanoate", "Cu(C8H15O2)2"),
    ],
)
def test_the_copper_in_a_compound_is_what_molmass_says(compound: str, formula: str) -> None:
    theirs = Formula(formula).composition()["Cu"].fraction

    ours = float(ask("metal_equivalent", compound=compound, metal="copper", amount="1 kg")["fraction"])

    assert ours == pytest.approx(theirs, abs=1e-4)


PINT = pint.UnitRegistry(non_int_type=Decimal)
TO_PINT = {
    "tsp": "teaspoon",
    "tbsp": "tablespoon",
    "fl_oz": "fluid_ounce",
    "cup": "cup",
    "pt": "pint",
    "qt": "quart",
    "gal": "gallon",
    "imp_fl_oz": "imperial_fluid_ounce",
    "imp_pt": "imperial_pint",
    "imp_gal": "imperial_gallon",
    "m3": "meter**3",
    "oz_wt": "ounce",
    "lb": "pound",
    "m2": "meter**2",
    "ha": "hectare",
    "ft2": "foot**2",
    "acre": "43560 * foot**2",
    "1000ft2": "1000 * foot**2",
    "in": "inch",
    "ft": "foot",
    "yd": "yard",
    "mi": "mile",
    "h": "hour",
    "d": "day",
    "mph": "mile/hour",
    "km/h": "kilometer/hour",
    "m/s": "meter/second",
    "ft/min": "foot/minute",
    "L/m3": "liter/meter**3",
    "gal/1000ft3": "gallon/(1000*foot**3)",
    "ft3/acre": "foot**3/(43560*foot**2)",
    "m3/ha": "meter**3/hectare",
    "gal/min": "gallon/minute",
    "fl_oz/min": "fluid_ounce/minute",
    "L/min": "liter/minute",
    "mL/min": "milliliter/minute",
}
BASES = {
    "volume": "milliliter",
    "mass": "gram",
    "area": "meter**2",
    "length": "meter",
    "time": "second",
    "length/time": "meter/second",
    "volume/time": "milliliter/minute",
    "volume/volume": "dimensionless",
    "volume/area": "milliliter/meter**2",
    "pressure": "kilopascal",
}
SKIPPED = {"percent_vv", "percent_ww", "percent_wv", "g/kg", "tree/ha", "tree/acre", "tree", "count", "ppm"}
PLAIN = [
    name for dimension, names in SIMPLE.items() if dimension in BASES for name in names if name not in SKIPPED
] + [name for name in COMPOUND if name not in SKIPPED]


@pytest.mark.parametrize("name", PLAIN)
def test_a_unit_is_as_large_as_pint_has_it(name: str) -> None:
    """Pint 0.25, default registry. The acre of surveyors is left out: ours is of the international foot."""
    base = BASES[unit(name).dimension]

    theirs = PINT.parse_expression(TO_PINT.get(name, name)).to(base).magnitude

    ours = Quantity(Decimal(1), name).in_base()
    assert float(ours) == pytest.approx(float(theirs), rel=1e-14)


@pytest.mark.parametrize(
    ("celsius", "fahrenheit"), [("-40", "-40"), ("0", "32"), ("100", "212"), ("37.5", "99.5")]
)
def test_thermometers_agree_with_pint(celsius: str, fahrenheit: str) -> None:
    theirs = PINT.Quantity(Decimal(celsius), PINT.degC).to(PINT.degF).magnitude

    ours = quantities.convert(Quantity(Decimal(celsius), "degC"), "degF").value

    assert ours == Decimal(fahrenheit)
    assert float(theirs) == pytest.approx(float(ours), abs=1e-9)
