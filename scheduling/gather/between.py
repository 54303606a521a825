"""How many days lie between two sprays of one block: the engine is asked, with the first as history.

So all counts that an issue would be refused for: a label's interval and those to other products, published
ones, the number of sprays and the amounts of a year.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any

import mixing
from mixing.quantities import plain
from orchard.tasks.models import MixCheck
from orchard.tasks.resolving import UPWARD
from scheduling.assignment.problem import DAY
from scheduling.gather.mixes import overridden, without_the_day

Stops = frozenset[tuple[str, tuple[str, ...]]]
"""Stops by their ids and products."""
History = list[dict[str, Any]]
HALF_A_DAY = DAY // 2


class Waits:
    """The days between mixes, each pair worked out once.

    :ivar most: days after which nobody asks any more; a wait that never ends is one longer
    """

    def __init__(self, *, most: int, now: dt.datetime) -> None:
        self.most, self.now = most, now
        self._intervals: dict[tuple[str, str], int] = {}
        self._alone: dict[tuple[int, bool], Stops] = {}

    def days(self, first: MixCheck, then: MixCheck) -> int:
        """Return on which day after the first spray the second may come; 0 for the same day."""
        done = then.request.get("history") or []
        if self._stopped(first, then, done, self.most):
            return self.most + 1  # a number or an amount of a year is reached, however long one waits
        key = _same_tank(first), _same_tank(then)
        if key not in self._intervals:
            self._intervals[key] = self._interval(first, then)
        return self._intervals[key]

    def minutes(self, first: MixCheck, then: MixCheck) -> int:
        """Return the wait from the end of the one to the start of the other.

        Intervals are counted in days, and work is done by day: half a day less than the days tells a start
        on the day before from one on the day, whatever the hours.
        """
        days = self.days(first, then)
        return days * DAY - HALF_A_DAY if days else 0

    def _interval(self, first: MixCheck, then: MixCheck) -> int:
        if not self._stopped(first, then, [], 0):
            return 0
        low, high = 0, self.most + 1
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (middle, high) if self._stopped(first, then, [], middle) else (low, middle)
        return high

    def _stopped(self, first: MixCheck, then: MixCheck, done: History, days: int) -> bool:
        """Say whether the one, so many days before, stops of the other what nothing else stops."""
        at = dt.datetime.fromisoformat(then.request["at"])
        before = applications(first, on=at.date() - dt.timedelta(days=days))
        known = (id(then), bool(done))
        if known not in self._alone:
            self._alone[known] = self._stops(then, done)
        return bool(self._stops(then, [*done, *before]) - self._alone[known])

    def _stops(self, check: MixCheck, history: History) -> Stops:
        asked = {**without_the_day(check.request), "at": check.request["at"], "history": history}
        taken = overridden(check, now=self.now)
        return frozenset(
            (one["id"], tuple(one["products"]))
            for one in mixing.check_mix(asked)["findings"]
            if one["severity"] == "stop" and one["id"] not in taken
        )


def applications(check: MixCheck, *, on: dt.date) -> Iterator[dict[str, Any]]:
    """Yield what a mix will have put on, as the engine reads what was done."""
    request = check.request
    area, bbch = (request.get("spray") or {}).get("area"), (request.get("stage") or {}).get("bbch")
    totals = {one["id"]: one["exact"] for one in check.report["totals"]}
    for product in request["products"]:
        entry = {"on": on.isoformat(), "label": product["label"], "rate": product["rate"]}
        if bbch is not None:
            entry["bbch"] = bbch
        if area and totals.get(product["id"]):
            entry |= {"area": area, "rate": _per_area(totals[product["id"]], area)}
        yield entry


def _per_area(total: Mapping[str, str], area: Mapping[str, str]) -> dict[str, str]:
    """Return an amount per area, told no smaller than it is."""
    rate = UPWARD.divide(Decimal(total["value"]), Decimal(area["value"]))
    return {"value": plain(rate), "unit": f"{total['unit']}/{area['unit']}"}


def _same_tank(check: MixCheck) -> str:
    """Return the same for checks that differ in nothing that an interval depends on."""
    asked = check.request
    return repr([asked.get(name) for name in ("crop", "stage", "region", "targets", "at", "products")])
