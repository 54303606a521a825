"""The planner: draft jobs with their reasons, and what was left out."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mixing.quantities import Quantity
from scheduling.bounds import in_force
from scheduling.forecast import Event, Forecast, last_safe_day
from scheduling.lines import BlockSeen, ProgrammeLine, in_window
from scheduling.planner import plan
from scheduling.spray_days import judge_days
from tests.scheduling.orchard_weather import day, fine_days

MONDAY = date(2027, 2, 8)
LEAF_FALL = ProgrammeLine(
    "leaf-fall", "Leaf fall", "spray", ("Lower Peach",), (93, 0), leaf_drop_minimum_percent=Decimal(90)
)
BUD_SWELL = ProgrammeLine("bud-swell", "Bud swell", "spray", ("Lower Peach",), (0, 53))
BARE = BlockSeen("Lower Peach", bbch=97, leaf_drop_percent=Decimal(96), observed_on=MONDAY)
SWOLLEN = BlockSeen("Lower Peach", bbch=51, observed_on=MONDAY)


def last_safe(on, predicted=None):
    low = on + timedelta(days=1)
    due = predicted or low + timedelta(days=8)
    return last_safe_day(
        [Forecast(Event.BUDBURST, due, low, due + timedelta(days=8), MONDAY, "thermal_time", 20, "")]
    )


def verdicts(*changed, count=12):
    return judge_days(fine_days(MONDAY, count) + list(changed), bounds=in_force(labels=()))


def planned(line, block, *changed, safe=None, **more):
    return plan(
        lines=[line],
        blocks=[block],
        days={line.id: verdicts(*changed)},
        last_safe=safe,
        on=MONDAY,
        **more,
    )


def after(days):
    return MONDAY + timedelta(days=days)


def test_a_leaf_fall_spray_takes_the_earliest_fit_day():
    made = planned(LEAF_FALL, BARE, day(MONDAY, wind="6"), day(after(1), wind="6"))

    assert [job.on for job in made.jobs] == [after(2)]
    assert "96 % of the leaves were down" in " ".join(made.jobs[0].because)


def test_a_block_that_holds_its_leaves_waits():
    holding = replace(BARE, leaf_drop_percent=Decimal(55))

    made = planned(LEAF_FALL, holding)

    assert [(left.code, left.block) for left in made.left_out] == [("leaf_drop_unmet", "Lower Peach")]
    assert "55 %" in made.left_out[0].says
    assert "take them off" in made.left_out[0].says


def test_leaves_that_nobody_counted_are_not_down():
    assert planned(LEAF_FALL, replace(BARE, leaf_drop_percent=None)).left_out[0].code == "leaf_drop_unknown"


def test_a_block_that_nobody_looked_at_is_left_out():
    assert planned(LEAF_FALL, BlockSeen("Lower Peach")).left_out[0].code == "stage_unknown"


def test_a_bud_swell_spray_takes_the_calmest_dry_day_before_the_last_safe_day():
    made = planned(
        BUD_SWELL, SWOLLEN, day(after(3), wind="1"), day(after(8), wind="0.5"), safe=last_safe(after(5))
    )

    assert [job.on for job in made.jobs] == [after(3)]


def test_a_longer_dry_spell_is_worth_more_than_less_wind():
    made = planned(
        BUD_SWELL, SWOLLEN, day(after(1), wind="1"), day(after(3), rain="5"), safe=last_safe(after(1))
    )

    assert [job.on for job in made.jobs] == [MONDAY]  # two dry days after it, against one


def test_no_open_day_before_bud_colour_says_what_closed_them():
    wet = [day(after(step), rain="3", wind="7") for step in range(4)]

    made = planned(BUD_SWELL, SWOLLEN, *wet, safe=last_safe(after(3)))

    assert made.jobs == ()
    assert made.left_out[0].code == "no_open_day"
    assert "4 of 4 days" in made.left_out[0].says
    assert "closed by rain, wind" in made.left_out[0].says


def test_without_a_forecast_no_bud_swell_spray_is_planned():
    assert planned(BUD_SWELL, SWOLLEN).left_out[0].code == "no_forecast"


def test_past_bud_colour_the_line_is_over():
    coloured = replace(SWOLLEN, bbch=57)

    assert planned(BUD_SWELL, coloured, safe=last_safe(after(5))).left_out[0].code == "stage_passed"


def test_before_leaf_fall_it_is_too_early():
    green = replace(BARE, bbch=91)

    assert planned(LEAF_FALL, green).left_out[0].code == "stage_passed"
    assert planned(replace(LEAF_FALL, stage=(95, 0)), replace(BARE, bbch=93)).left_out[0].code == "too_early"


def test_a_line_that_is_done_is_not_done_again():
    done = replace(SWOLLEN, done={"bud-swell": (after(-3),)})

    assert planned(BUD_SWELL, done, safe=last_safe(after(5))).left_out[0].code == "done"


def test_a_repeat_waits_for_its_interval():
    weekly = replace(BUD_SWELL, repeat_after=Quantity(Decimal(7), "d"))
    done = replace(SWOLLEN, done={"bud-swell": (after(-3),)})

    made = planned(weekly, done, safe=last_safe(after(6)))

    assert [job.on for job in made.jobs] == [after(4)]


def test_a_crew_with_four_loads_a_day_takes_the_second_block_on_another_day():
    line = replace(LEAF_FALL, blocks=("Lower Peach", "Upper Nectarine"))

    made = plan(
        lines=[line],
        blocks=[BARE, replace(BARE, block="Upper Nectarine")],
        days={line.id: verdicts()},
        last_safe=None,
        on=MONDAY,
        loads_a_day=4,
        loads={"Lower Peach": 4, "Upper Nectarine": 3},
    )

    assert [(job.block, job.on) for job in made.jobs] == [
        ("Lower Peach", MONDAY),
        ("Upper Nectarine", after(1)),
    ]


def test_where_the_only_open_day_is_full_more_people_are_asked_for():
    line = replace(BUD_SWELL, blocks=("Lower Peach", "Upper Nectarine"))

    made = plan(
        lines=[line],
        blocks=[SWOLLEN, replace(SWOLLEN, block="Upper Nectarine")],
        days={line.id: verdicts(day(after(1), wind="9"))},
        last_safe=last_safe(after(1)),
        on=MONDAY,
        loads_a_day=4,
        loads={"Lower Peach": 4, "Upper Nectarine": 3},
    )

    assert [job.block for job in made.jobs] == ["Lower Peach"]
    assert made.left_out[0].code == "no_crew"
    assert "add a crew" in made.left_out[0].says


@pytest.mark.parametrize(("bbch", "inside"), [(93, True), (99, True), (0, True), (53, True), (57, False)])
def test_a_stage_window_wraps_round_the_year(bbch, inside):
    assert in_window(bbch, (93, 53)) is inside


winds = st.lists(st.sampled_from(["1", "2", "3", "6"]), min_size=8, max_size=8)


@given(winds, st.integers(0, 9))
def test_no_bud_swell_spray_is_planned_after_the_last_safe_day_or_on_a_closed_one(values, safe_after):
    changed = [day(after(step), wind=value) for step, value in enumerate(values)]
    safe = last_safe(after(safe_after))

    made = planned(BUD_SWELL, SWOLLEN, *changed, safe=safe)

    open_days = {verdict.day.on for verdict in verdicts(*changed) if verdict.open}
    assert all(job.on <= safe.on and job.on in open_days for job in made.jobs)
    assert len(made.jobs) + len(made.left_out) == 1


@given(winds)
def test_the_same_input_gives_the_same_plan(values):
    changed = [day(after(step), wind=value) for step, value in enumerate(values)]

    assert planned(BUD_SWELL, SWOLLEN, *changed, safe=last_safe(after(5))) == planned(
        BUD_SWELL, SWOLLEN, *reversed(changed), safe=last_safe(after(5))
    )
