"""Why a job is not in the plan, and what would bring it in: each advice was tried on the plan."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from orchard.inventory.amounts import in_stock_unit
from orchard.tasks.amounts import words
from scheduling.assignment import Answer, Crew, Job, Problem, Tool
from scheduling.assignment.greedy import Board
from scheduling.gather import Gathered
from scheduling.gather.mixes import MILLI
from scheduling.gather.wishes import Wish
from scheduling.lines import LeftOut

ANOTHER = "another"


def left_out(known: Gathered, answer: Answer) -> list[LeftOut]:
    """Return the reason for each job that is not in the plan."""
    jobs = {job.id: job for job in known.problem.jobs}
    return [_reason(known, answer, jobs[name], known.wishes[name]) for name in answer.left_out]


def _reason(known: Gathered, answer: Answer, job: Job, wish: Wish) -> LeftOut:
    def out(code: str, says: str) -> LeftOut:
        return LeftOut(wish.line.id, str(wish.block.id), code, says)

    if not job.ways:
        return out("no_sprayer", "no sprayer fits this mix")
    if not job.spells:
        return _no_open_hour(known, wish)
    longest = max(spell.end - spell.start for spell in job.spells)
    if job.shortest > longest:
        says = f"it takes {_hours(job.shortest)}, and the longest open spell is {_hours(longest)}"
        return out("too_long", f"{says}: take a larger tank, or make two blocks of it")
    if not known.problem.crews:
        return out("no_crew", "there is no crew: make one")
    able = [spell for spell in job.spells if any(crew.may(job, spell) for crew in known.problem.crews)]
    if not able:
        who = "an adult with valid handler training"
        return out("crew_not_qualified", f"on its open days no crew has {who} in it")
    short = _short(known, answer, job)
    if short is not None:
        return out("stock_short", short)
    return out("no_crew", _taken(known, answer, job, wish))


def _no_open_hour(known: Gathered, wish: Wish) -> LeftOut:
    forbidden = sorted(set(wish.closed.values()))
    if forbidden and not wish.stretches:
        return LeftOut(wish.line.id, str(wish.block.id), "mix_stop", forbidden[0])
    last = f" before {wish.line.stage[1]} BBCH" if wish.last_safe is not None else ""
    if wish.last_safe is not None and wish.last_safe.on < known.frame.first:
        says = f"the last safe day was {wish.last_safe.on}: look at the buds before anything is sprayed"
        return LeftOut(wish.line.id, str(wish.block.id), "no_open_day", says)
    until = min(known.frame.last, wish.last_safe.on) if wish.last_safe is not None else known.frame.last
    says = f"no open hour from {max(wish.after, known.frame.first)} to {until}{last}"
    closed = [f"{limit} ({hours} h)" for limit, hours in wish.opening.closed_by.most_common()]
    if closed:
        says += f": working hours are closed by {', '.join(closed)}"
    if wish.block.re_entry_until is not None:
        entry = wish.block.re_entry_until.astimezone(known.frame.zone)
        says += f"; nobody may enter before {entry:%Y-%m-%d %H:%M}"
    early = _start_earlier(known, wish)
    says += f"; {early[0]}" if early else ""
    return LeftOut(wish.line.id, str(wish.block.id), "no_open_day", says)


def _short(known: Gathered, answer: Answer, job: Job) -> str | None:
    """Return what is short, where the job would find its hours with a full store."""
    lacking = [replace(stock, amount=10**18) for stock in known.problem.stocks]
    if _board(replace(known.problem, stocks=tuple(lacking)), answer).place(job) is None:
        return None
    if _board(known.problem, answer).place(job) is not None:
        return None
    jobs = {one.id: one for one in known.problem.jobs}
    first = min(spell.start for spell in job.spells)
    lines = []
    for stock in known.problem.stocks:
        used = sum(
            jobs[one.job].needs.get(stock.product, 0) for one in answer.placed if stock.counts(one.start)
        )
        short = used + job.needs.get(stock.product, 0) - stock.amount
        if job.needs.get(stock.product) and short > 0:
            product = known.products[stock.product]
            amount = in_stock_unit(Decimal(short) / MILLI, product)
            lines.append(f"{product.name} is short by {words(amount)}")
    said = "; ".join(dict.fromkeys(lines))
    return f"{said}: buy it before {known.frame.moment(first).date()}" if said else None


def _taken(known: Gathered, answer: Answer, job: Job, wish: Wish) -> str:
    """Say on which days it could be done, that all are taken there, and what would help."""
    days = sorted({known.frame.moment(spell.start).date() for spell in job.spells})
    said = ", ".join(f"{on:%a} {on.day} {on:%b}" for on in days[:5]) + (" …" if len(days) > 5 else "")
    limit = f" before {wish.last_safe.on}" if wish.last_safe is not None else ""
    advice = _advice(known.problem, answer, job)
    earlier = _start_earlier(known, wish)
    help_ = " or ".join([*advice, *earlier]) or "wait for another open day"
    return f"open on {said}{limit}, but crews and sprayers are taken then: {help_}"


def _advice(problem: Problem, answer: Answer, job: Job) -> list[str]:
    crew, tool = Crew(ANOTHER), Tool(ANOTHER)
    best = min(job.ways, key=lambda way: (way.minutes, way.tool or ""))
    with_tool = replace(job, ways=(*job.ways, replace(best, tool=ANOTHER)))
    tries = (
        ("add a crew", replace(problem, crews=(*problem.crews, crew)), job),
        ("add a sprayer", replace(problem, tools=(*problem.tools, tool)), with_tool),
        (
            "add a crew with a sprayer",
            replace(problem, crews=(*problem.crews, crew), tools=(*problem.tools, tool)),
            with_tool,
        ),
    )
    return [says for says, more, one in tries if _board(more, answer).place(one) is not None][:1]


def _start_earlier(known: Gathered, wish: Wish) -> list[str]:
    """Say which open day before the plan would help, the last of them."""
    before = [one.on for one in known.before(wish)]
    return [f"start on {max(before):%A} {max(before).day} {max(before):%b}"] if before else []


def _board(problem: Problem, answer: Answer) -> Board:
    board, jobs = Board(problem), {job.id: job for job in problem.jobs}
    for one in answer.placed:
        board.put(jobs[one.job], one)
    return board


def _hours(minutes: int) -> str:
    return f"{minutes / 60:g} h"
