"""What a record flags: where a plan, a limit, the book or a time was passed."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext_noop as noop

from mixing.quantities import Quantity
from orchard.tasks import amounts, checks, elements, intervals
from orchard.tasks.models import Load, MixCheck
from orchard.tasks.services.told import Application, Json
from orchard.tasks.told import Told

RATE_EXCEEDED = "label.rate-above-maximum"


def of_plan(rows: Sequence[Load]) -> Iterator[Json]:
    """Yield where a load held more of a product than the plan, or one that the plan does not name."""
    for row in rows:
        planned = {one["id"]: one for one in (row.planned or {}).get("products", [])}
        for one in row.products:
            parts = [amounts.read(lot["amount"]) for lot in one["lots"]]
            meant = planned.get(one["product"])
            if meant is None:
                says = noop("load %(number)s: a product or a load that the plan does not name")
                yield _flag("limit_passed", Told(says, number=row.number))
            elif _more(parts, meant):
                facts = {
                    "number": row.number,
                    "mixed": " + ".join(map(amounts.words, parts)),
                    "planned": amounts.words(amounts.read(meant["exact"])),
                }
                says = noop("load %(number)s: %(mixed)s mixed, %(planned)s planned")
                yield _flag("limit_passed", Told(says, **facts))


def _more(parts: Sequence[Quantity], meant: Mapping[str, Any]) -> bool:
    """Say whether more was mixed than was planned, or than the plan said to measure."""
    exact = amounts.read(meant["exact"])
    if not parts or any(one.dimension != exact.dimension for one in parts):
        return False
    limit = max(
        exact.in_base(), sum((amounts.read(one).in_base() for one in meant.get("measure") or []), Decimal(0))
    )
    return sum((one.in_base() for one in parts), Decimal(0)) > limit


def of_book(deducted: Sequence[Load]) -> Iterator[Json]:
    """Yield which loads used more than the book held."""
    for row in deducted:
        if row.missing:
            missing = amounts.words(amounts.read(row.missing))
            says = noop("load %(number)s: the book held %(missing)s less than was used")
            yield _flag("limit_passed", Told(says, number=row.number, missing=missing))


def _flag(code: str, told: Told) -> Json:
    """Return a flag as it is kept: in English, and what that is made of."""
    return {"code": code, "says": str(told), "told": told.as_json()}


def of_limits(check: MixCheck | None) -> Iterator[Json]:
    """Yield the stops that the engine finds in what was really put on."""
    if check is None:
        return
    for finding in check.report["findings"]:
        if finding["severity"] == "stop":
            code = "rate_exceeded" if finding["id"] == RATE_EXCEEDED else "limit_passed"
            yield _flag(code, checks.in_each_language(check.request, finding))


def of_ground(report: Json | None) -> Iterator[Json]:
    """Yield that the ground is not known, so that no limit per area could be looked at."""
    missing = {one["what"] for one in (report or {}).get("not_checked", [])}
    if report is None or "spray.area" in missing:
        says = noop(
            "limits per area could not be checked: enter the area of the block and correct this record"
        )
        yield _flag("limit_passed", Told(says))


def of_labels(said: Application, found: Mapping[Any, intervals.Interval]) -> Iterator[Json]:
    """Yield which labels state no re-entry interval: unknown is never fine."""
    for line in said.lines:
        if found[line.product.key].re_entry is None and not found[line.product.key].adjuvant:
            says = noop("the label of %(product)s states no re-entry interval: ask first")
            yield _flag("limit_passed", Told(says, product=line.product.name))


def of_time(said: Application, *, now: dt.datetime) -> Iterator[Json]:
    """Yield that an entry came later after the application than the rules allow."""
    days = elements.days_until_late()
    if now - said.finished_at > dt.timedelta(days=days):
        late = (now - said.finished_at).days
        says = noop("entered %(late)s days after it; %(allowed)s are allowed")
        yield _flag("late_entry", Told(says, late=late, allowed=days))
