"""Assignments: every hard limit kept, the best of tiny ones found, the gap of all told."""

from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from scheduling.assignment import Budget, Crew, Job, Problem, Spell, Stock, Tool, Was, Way, assign
from scheduling.assignment.relaxed import least_road
from tests.scheduling.assignment.checker import faults
from tests.scheduling.assignment.instances import DAY, best_by_trying_all, large

MORNING, AFTERNOON, TOMORROW = Spell(480, 720), Spell(780, 1020, 5), Spell(DAY + 480, DAY + 1020, 10)
SMALL, LARGE = Way("small", 180, 60), Way("large", 120, 30)
TOOLS = (Tool("small"), Tool("large"))
QUICK = Budget(work=2.0, seconds=6.0)


def job(name, *, block=None, ways=(LARGE,), spells=(MORNING, TOMORROW), **more):
    return Job(name, block or name, ways, spells, **more)


NORTH = Crew("north")


def planned(*jobs, crews=(NORTH,), tools=TOOLS, **more):
    problem = Problem(jobs, crews, tools, **more)
    answer = assign(problem, budget=QUICK)
    assert faults(problem, answer) == []
    return answer


def starts(answer):
    return {one.job: one.start for one in answer.placed}


def test_one_crew_does_one_block_after_the_other():
    answer = planned(job("upper"), job("lower"))

    assert sorted(starts(answer).values()) == [480, 600]
    assert (answer.gap_percent, answer.left_out) == (0, ())


def test_the_larger_tank_is_taken_for_its_fewer_fillings():
    answer = planned(job("upper", ways=(SMALL, LARGE)))

    assert [one.tool for one in answer.placed] == ["large"]
    assert (answer.road.value, answer.road.bound) == (30, 30)


def test_one_sprayer_is_not_in_two_blocks_at_once():
    crews = (Crew("north"), Crew("south"))

    answer = planned(job("upper"), job("lower"), crews=crews)

    assert sorted(starts(answer).values()) == [480, 600]


def test_a_spray_is_rather_late_than_left_out():
    answer = planned(*(job(name) for name in ("a", "b", "c")))

    assert answer.left_out == ()
    assert answer.risk.value == 10


def test_a_job_that_fits_nowhere_leaves_the_plan_of_the_others_proven():
    two_hours = (Spell(480, 600),)
    long, middle, short = (
        job(name, block="upper", ways=(Way("small", minutes, road),), spells=two_hours)
        for name, minutes, road in (("long", 180, 10), ("middle", 120, 20), ("short", 60, 10))
    )

    answer = planned(short, middle, long)

    assert [one.job for one in answer.placed] == ["short"]
    assert answer.gap_percent == 0


def test_nobody_is_at_work_beside_a_spray_that_is_on():
    crews = (Crew("north"), Crew("south"))
    leaves = job("leaves", ways=(Way(None, 120),), handled=False)
    near = {"leaves": frozenset({"upper"}), "upper": frozenset({"leaves"})}

    first, second = planned(job("upper"), leaves, crews=crews, near=near).placed

    assert second.start >= first.end


def test_a_crew_without_a_qualified_handler_does_not_spray_that_day():
    answer = planned(job("upper"), crews=(Crew("north", unqualified=((0, DAY),)),))

    assert starts(answer) == {"upper": DAY + 480}


def test_somebody_who_is_in_two_crews_is_out_with_one_of_them_at_a_time():
    crews = (Crew("north", shares=("south",)), Crew("south", shares=("north",)))

    answer = planned(job("upper", ways=(SMALL,)), job("lower"), crews=crews)

    first, second = answer.placed
    assert second.start >= first.end


def test_a_restricted_product_waits_for_the_crew_with_a_licence():
    crews = (
        Crew("north", lacking={("licence",): ((0, 2 * DAY),)}),
        Crew("south", busy=((0, DAY),)),
    )

    answer = planned(job("upper", asks=("licence",)), crews=crews)

    assert [(one.crew, one.start) for one in answer.placed] == [("south", DAY + 480)]


def test_work_without_spray_needs_nobody_qualified():
    leaves = job("leaves", ways=(Way(None, 120),), handled=False)

    assert starts(planned(leaves, crews=(Crew("north", unqualified=((0, DAY),)),))) == {"leaves": 480}


def test_a_second_job_on_a_block_waits_for_the_re_entry():
    copper, oil = job("copper", block="upper", spells=(MORNING, AFTERNOON)), job("oil", block="upper")
    gaps = {("copper", "oil"): 1440, ("oil", "copper"): 1440}

    answer = planned(copper, oil, crews=(Crew("north"), Crew("south")), gaps=gaps)

    assert starts(answer) == {"copper": 480, "oil": DAY + 600}


def test_what_is_not_in_the_store_is_not_planned():
    answer = planned(
        job("upper", needs={"copper": 60}),
        job("lower", needs={"copper": 50}),
        stocks=(Stock("copper", 0, 100),),
    )

    assert len(answer.placed) == 1
    assert len(answer.left_out) == 1


def test_a_lot_that_expires_is_used_before_it_does():
    stocks = (Stock("copper", 0, 100), Stock("copper", DAY, 0))

    answer = planned(
        job("upper", needs={"copper": 50}, spells=(MORNING, TOMORROW)),
        job("lower", needs={"copper": 50}, spells=(replace(MORNING, risk=30), replace(TOMORROW, risk=0))),
        stocks=stocks,
    )

    assert all(start < DAY for start in starts(answer).values())


def test_a_draft_stays_where_it_is_unless_there_is_something_to_gain():
    crews = (Crew("north"), Crew("south"))
    stays = job("upper", was=Was("south", "large", 600), ways=(SMALL, LARGE))

    answer = planned(stays, crews=crews)

    assert [(one.crew, one.tool, one.start) for one in answer.placed] == [("south", "large", 600)]


def test_a_draft_moves_where_its_day_has_become_a_danger():
    late = job("upper", was=Was("north", "large", DAY + 480), spells=(MORNING, replace(TOMORROW, risk=300)))

    assert starts(planned(late)) == {"upper": 480}


def test_a_draft_is_not_moved_for_one_part_in_a_hundred():
    late = job("upper", was=Was("north", "large", DAY + 480), spells=(MORNING, TOMORROW))

    assert starts(planned(late)) == {"upper": DAY + 480}


def test_a_draft_is_not_dropped_for_another_job_that_is_no_better():
    two_hours = (Spell(480, 600),)
    draft = job("draft", spells=two_hours, was=Was("north", "large", 480))
    new = job("new", ways=(Way("small", 60, 10),), spells=two_hours)

    assert planned(new, draft).left_out == ("new",)


def test_other_work_keeps_crew_and_sprayer():
    answer = planned(
        job("upper", ways=(SMALL, LARGE)),
        crews=(Crew("north", busy=((480, 540),)),),
        tools=(Tool("small"), Tool("large", busy=((0, DAY),))),
    )

    assert [(one.tool, one.start) for one in answer.placed] == [("small", 540)]


def test_what_can_be_bought_in_time_is_planned():
    answer = planned(
        job("upper", needs={"copper": 60}),
        job("lower", needs={"copper": 50}),
        stocks=(Stock("copper", 0, 60, until=DAY),),
    )

    assert sorted(starts(answer).values()) == [480, DAY + 480]


def test_no_plan_has_less_road_than_that_of_the_jobs_that_must_be_in_it():
    problem = Problem(tuple(job(name, ways=(SMALL, LARGE)) for name in "abc"), (NORTH,), TOOLS)

    assert least_road(problem, risk=999, seconds=0) == 90
    assert least_road(problem, risk=1999, seconds=0) == 60


def test_nothing_to_do_is_a_plan():
    answer = planned()

    assert (answer.placed, answer.left_out, answer.gap_percent) == ((), (), 0)


def test_nobody_to_do_it_leaves_everything_out():
    assert planned(job("upper"), crews=()).left_out == ("upper",)


def test_a_plan_can_be_stopped_and_what_there_is_is_whole():
    problem = large(jobs=30, crews=3, tools=3, days=5)

    answer = assign(problem, budget=QUICK, tell=lambda percent: percent >= 20)

    assert answer.stopped
    assert faults(problem, answer) == []
    assert answer.risk.bound <= answer.risk.value


def test_the_same_farm_gets_the_same_plan():
    problem = large(jobs=24, crews=2, tools=2, days=6)

    assert assign(problem, budget=QUICK) == assign(problem, budget=QUICK)


def test_a_fortnight_of_a_small_farm_keeps_every_limit_and_tells_its_gap():
    problem = large(jobs=40, crews=3, tools=3, days=14, seed=3)

    answer = assign(problem, budget=QUICK)

    assert faults(problem, answer) == []
    assert 0 <= answer.gap_percent <= 100


def test_a_plan_for_a_farm_with_room_in_its_days_is_proven_to_be_of_least_risk():
    problem = large(jobs=60, crews=6, tools=6, days=14, seed=4)

    answer = assign(problem, budget=QUICK)

    assert faults(problem, answer) == []
    assert (answer.left_out, answer.risk.gap_percent) == ((), 0)


minutes = st.sampled_from([60, 120, 180])
spells = st.lists(
    st.sampled_from(
        [
            Spell(480, 600, 3),
            Spell(660, 840, 0),
            Spell(DAY + 480, DAY + 660, 7),
            Spell(DAY + 700, DAY + 900, 40),
        ]
    ),
    min_size=1,
    max_size=2,
    unique=True,
).map(lambda found: tuple(sorted(found, key=lambda spell: spell.start)))


@st.composite
def tiny(draw):
    jobs = []
    for number in range(draw(st.integers(1, 3))):
        ways = tuple(
            Way(tool, draw(minutes), draw(st.sampled_from([10, 20])))
            for tool in draw(st.sampled_from([("small",), ("large",), ("small", "large")]))
        )
        block = draw(st.sampled_from(["upper", "lower"]))
        needs, asks = {"copper": draw(st.integers(0, 3))}, draw(st.sampled_from([(), ("licence",)]))
        jobs.append(Job(f"j{number}", block, ways, draw(spells), needs, asks=asks))
    crews = draw(
        st.sampled_from(
            [
                (Crew("north"),),
                (Crew("north", busy=((480, 540),)), Crew("south", unqualified=((0, DAY),))),
                (Crew("north", shares=("south",)), Crew("south", shares=("north",))),
                (
                    Crew("north", lacking={("licence",): ((0, DAY),)}, shares=("south",)),
                    Crew("south", busy=((660, 700),), shares=("north",)),
                ),
            ]
        )
    )
    near = {}
    if len(jobs) > 1 and jobs[0].block != jobs[1].block and draw(st.booleans()):
        near = {"j0": frozenset({"j1"}), "j1": frozenset({"j0"})}
    gap = draw(st.sampled_from([0, 60, 1440]))
    gaps = {(a.id, b.id): gap for a in jobs for b in jobs if a is not b and a.block == b.block}
    stocks = (Stock("copper", 0, draw(st.integers(2, 6))),)
    return Problem(tuple(jobs), crews, TOOLS, gaps, stocks, near=near)


@settings(max_examples=40, deadline=None)
@given(tiny())
def test_the_plan_of_a_tiny_farm_is_the_best_there_is(problem):
    answer = assign(problem, budget=QUICK)

    assert faults(problem, answer) == []
    assert (answer.risk.value, answer.road.value) == best_by_trying_all(problem)
    assert answer.gap_percent == 0
