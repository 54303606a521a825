"""Why a job is left out: what a reason says would help does help."""

from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from scheduling.assignment import Budget, Crew, Stock, Tool, assign
from scheduling.explain import ANOTHER, Case, least_remedies
from tests.scheduling.assignment.test_assign import tiny

QUICK = Budget(work=2.0, seconds=6.0)


def with_help(problem, job, remedies):
    """Return the problem with what the reason asks for, as a farm would get it."""
    if "stock_short" in remedies:
        problem = replace(problem, stocks=(Stock("copper", 0, 1000),))
    if "crew" in remedies:
        problem = replace(problem, crews=(*problem.crews, Crew(ANOTHER)))
    if "sprayer" in remedies:
        best = min(job.ways, key=lambda way: way.minutes)
        ways = (*job.ways, replace(best, tool=ANOTHER))
        jobs = tuple(replace(one, ways=ways) if one.id == job.id else one for one in problem.jobs)
        problem = replace(problem, jobs=jobs, tools=(*problem.tools, Tool(ANOTHER)))
    if "interval" in remedies:
        rest = tuple(one for one in problem.jobs if one.block != job.block or one.id == job.id)
        problem = replace(problem, jobs=rest, near={})
    return problem


def can_be_done(job, problem):
    return any(
        spell.end - spell.start >= job.shortest and any(crew.may(job, spell) for crew in problem.crews)
        for spell in job.spells
    )


@settings(max_examples=60, deadline=None)
@given(tiny(), st.sampled_from([1, 2]))
def test_doing_what_the_reason_says_brings_one_more_job_in(problem, crews):
    problem = replace(problem, crews=problem.crews[:crews])
    answer = assign(problem, budget=QUICK)
    for job in problem.jobs:
        if job.id not in answer.left_out or not can_be_done(job, problem):
            continue

        remedies = least_remedies(Case(problem, answer.placed, job))

        assert remedies, "the plan had room for it"
        after = assign(with_help(problem, job, remedies), budget=QUICK)
        if "interval" in remedies:
            assert job.id not in after.left_out
        else:
            assert len(after.left_out) < len(answer.left_out)
