"""Efficacy, severity, re-entry and harvest."""

from __future__ import annotations

import pytest

from mixing.calculations.efficacy import student_t
from tests.mixing.calculations.asking import ask, faults, q


def test_replicates_give_an_interval_round_their_mean() -> None:
    answer = ask("efficacy", method="abbott", treated_after=[2, 4, 3], check_after=[50, 60, 55])

    low, high = float(answer["interval"]["low"]), float(answer["interval"]["high"])
    assert float(answer["percent"]) == pytest.approx((low + high) / 2)
    assert (low, high) == (pytest.approx(91.3095, abs=1e-3), pytest.approx(97.9430, abs=1e-3))


def test_one_count_has_no_interval() -> None:
    assert ask("efficacy", method="abbott", treated_after=2, check_after=50)["interval"] is None


@pytest.mark.parametrize(
    ("freedom", "t"), [(1, 12.706), (2, 4.303), (5, 2.571), (10, 2.228), (30, 2.042), (120, 1.980)]
)
def test_t_is_that_of_the_printed_table(freedom: int, t: float) -> None:
    """Student's t, 97.5 %: Fisher and Yates, Statistical Tables, 1963, table III."""
    assert student_t(freedom) == pytest.approx(t, abs=0.0006)


def test_schneider_orelli_and_henderson_tilton_agree() -> None:
    counts = {"treated_before": 40, "treated_after": 5, "check_before": 50, "check_after": 45}

    one = ask("efficacy", method="schneider_orelli", **counts)
    other = ask("efficacy", method="henderson_tilton", **counts)

    assert one["percent"] == other["percent"]


def test_a_check_with_nothing_alive_gives_no_efficacy() -> None:
    assert faults("efficacy", method="abbott", treated_after=2, check_after=[0]) == {
        "/check_after": "out_of_range"
    }


def test_replicates_belong_together() -> None:
    assert faults("efficacy", method="abbott", treated_after=[2, 3, 4], check_after=[50, 60]) == {
        "/check_after": "invalid"
    }


def test_a_method_takes_its_own_counts() -> None:
    found = faults("efficacy", method="abbott", treated_before=3, check_after=5)

    assert found == {"/treated_after": "required", "/treated_before": "invalid"}


def test_more_alive_than_in_the_check_is_below_zero() -> None:
    assert ask("efficacy", method="abbott", treated_after=60, check_after=50)["percent"] == "-20"


def test_severity_runs_from_healthy_to_the_end_of_the_scale() -> None:
    def severity(*counts: int) -> str:
        classes = [{"rating": rating, "count": count} for rating, count in enumerate(counts)]
        return str(ask("severity_index", classes=classes)["percent"])

    assert severity(10, 5, 3, 2, 0) == "21.25"
    assert severity(7, 0, 0) == "0"
    assert severity(0, 0, 7) == "100"


def test_a_scale_without_an_end_or_with_twins_is_refused() -> None:
    nothing = faults("severity_index", classes=[{"rating": 0, "count": 5}])
    twins = faults("severity_index", classes=[{"rating": 1, "count": 5}, {"rating": "1.0", "count": 2}])

    assert nothing == {"/classes": "out_of_range"}
    assert twins == {"/classes/1/rating": "invalid"}


def test_the_longest_interval_rules_and_the_first_of_equals() -> None:
    answer = ask(
        "re_entry", finished_at="2027-01-29T08:00:00-08:00", intervals=["4 h", "48 h", "2 d", "12 h"]
    )

    assert answer["until"] == "2027-01-31T08:00:00-08:00"
    assert answer["rules"] == 1


def test_the_zone_gives_the_offset_that_holds_then() -> None:
    answer = ask(
        "re_entry",
        finished_at="2026-03-07T07:15:00-08:00",
        intervals=["48 h"],
        zone="America/Los_Angeles",
    )

    assert answer["until"] == "2026-03-09T08:15:00-07:00"


def test_no_interval_is_no_answer() -> None:
    assert faults("re_entry", finished_at="2027-01-29T08:00:00-08:00", intervals=[]) == {
        "/intervals": "required"
    }
    assert faults("re_entry", finished_at="2027-01-29T08:00:00", intervals=["4 h"]) == {
        "/finished_at": "time_without_offset"
    }
    assert faults(
        "re_entry", finished_at="2027-01-29T08:00:00Z", intervals=["4 h"], zone="../../etc/passwd"
    ) == {"/zone": "invalid"}


@pytest.mark.parametrize(
    ("intervals", "not_before"),
    [
        (["0 d"], "2027-05-01"),
        (["12 h"], "2027-05-02"),
        (["24 h"], "2027-05-02"),
        (["25 h", "1 d"], "2027-05-03"),
    ],
)
def test_hours_count_as_begun_days_before_harvest(intervals: list[str], not_before: str) -> None:
    assert ask("harvest", applied_on="2027-05-01", intervals=intervals)["not_before"] == not_before


def test_the_interval_that_rules_is_named() -> None:
    assert ask("harvest", applied_on="2027-05-01", intervals=["7 d", "21 d"])["interval"] == q("21 d")
