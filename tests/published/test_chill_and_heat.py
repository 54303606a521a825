"""Chill and heat of hours against what their authors published."""

import numpy as np
import pytest

from scheduling.forecast import chill


@pytest.mark.parametrize(
    ("degrees", "units"),
    [
        (1.0, 0.0),
        (1.4, 0.0),
        (1.5, 0.5),
        (2.4, 0.5),
        (2.5, 1.0),
        (9.1, 1.0),
        (9.2, 0.5),
        (12.4, 0.5),
        (12.5, 0.0),
        (15.9, 0.0),
        (16.0, -0.5),
        (18.0, -0.5),
        (18.1, -1.0),
    ],
)
def test_utah_chill_units(degrees, units):
    """Richardson, Seeley and Walker, HortScience 9:331-332, 1974, table 1: the bounds of its classes."""
    assert chill.utah_units(np.array(degrees)) == units


@pytest.mark.parametrize(("degrees", "counts"), [(-0.1, 0), (0, 1), (7.2, 1), (7.3, 0)])
def test_chill_hours_from_0_to_7_2_degrees(degrees, counts):
    """Weinberger, Proc. Am. Soc. Hort. Sci. 56, 1950 (from memory): hours below 45 degF; above freezing as
    is usual."""
    assert chill.chill_hours(np.array(float(degrees))) == counts


@pytest.mark.parametrize(
    ("degrees", "hours"),
    [(4, 0), (10, 3.9534), (15, 11.2847), (20, 18.1970), (25, 21.0), (30, 7.2479), (36, 0), (37, 0), (-5, 0)],
)
def test_growing_degree_hours(degrees, hours):
    """Anderson, Richardson and Kesner, Acta Hort. 184:71-78, 1986: base 4, best 25, critical 36 degC.

    At the best temperature an hour gives 21. The values between follow from the two published half cosines.
    """
    assert chill.growing_degree_hours(np.array(float(degrees))) == pytest.approx(hours, abs=1e-4)


@pytest.mark.parametrize(
    ("degrees", "portions"),
    [(0, 4.8519), (4, 29.8494), (6, 34.2042), (8, 34.5684), (10, 32.4355), (12, 25.0015)],
)
def test_chill_portions_at_a_steady_temperature(degrees, portions):
    """Fishman, Erez and Couvillon, J. Theor. Biol. 124, 1987, with the constants of Erez and others, Acta
    Hort.
    276, 1990: 1000 hours, worked by another program from the published equations."""
    made = chill.dynamic_portions(np.full(1000, float(degrees))).sum()

    assert made == pytest.approx(portions, abs=1e-4)


def test_chill_portions_are_best_at_six_to_eight_degrees_and_none_in_warmth_or_hard_frost():
    """Erez and Fishman: most effective about 6 to 8 degC, nothing from about 14 degC on, little at
    freezing."""
    at = {degrees: chill.dynamic_portions(np.full(1000, float(degrees))).sum() for degrees in range(-6, 20)}

    assert max(at, key=at.get) in (6, 7, 8)
    assert at[-6] < 0.1 * at[7]
    assert at[15] == at[19] == 0


def test_warm_spells_undo_what_was_not_yet_kept():
    """Erez, Couvillon and Hendershott, J. Am. Soc. Hort. Sci. 104, 1979: high temperature in the cycle
    negates chill."""
    steady = np.full(480, 6.0)
    cycle = np.tile(np.r_[np.full(16, 6.0), np.full(8, 24.0)], 30)

    assert chill.dynamic_portions(cycle).sum() < 0.25 * chill.dynamic_portions(steady).sum()
