"""Why a job is not in the plan, and what would bring it in: each advice was tried on the plan."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal

from django.utils.translation import gettext_noop as _

from orchard.inventory.amounts import in_stock_unit
from orchard.tasks.amounts import words
from orchard.tasks.told import Told, joined
from scheduling.assignment import Answer, Crew, Job, Problem, Tool
from scheduling.assignment.greedy import Board
from scheduling.gather import Gathered
from scheduling.gather.mixes import MILLI
from scheduling.gather.wishes import Wish
from scheduling.lines import LeftOut

ANOTHER = "another"
LIMITS = {
    "wind": _("wind"),
    "rain": _("rain"),
    "frost": _("frost"),
    "heat": _("heat"),
    "inversion": _("inversion"),
    "wet": _("wet"),
    "re_entry": _("re_entry"),
    "quiet_hours": _("quiet_hours"),
    "weather that is not known": _("weather that is not known"),
}
"""What closes hours, in words."""


def left_out(known: Gathered, answer: Answer) -> list[LeftOut]:
    """Return the reason for each job that is not in the plan."""
    jobs = {job.id: job for job in known.problem.jobs}
    return [_reason(known, answer, jobs[name], known.wishes[name]) for name in answer.left_out]


def _reason(known: Gathered, answer: Answer, job: Job, wish: Wish) -> LeftOut:
    def out(code: str, says: str) -> LeftOut:
        return LeftOut(wish.line.id, str(wish.block.id), code, says)

    if not job.ways:
        return out("no_sprayer", Told(_("no sprayer fits this mix")))
    if not job.spells:
        return _no_open_hour(known, wish)
    longest = max(spell.end - spell.start for spell in job.spells)
    if job.shortest > longest:
        says = _(
            "it takes %(takes)s, and the longest open spell is %(longest)s: take a larger tank, or make two "
            "blocks of it"
        )
        return out("too_long", Told(says, takes=_hours(job.shortest), longest=_hours(longest)))
    if not known.problem.crews:
        return out("no_crew", Told(_("there is no crew: make one")))
    able = [spell for spell in job.spells if any(crew.may(job, spell) for crew in known.problem.crews)]
    if not able:
        says = _("on its open days no crew has an adult with valid handler training in it")
        return out("crew_not_qualified", Told(says))
    short = _short(known, answer, job)
    if short is not None:
        return out("stock_short", short)
    return out("no_crew", _taken(known, answer, job, wish))


def _no_open_hour(known: Gathered, wish: Wish) -> LeftOut:
    forbidden = sorted(set(wish.closed.values()))
    if forbidden and not wish.stretches:
        return LeftOut(wish.line.id, str(wish.block.id), "mix_stop", forbidden[0])
    if wish.last_safe is not None and wish.last_safe.on < known.frame.first:
        says = _("the last safe day was %(on)s: look at the buds before anything is sprayed")
        told = Told(says, on=str(wish.last_safe.on))
    else:
        told = joined(_why_no_hour(known, wish), "; ")
    return LeftOut(wish.line.id, str(wish.block.id), "no_open_day", told)


def _why_no_hour(known: Gathered, wish: Wish) -> Iterator[Told]:
    last, bbch = known.frame.last, ""
    says = _("no open hour from %(since)s to %(until)s")
    if wish.last_safe is not None:
        last, bbch = min(last, wish.last_safe.on), str(wish.line.stage[1])
        says = _("no open hour from %(since)s to %(until)s before %(bbch)s BBCH")
    since = max(wish.after, known.frame.first)
    whole = Told(says, since=str(since), until=str(last), bbch=bbch)
    closed = [
        Told("%(limit)s (%(hours)s h)", limit=_limit(limit), hours=hours)
        for limit, hours in wish.opening.closed_by.most_common()
    ]
    if closed:
        because = Told(_("working hours are closed by %(limits)s"), limits=joined(closed, ", "))
        whole = joined((whole, because), ": ")
    yield whole
    if wish.block.re_entry_until is not None:
        entry = wish.block.re_entry_until.astimezone(known.frame.zone)
        yield Told(_("nobody may enter before %(moment)s"), moment=f"{entry:%Y-%m-%d %H:%M}")
    yield from _start_earlier(known, wish)


def _limit(name: str) -> str:
    return Told(LIMITS[name]) if name in LIMITS else name


def _short(known: Gathered, answer: Answer, job: Job) -> Told | None:
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
            lines.append(
                Told(_("%(product)s is short by %(amount)s"), product=product.name, amount=words(amount))
            )
    if not lines:
        return None
    on = str(known.frame.moment(first).date())
    return Told(_("%(lacks)s: buy it before %(on)s"), lacks=joined(dict.fromkeys(lines), "; "), on=on)


def _taken(known: Gathered, answer: Answer, job: Job, wish: Wish) -> Told:
    """Say on which days it could be done, that all are taken there, and what would help."""
    days = sorted({known.frame.moment(spell.start).date() for spell in job.spells})
    some = joined([Told("%(day)s", day=on) for on in days[:5]], ", ")
    told = joined((some, "…"), " ") if len(days) > 5 else some
    advice = [*_advice(known.problem, answer, job), *_start_earlier(known, wish)]
    help_ = advice[0] if advice else Told(_("wait for another open day"))
    for other in advice[1:]:
        help_ = Told(_("%(one)s or %(other)s"), one=help_, other=other)
    says = _("open on %(days)s, but crews and sprayers are taken then: %(help)s")
    if wish.last_safe is None:
        return Told(says, days=told, help=help_)
    says = _("open on %(days)s before %(last)s, but crews and sprayers are taken then: %(help)s")
    return Told(says, days=told, last=str(wish.last_safe.on), help=help_)


def _advice(problem: Problem, answer: Answer, job: Job) -> list[Told]:
    crew, tool = Crew(ANOTHER), Tool(ANOTHER)
    best = min(job.ways, key=lambda way: (way.minutes, way.tool or ""))
    with_tool = replace(job, ways=(*job.ways, replace(best, tool=ANOTHER)))
    tries = (
        (Told(_("add a crew")), replace(problem, crews=(*problem.crews, crew)), job),
        (Told(_("add a sprayer")), replace(problem, tools=(*problem.tools, tool)), with_tool),
        (
            Told(_("add a crew with a sprayer")),
            replace(problem, crews=(*problem.crews, crew), tools=(*problem.tools, tool)),
            with_tool,
        ),
    )
    return [says for says, more, one in tries if _board(more, answer).place(one) is not None][:1]


def _start_earlier(known: Gathered, wish: Wish) -> list[Told]:
    """Say which open day before the plan would help, the last of them."""
    before = [one.on for one in known.before(wish)]
    return [Told(_("start on %(day)s"), day=max(before))] if before else []


def _board(problem: Problem, answer: Answer) -> Board:
    board, jobs = Board(problem), {job.id: job for job in problem.jobs}
    for one in answer.placed:
        board.put(jobs[one.job], one)
    return board


def _hours(minutes: int) -> str:
    return f"{minutes / 60:g} h"
