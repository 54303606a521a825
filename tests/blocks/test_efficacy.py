"""What a treatment did, by counts in treated and untreated trees: percentages and their intervals."""

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from orchard.blocks.efficacy import Pool, efficacy, severity
from orchard.farms.models import AuditEntry
from tests.callers import Caller, codes
from tests.factories import BlockFactory, FarmFactory

SPRAYED = "2026-02-10T12:00:00-08:00"
BEFORE, AFTER = "2026-02-01T09:00:00-08:00", "2026-04-20T09:00:00-08:00"


def of(count, size=100, classes=None):
    return Pool(count, size, classes or {})


def test_henderson_and_tiltons_formula_where_both_were_counted_before():
    """100 x (1 - 6/30 x 28/26) (C. F. Henderson, E. W. Tilton, J. Econ. Entomol. 48:157-161, 1955)."""
    found = efficacy(before=of(30), after=of(6), check_before=of(28), check_after=of(26), of_units=False)

    assert (found.method, found.percent) == ("henderson_tilton", Decimal("78.46"))


def test_abbotts_formula_where_nobody_counted_before():
    """(26 - 6)/26 (W. S. Abbott, J. Econ. Entomol. 18:265-267, 1925)."""
    found = efficacy(after=of(6), check_after=of(26), of_units=False)

    assert (found.method, found.percent) == ("abbott", Decimal("76.92"))


def test_the_interval_is_that_of_the_logarithm_of_the_risk_ratio():
    """Ratio 0.25, variance 1/10 - 1/100 + 1/40 - 1/100: 0.25 x exp(-/+ 1.96 x 0.32404) by hand (Katz and
    others, Biometrics 34, 1978).
    """
    found = efficacy(after=of(10), check_after=of(40), of_units=True)

    reach = 1.959964 * math.sqrt(1 / 10 - 1 / 100 + 1 / 40 - 1 / 100)
    assert found.low == pytest.approx(Decimal(100 * (1 - 0.25 * math.exp(reach))), abs=Decimal("0.01"))
    assert found.high == pytest.approx(Decimal(100 * (1 - 0.25 * math.exp(-reach))), abs=Decimal("0.01"))
    assert (found.low, found.high) == (Decimal("52.82"), Decimal("86.75"))


def test_samples_of_other_sizes_are_compared_by_share():
    assert efficacy(after=of(5, 50), check_after=of(40, 100), of_units=True).percent == Decimal("75.00")


def test_nothing_left_is_a_hundred_percent_with_an_interval_that_says_how_sure_that_is():
    few = efficacy(after=of(0, 20), check_after=of(8, 20), of_units=True)
    many = efficacy(after=of(0, 200), check_after=of(80, 200), of_units=True)

    assert few.percent == many.percent == 100
    assert few.low < 50 < 90 < many.low < 100


def test_untreated_trees_without_the_pest_tell_nothing():
    assert efficacy(after=of(0), check_after=of(0), of_units=True) is None


@given(st.integers(1, 200), st.integers(0, 200), st.integers(1, 200), st.integers(1, 200), st.booleans())
def test_the_percentage_lies_in_its_interval_where_nothing_is_zero(
    before, after, check_before, check_after, of_units
):
    found = efficacy(
        before=of(before, 200),
        after=of(after, 200),
        check_before=of(check_before, 200),
        check_after=of(check_after, 200),
        of_units=of_units,
    )

    assert found.low <= found.high <= 100
    if after:
        assert found.low <= found.percent <= found.high


def test_the_severity_index_is_that_of_the_scale():
    """(1x5 + 2x3 + 3x2) / (20 x 4) x 100 (Chiang, Liu, Bock, Annals of Applied Biology, 2017)."""
    assert severity({0: 10, 1: 5, 2: 3, 3: 2, 4: 0}, worst=4) == Decimal("21.25")


# over HTTP


@pytest.fixture
def block(db):
    return BlockFactory(farm=FarmFactory())


@pytest.fixture
def adviser(block):
    return Caller(block.farm, "adviser")


def count(who, block, found, at, **more):
    body = {"target": "leaf curl", "method": "visual", "sample_size": 100, "count": found, "observed_at": at}
    return who.post(f"blocks/{block.id}/scouting", {**body, **more})


def test_counts_before_and_after_with_untreated_trees_give_the_result(block, adviser):
    for found, at, untreated in (
        (30, BEFORE, False),
        (28, BEFORE, True),
        (6, AFTER, False),
        (26, AFTER, True),
    ):
        assert count(adviser, block, found, at, untreated=untreated).status_code == 201

    [row] = adviser.get(f"blocks/{block.id}/efficacy?treated_at={SPRAYED}").json()["items"]

    assert (row["efficacy_method"], row["efficacy_percent"]) == ("henderson_tilton", "78.46")
    assert Decimal(row["efficacy_low"]) < Decimal("78.46") < Decimal(row["efficacy_high"])
    assert row["check_after"] == {"count": 26, "size": 100}
    assert row["looked_on"] == "2026-04-20"


def test_without_untreated_trees_nothing_is_claimed(block, adviser):
    count(adviser, block, 3, AFTER)

    [row] = adviser.get(f"blocks/{block.id}/efficacy?treated_at={SPRAYED}").json()["items"]

    assert row["efficacy_percent"] is None
    assert "no untreated trees were counted" in row["says"]


def test_ratings_give_a_severity_index_and_have_to_add_up(block, adviser):
    classes = [{"rating": rating, "count": n} for rating, n in enumerate((90, 4, 3, 3, 0))]

    made = count(adviser, block, 10, AFTER, classes=classes)

    assert made.json()["severity_percent"] == "4.75"
    assert codes(count(adviser, block, 9, AFTER, classes=classes)) == ["invalid"]
    assert codes(count(adviser, block, 10, AFTER, classes=classes[:4] + classes[3:4])) == ["invalid"]
    assert codes(count(adviser, block, 10, AFTER, classes=classes[1:])) == ["invalid"]


def test_nothing_found_is_a_result_and_not_the_same_as_not_looked(block, adviser):
    assert adviser.get(f"blocks/{block.id}/scouting").json()["items"] == []

    made = count(adviser, block, 0, AFTER).json()

    assert (made["count"], made["per_sample"], made["untreated"]) == (0, "0", False)
    assert adviser.get(f"blocks/{block.id}/scouting?untreated=true").json()["items"] == []
    assert len(adviser.get(f"blocks/{block.id}/scouting?untreated=false").json()["items"]) == 1
    assert AuditEntry.objects.filter(resource="scouting_count").count() == 1


def test_what_is_asked_in_the_wrong_way_is_told(block, adviser):
    assert codes(adviser.get(f"blocks/{block.id}/efficacy")) == ["required"]
    assert codes(adviser.get(f"blocks/{block.id}/efficacy?treated_at=yesterday")) == ["invalid"]
    stranger = Caller(FarmFactory(), "adviser")
    assert stranger.get(f"blocks/{block.id}/efficacy?treated_at={SPRAYED}").status_code == 404
