"""What a record flags: where a plan, a limit, the book or a time was passed."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any

from mixing.quantities import Quantity
from orchard.tasks import amounts, elements, intervals
from orchard.tasks.models import Load
from orchard.tasks.services.told import Application, Json

RATE_EXCEEDED = "label.rate-above-maximum"


def of_plan(rows: Sequence[Load]) -> Iterator[dict[str, str]]:
    """Yield where a load held more of a product than the plan, or one that the plan does not name."""
    for row in rows:
        planned = {one["id"]: one for one in (row.planned or {}).get("products", [])}
        for one in row.products:
            parts = [amounts.read(lot["amount"]) for lot in one["lots"]]
            meant = planned.get(one["product"])
            if meant is None:
                yield _passed(f"load {row.number}: a product or a load that the plan does not name")
            elif _more(parts, meant):
                told = " + ".join(map(amounts.words, parts))
                yield _passed(
                    f"load {row.number}: {told} mixed, {amounts.words(amounts.read(meant['exact']))} planned"
                )


def _more(parts: Sequence[Quantity], meant: Mapping[str, Any]) -> bool:
    """Say whether more was mixed than was planned, or than the plan said to measure."""
    exact = amounts.read(meant["exact"])
    if not parts or any(one.dimension != exact.dimension for one in parts):
        return False
    limit = max(
        exact.in_base(), sum((amounts.read(one).in_base() for one in meant.get("measure") or []), Decimal(0))
    )
    return sum((one.in_base() for one in parts), Decimal(0)) > limit


def of_book(deducted: Sequence[Load]) -> Iterator[dict[str, str]]:
    """Yield which loads used more than the book held."""
    for row in deducted:
        if row.missing:
            missing = amounts.words(amounts.read(row.missing))
            yield _passed(f"load {row.number}: the book held {missing} less than was used")


def _passed(says: str) -> dict[str, str]:
    return {"code": "limit_passed", "says": says}


def of_limits(report: Json | None) -> Iterator[Json]:
    """Yield the stops that the engine finds in what was really put on."""
    for finding in (report or {}).get("findings", []):
        if finding["severity"] == "stop":
            code = "rate_exceeded" if finding["id"] == RATE_EXCEEDED else "limit_passed"
            yield {"code": code, "says": finding["says"]}


def of_ground(report: Json | None) -> Iterator[Json]:
    """Yield that the ground is not known, so that no limit per area could be looked at."""
    missing = {one["what"] for one in (report or {}).get("not_checked", [])}
    if report is None or "spray.area" in missing:
        says = "limits per area could not be checked: enter the area of the block and correct this record"
        yield {"code": "limit_passed", "says": says}


def of_labels(said: Application, found: Mapping[Any, intervals.Interval]) -> Iterator[Json]:
    """Yield which labels state no re-entry interval: unknown is never fine."""
    for line in said.lines:
        if found[line.product.key].re_entry is None and not found[line.product.key].adjuvant:
            says = f"the label of {line.product.name} states no re-entry interval: ask first"
            yield {"code": "limit_passed", "says": says}


def of_time(said: Application, *, now: dt.datetime) -> Iterator[Json]:
    """Yield that an entry came later after the application than the rules allow."""
    days = elements.days_until_late()
    if now - said.finished_at > dt.timedelta(days=days):
        yield {
            "code": "late_entry",
            "says": f"entered {(now - said.finished_at).days} days after it; {days} are allowed",
        }
