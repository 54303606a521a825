"""One farm's program sends fifty times what it may, and another's waits no longer: `… crowd`.

A real web server with a small allowance a minute. The polite one asks for its schedule at half its allowance,
first alone, then beside one that sends fifty times its own and is refused for it nearly always.
"""

from __future__ import annotations

import http.client
import statistics
import threading
import time
from collections import Counter
from typing import Any

from django.utils import timezone

from tests import database
from tests.bench import farms_rows, load
from tests.callers import Caller
from tests.faults.promises import Promise

A_MINUTE, TIMES = 120, 50
MOST = 2.0
LINES = 8
"""Connections over which the hostile one sends."""


class Sender(threading.Thread):
    """Somebody who asks for the schedule at a steady pace over a connection of its own."""

    def __init__(
        self, port: int, caller: Caller, *, every_s: float, seconds: float, after_s: float = 0
    ) -> None:
        super().__init__()
        self.after_s = after_s
        self.port, self.caller, self.every_s, self.seconds = port, caller, every_s, seconds
        self.times: list[float] = []
        self.statuses: Counter[int] = Counter()
        self.silent = 0

    def run(self) -> None:
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        begin, turn = time.monotonic() + self.after_s, 0
        while (at := begin + turn * self.every_s) < begin + self.seconds:
            time.sleep(max(0.0, at - time.monotonic()))
            if time.monotonic() > begin + self.seconds:
                break
            began, turn = time.monotonic(), turn + 1
            line.request("GET", self.caller.at("schedule"), headers=self._headers())
            answer = line.getresponse()
            answer.read()
            self.times.append(time.monotonic() - began)
            self.statuses[answer.status] += 1
            self.silent += answer.status == 429 and "Retry-After" not in answer.headers
        line.close()

    def _headers(self) -> dict[str, str]:
        return {"Authorization": f"Bearer {self.caller.secret}"}


def main(*, seconds: int) -> int:
    """Run, print one line a promise and the times, and return the exit status."""
    farms = farms_rows.make_farms(2)
    farms_rows.fill(farms, orders=2000, movements=2000, now=timezone.now())
    polite, hostile = (Caller(one.farm, "manager") for one in farms)
    environment = {**database.environment(), "RATE_LIMIT_PER_MINUTE": str(A_MINUTE)}
    with load.serving(environment) as port:
        pace: dict[str, Any] = {"every_s": 2 * 60 / A_MINUTE, "seconds": seconds}
        _sent([Sender(port, polite, every_s=0.5, seconds=5)])
        (alone,) = _sent([Sender(port, polite, **pace)])
        many = {"every_s": LINES * 60 / (A_MINUTE * TIMES), "seconds": seconds}
        crowd = [
            Sender(port, hostile, after_s=turn * many["every_s"] / LINES, **many) for turn in range(LINES)
        ]
        beside = _sent([Sender(port, polite, **pace), *crowd])[0]
    sent = sum((one.statuses for one in crowd), Counter[int]())
    waits = Promise(f"p95 of the polite one at most {MOST:g} times what it is alone")
    before, after = _p95(alone.times), _p95(beside.times)
    waits.look(after <= MOST * before, f"{before * 1000:.0f} ms became {after * 1000:.0f} ms")
    answered = Promise("the polite one is never refused")
    for status, count in (alone.statuses + beside.statuses).items():
        answered.look(status == 200, f"{count} answers were {status}")
    told = Promise("each 429 says when to come again")
    told.look(not sum(one.silent for one in crowd) and sent[429] > 0, f"{dict(sent)}")
    rate = sum(sent.values()) / seconds * 60 / A_MINUTE
    print(
        f"p95 alone {before * 1000:.0f} ms, beside {after * 1000:.0f} ms ({after / before:.2f} times); the"
        f" other sent {sum(sent.values())} in {seconds} s, {rate:.0f} times its allowance, {sent[429]}"
        " refused"
    )
    promises = [waits, answered, told]
    print("\n".join(promise.line() for promise in promises))
    return 1 if any(promise.violations for promise in promises) else 0


def _sent(senders: list[Sender]) -> list[Sender]:
    for one in senders:
        one.start()
    for one in senders:
        one.join()
    return senders


def _p95(times: list[float]) -> float:
    return statistics.quantiles(times, n=20)[18]
