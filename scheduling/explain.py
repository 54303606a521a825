"""Why a job is not in the plan, and what would bring it in: each advice was tried on the plan."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from decimal import ROUND_CEILING, Context, Decimal
from itertools import combinations

from django.utils.translation import gettext_noop as _

from mixing.quantities import Quantity
from orchard.crews import queries as crews
from orchard.inventory.amounts import in_stock_unit
from orchard.tasks.amounts import words
from orchard.tasks.told import Told, joined
from scheduling import lines, practice
from scheduling.assignment import Answer, Crew, Job, Placed, Problem, Tool
from scheduling.assignment.greedy import Board
from scheduling.assignment.problem import DAY
from scheduling.gather import Gathered
from scheduling.gather.bookings import LONG_AGO
from scheduling.gather.mixes import UNITS
from scheduling.gather.wishes import Wish
from scheduling.lines import LeftOut

ANOTHER = "another"
AS_SHOWN = Context(prec=4, rounding=ROUND_CEILING)
"""What is to be bought is told no smaller than it is."""
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
UNTRAINED = {
    (): _("on its open days no crew has an adult with valid handler training in it"),
    (crews.FIT_TEST,): _(
        "on its open days no crew has an adult with valid handler training and a valid respirator fit test "
        "in it"
    ),
    (crews.LICENCE,): _(
        "on its open days no crew has an adult with valid handler training and somebody with a valid "
        "licence in it: a product is of restricted use"
    ),
    (crews.FIT_TEST, crews.LICENCE): _(
        "on its open days no crew has an adult with valid handler training and a valid respirator fit test, "
        "and somebody with a valid licence in it: a product is of restricted use"
    ),
}
"""What no crew has, by what else a mix asks for."""


@dataclass(frozen=True, slots=True)
class Case:
    """A job that is left out of a plan, and the plan as it would be with some of the remedies."""

    problem: Problem
    placed: tuple[Placed, ...]
    job: Job
    alone: bool = False

    @property
    def has_room(self) -> bool:
        """Whether the job finds a place beside those that are planned."""
        jobs = {one.id: one for one in self.problem.jobs}
        board = Board(self.problem)
        for one in self.placed:
            there = jobs[one.job]
            board.put(replace(there, block=ANOTHER) if self.alone else there, one)
        return board.place(self.job) is not None


def left_out(known: Gathered, answer: Answer) -> list[LeftOut]:
    """Return the reason for each job that is not in the plan."""
    jobs = {job.id: job for job in known.problem.jobs}
    return [
        lines.with_draft(_reason(known, answer, jobs[name], known.wishes[name]), known.wishes[name].draft)
        for name in answer.left_out
    ]


def _reason(known: Gathered, answer: Answer, job: Job, wish: Wish) -> LeftOut:
    def out(code: str, says: str) -> LeftOut:
        return LeftOut(wish.line.id, str(wish.block.id), code, says)

    if not job.ways:
        return out("no_sprayer", Told(_("no sprayer fits this mix")))
    if not job.spells:
        return out(*_no_open_hour(known, answer, job, wish))
    longest = max(spell.end - spell.start for spell in job.spells)
    if job.shortest > longest:
        return out("too_long", _too_long(known, job, wish, longest))
    if not known.problem.crews:
        return out("no_crew", Told(_("there is no crew with people in it: make one")))
    able = [spell for spell in job.spells if any(crew.may(job, spell) for crew in known.problem.crews)]
    if not able:
        return out("crew_not_qualified", Told(UNTRAINED[job.asks]))
    return out(*_no_room(known, answer, job, wish))


def _no_open_hour(known: Gathered, answer: Answer, job: Job, wish: Wish) -> tuple[str, str]:
    frame = known.frame
    if wish.last_safe is not None and wish.last_safe.on < frame.first:
        says = _("the last safe day was %(on)s: look at the buds before anything is sprayed")
        return "no_open_day", Told(says, on=str(wish.last_safe.on))
    if wish.after > frame.last:
        return "too_early", Told(_("it may be done from %(on)s on: plan on to that day"), on=wish.after)
    if wish.stretches:
        return "block_closed", joined([*_closed(known, wish), *_earlier(known, answer, job, wish)], "; ")
    forbidden = sorted(set(wish.closed.values()))
    shut = [on for on in _days_of(known, wish) if on not in wish.closed]
    weather = list(_weather(known, wish, shut)) if shut or not forbidden else []
    code = "mix_stop" if forbidden else "no_open_day"
    return code, joined([*forbidden[:1], *weather, *_earlier(known, answer, job, wish)], "; ")


def _days_of(known: Gathered, wish: Wish) -> list[dt.date]:
    """Return the days of the plan on which a wish may be done."""
    last = known.frame.last if wish.last_safe is None else min(known.frame.last, wish.last_safe.on)
    return [on for on in known.frame.days if wish.after <= on <= last]


def _weather(known: Gathered, wish: Wish, days: list[dt.date]) -> Iterator[Told]:
    last, bbch = known.frame.last, ""
    says = _("no open hour from %(since)s to %(until)s")
    if wish.last_safe is not None:
        last, bbch = min(last, wish.last_safe.on), str(wish.line.stage[1])
        says = _("no open hour from %(since)s to %(until)s before %(bbch)s BBCH")
    since, until = min(days, default=wish.after), max(days, default=last)
    whole = Told(says, since=str(since), until=str(until), bbch=bbch)
    closed = [
        Told("%(limit)s (%(hours)s h)", limit=_limit(limit), hours=hours)
        for limit, hours in wish.opening.limits(days)
    ]
    if closed:
        because = Told(_("working hours are closed by %(limits)s"), limits=joined(closed, ", "))
        whole = joined((whole, because), ": ")
    yield whole


def _limit(name: str) -> str:
    return Told(LIMITS[name]) if name in LIMITS else name


def _closed(known: Gathered, wish: Wish) -> Iterator[Told]:
    """Yield what keeps a block closed in the hours that the weather leaves open."""
    frame = known.frame
    ends: dict[int, tuple[dt.date, int]] = {}
    for one, (_start, end) in known.closing(wish):
        if one is None and end > 0:
            says = _("nobody may enter before %(moment)s")
            yield Told(says, moment=f"{frame.moment(end):%Y-%m-%d %H:%M}")
        elif one is not None:
            on, held = one.order.starts_at.astimezone(frame.zone).date(), ends.get(one.order.number)
            ends[one.order.number] = on, max(end, held[1]) if held else end
    for number, (on, end) in ends.items():
        says = _(
            "order %(number)s is on the block on %(on)s, and by labels and re-entry this may follow from "
            "%(since)s on: plan on beyond that, or call that order off"
        )
        yield Told(says, number=number, on=on, since=_work_from(known, end))
    beside = max((end for _, end in known.shut[wish.id] if end > 0), default=0)
    if beside:
        says = _("what is sprayed beside it keeps people out until %(moment)s")
        yield Told(says, moment=f"{known.frame.moment(beside):%Y-%m-%d %H:%M}")
    elif not any(end > 0 for _, (_start, end) in known.closing(wish)):
        yield Told(_("the plan ends before its open hours, or begins after them: plan for longer"))


def _too_long(known: Gathered, job: Job, wish: Wish, longest: int) -> Told:
    takes, open_for = _hours(job.shortest), _hours(longest)
    says = _("it takes %(takes)s, and the longest open spell is %(longest)s: make smaller blocks of it")
    if wish.mix is not None:
        says = _(
            "it takes %(takes)s, and the longest open spell is %(longest)s: take a sprayer that gives more a "
            "minute, or make smaller blocks of it"
        )
        if _in_one_load(known, job, wish) <= longest:
            says = _(
                "it takes %(takes)s, and the longest open spell is %(longest)s: take a larger tank, or make "
                "smaller blocks of it"
            )
    return Told(says, takes=takes, longest=open_for)


def _in_one_load(known: Gathered, job: Job, wish: Wish) -> int:
    """Return the minutes that the quickest sprayer would take if its tank held all."""
    assert wish.mix is not None
    times = []
    for way in job.ways:
        sprayer = known.sprayers[way.tool or ""]
        loads = practice.loads_of(wish.mix.litres, sprayer.tank)
        times.append(practice.steps(way.minutes - way.road + way.road / loads))
    return min(times)


def _no_room(known: Gathered, answer: Answer, job: Job, wish: Wish) -> tuple[str, str]:
    """Say what takes the room of a job that has open hours, by the least that would give it some."""
    remedies = least_remedies(Case(known.problem, answer.placed, job))
    parts: list[str] = []
    if "interval" in remedies:
        parts += _neighbours(known, answer, job)
    if "stock_short" in remedies:
        parts += [_short(known, answer, job)]
    help_ = HELP[tuple(one for one in remedies if one in ("crew", "sprayer"))]
    if help_ or not parts:
        parts.append(_taken(known, answer, job, wish, help_))
    code = next((one for one in ("interval", "stock_short") if one in remedies), "no_crew")
    return code, joined(parts, "; ")


def _more_stock(case: Case) -> Case:
    stocks = tuple(replace(one, amount=10**18) for one in case.problem.stocks)
    return replace(case, problem=replace(case.problem, stocks=stocks))


def _block_alone(case: Case) -> Case:
    return replace(case, alone=True, problem=replace(case.problem, near={}))


def _more_crews(case: Case) -> Case:
    return replace(case, problem=replace(case.problem, crews=(*case.problem.crews, Crew(ANOTHER))))


def _more_sprayers(case: Case) -> Case:
    best = min(case.job.ways, key=lambda way: (way.minutes, way.tool or ""))
    return replace(
        case,
        problem=replace(case.problem, tools=(*case.problem.tools, Tool(ANOTHER))),
        job=replace(case.job, ways=(*case.job.ways, replace(best, tool=ANOTHER))),
    )


REMEDIES: dict[str, Callable[[Case], Case]] = {
    "stock_short": _more_stock,
    "interval": _block_alone,
    "crew": _more_crews,
    "sprayer": _more_sprayers,
}
HELP = {
    (): None,
    ("crew",): _("add a crew"),
    ("sprayer",): _("add a sprayer"),
    ("crew", "sprayer"): _("add a crew with a sprayer"),
}


def least_remedies(case: Case) -> tuple[str, ...]:
    """Return the fewest remedies that bring a job in; none where it only needs another search."""
    for number in range(len(REMEDIES) + 1):
        for names in combinations(REMEDIES, number):
            tried = case
            for name in names:
                tried = REMEDIES[name](tried)
            if tried.has_room:
                return names
    return ()


def _neighbours(known: Gathered, answer: Answer, job: Job) -> Iterator[Told]:
    """Yield what is planned on the same block, and when a job may follow it."""
    jobs = {one.id: one for one in known.problem.jobs}
    for one in answer.placed:
        other = jobs[one.job]
        line = known.wishes[one.job].line
        on = known.frame.moment(one.start).date()
        if other.block != job.block:
            if known.problem.meet(job, other):
                says = _("%(other)s on %(on)s is too near to be done at the same time")
                yield Told(says, other=known.wishes[one.job].block.name, on=on)
            continue
        gap = known.problem.gap(other, job)
        if gap > known.waits.most * DAY:
            says = _("by the label it may not follow %(other)s of %(on)s: leave one of the two out")
            yield Told(says, other=line.title, on=on)
        else:
            says = _(
                "%(other)s is on the block on %(on)s, and by labels and re-entry this may follow from "
                "%(since)s on: plan on beyond that, or leave one of the two out"
            )
            yield Told(says, other=line.title, on=on, since=_work_from(known, one.end + gap))


def _work_from(known: Gathered, minute: int) -> dt.date:
    """Return the day on which work may go on from a minute."""
    moment = known.frame.moment(min(minute, LONG_AGO))
    _begins, ends = practice.working_day()
    return moment.date() + dt.timedelta(days=moment.time() >= ends)


def _short(known: Gathered, answer: Answer, job: Job) -> Told:
    """Return what the store lacks for a job beside those that are planned."""
    jobs = {one.id: one for one in known.problem.jobs}
    lacks: dict[str, int] = {}
    for stock in known.problem.stocks:
        used = sum(
            jobs[one.job].needs.get(stock.product, 0) for one in answer.placed if stock.counts(one.start)
        )
        short = used + job.needs.get(stock.product, 0) - stock.amount
        if job.needs.get(stock.product) and short > 0:
            lacks[stock.product] = max(short, lacks.get(stock.product, 0))
    missing = [_lack(known, id, short) for id, short in lacks.items()]
    on = known.frame.moment(min(spell.start for spell in job.spells)).date()
    return Told(_("%(lacks)s: buy it before %(on)s"), lacks=joined(missing, "; "), on=str(on))


def _lack(known: Gathered, id: str, short: int) -> Told:
    product = known.products[id]
    amount = in_stock_unit(Decimal(short) / UNITS, product)
    amount = Quantity(AS_SHOWN.plus(amount.value), amount.unit)
    return Told(_("%(product)s is short by %(amount)s"), product=product.name, amount=words(amount))


def _taken(known: Gathered, answer: Answer, job: Job, wish: Wish, help_: str | None) -> Told:
    """Say on which days it could be done, that all are taken there, and what would help."""
    days = sorted({known.frame.moment(spell.start).date() for spell in job.spells})
    some = joined([Told("%(day)s", day=on) for on in days[:5]], ", ")
    told = joined((some, "…"), " ") if len(days) > 5 else some
    advice = [*([Told(help_)] if help_ else []), *_earlier(known, answer, job, wish)]
    first = advice[0] if advice else Told(_("wait for another open day"))
    for other in advice[1:]:
        first = Told(_("%(one)s or %(other)s"), one=first, other=other)
    says = _("open on %(days)s, but crews and sprayers are taken then: %(help)s")
    if wish.last_safe is None:
        return Told(says, days=told, help=first)
    says = _("open on %(days)s before %(last)s, but crews and sprayers are taken then: %(help)s")
    return Told(says, days=told, last=str(wish.last_safe.on), help=first)


def _earlier(known: Gathered, answer: Answer, job: Job, wish: Wish) -> Iterable[Told]:
    """Yield the last day before the plan on which the job would have found its place."""
    stocks = tuple(
        replace(stock, since=-LONG_AGO) if stock.since <= 0 else stock for stock in known.problem.stocks
    )
    problem = replace(known.problem, stocks=stocks)
    for spell in reversed(known.before(wish)):
        if Case(problem, answer.placed, replace(job, spells=(spell,), was=None)).has_room:
            yield Told(_("start on %(day)s"), day=known.frame.moment(spell.start).date())
            return


def _hours(minutes: int) -> str:
    return f"{minutes / 60:g} h"
