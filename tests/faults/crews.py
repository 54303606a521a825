"""Sixteen phones that tell of loads over HTTP, and do not give up before each is taken."""

from __future__ import annotations

import datetime as dt
import http.client
import json
import random
import threading
import time
import uuid
from collections.abc import Callable
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from uuid6 import uuid7

ANSWER_SECONDS = 15
LONGEST_TRY = 180
"""So long a phone tries one request [s]; then the run says that something was never taken."""
CLOCKS_OFF = 1 / 6
"""So many loads are told by a phone whose clock is hours off."""
NOT_NOW = {500, 502, 503, 504}
CALM = {
    "wind": {"value": "4", "unit": "mph"},
    "temperature": {"value": "55", "unit": "degF"},
    "people_out": True,
    "rain_within_h": "72",
}


@dataclass(frozen=True, slots=True)
class Place:
    """What one crew works with."""

    block: str
    sprayer: str
    crew: str


@dataclass(frozen=True, slots=True)
class Farm:
    """Where the phones call, and with what."""

    port: int
    path: str
    office: str
    crew: str
    product: str
    lots: tuple[str, ...]


@dataclass(slots=True)
class Told:
    """What a phone remembers: the truth that the books are held against."""

    loads: dict[str, dict[str, Decimal]] = field(default_factory=dict)
    """Of each load that was taken, what it used of each lot [lb]."""
    orders: dict[str, int] = field(default_factory=dict)
    """Of each order how many loads it has."""
    tries: int = 0
    again: int = 0
    never: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)


def new_id() -> str:
    return str(uuid.UUID(int=uuid7().int))


class Phone:
    """One caller: sends a request until it is answered, whatever happens to the servers."""

    def __init__(self, farm: Farm, chance: random.Random, told: Told, lock: threading.Lock) -> None:
        self.farm, self.chance, self.told, self.lock = farm, chance, told, lock
        self._connection: http.client.HTTPConnection | None = None

    def send(self, method: str, path: str, body: Any, *, token: str, **headers: str) -> tuple[int, Any, str]:
        """Return status, body and ETag of the first answer that is one."""
        until = time.monotonic() + LONGEST_TRY
        while time.monotonic() < until:
            try:
                status, answer, etag = self._once(method, path, body, token=token, headers=headers)
            except (OSError, http.client.HTTPException, ValueError):
                self._hang_up()
                status = 0
            with self.lock:
                self.told.tries += 1
            if status and status not in NOT_NOW and "idempotency_in_progress" not in json.dumps(answer):
                return status, answer, etag
            time.sleep(self.chance.uniform(0.05, 0.5))
        return 0, None, ""

    def _once(
        self, method: str, path: str, body: Any, *, token: str, headers: dict[str, str]
    ) -> tuple[int, Any, str]:
        if self._connection is None:
            self._connection = http.client.HTTPConnection("127.0.0.1", self.farm.port, timeout=ANSWER_SECONDS)
        sent = {"Authorization": f"Bearer {token}", "Content-Type": "application/json", **headers}
        raw = None if body is None else json.dumps(body)
        self._connection.request(method, f"{self.farm.path}/{path}", body=raw, headers=sent)
        response = self._connection.getresponse()
        answer = response.read()
        return response.status, json.loads(answer), response.headers.get("ETag", "")

    def _hang_up(self) -> None:
        if self._connection is not None:
            self._connection.close()
        self._connection = None

    # what a crew and its office do

    def work(self, place: Place, loads: int) -> None:
        """Have an order issued, tell its loads and finish it."""
        path = self._order_under_way(place, loads)
        if path is None:
            return
        with self.lock:
            self.told.orders[path.split("/")[1]] = loads
        for number in range(1, loads + 1):
            self.tell(path, number)
        finished = {"id": new_id(), "nothing_unusual": True}
        self._act(path, "finish", finished, token=self.farm.crew, etag="*")

    def _order_under_way(self, place: Place, loads: int) -> str | None:
        spray = {"value": str(50 * loads), "unit": "gal"}
        body = {
            "id": new_id(),
            "kind": "spray",
            "block": place.block,
            "sprayer": place.sprayer,
            "crew": place.crew,
            "starts_at": dt.datetime.now(dt.UTC).isoformat(),
            "spray": {"total": spray},
            "products": [{"product": self.farm.product, "rate": {"value": "0.32", "unit": "oz_wt/gal"}}],
            "targets": ["leaf curl"],
        }
        key = {"Idempotency-Key": new_id()}
        status, answer, etag = self.send("POST", "work-orders", body, token=self.farm.office, **key)
        if not self._expect(status == 201, "POST work-orders", status, answer):
            return None
        path = f"work-orders/{answer['id']}"
        for action, said, token in (
            ("issue", {}, self.farm.office),
            ("accept", {}, self.farm.crew),
            ("start", {"observed": CALM}, self.farm.crew),
        ):
            etag = self._act(path, action, said, token=token, etag=etag)
            if not etag:
                return None
        return path

    def _act(self, path: str, action: str, said: Any, *, token: str, etag: str) -> str:
        """Act on what the last answer showed, and read only where that is refused; return the new ETag."""
        key = new_id()
        for _ in range(5):
            headers = {"If-Match": etag, "Idempotency-Key": key}
            status, answer, now = self.send("POST", f"{path}/actions/{action}", said, token=token, **headers)
            if status not in (409, 412):
                break
            _, order, etag = self.send("GET", path, None, token=token)
            if _is_done(order, action):
                return etag
        return now if self._expect(status == 200, f"{action} of {path}", status, answer) else ""

    def tell(self, path: str, number: int) -> None:
        """Tell of one load: as often as it takes, and one in three once more after it was taken."""
        used = self._used()
        body: dict[str, Any] = {
            "id": new_id(),
            "number": number,
            "spray": {"value": "50", "unit": "gal"},
            "products": [{"product": self.farm.product, "lots": [_lot(lot, used[lot]) for lot in used]}],
        }
        hours = self.chance.choice([-9, -5, -2, 3, 7]) if self.chance.random() < CLOCKS_OFF else 0
        body["at"] = (dt.datetime.now(dt.UTC) + dt.timedelta(hours=hours)).isoformat()
        status, answer = self._record(path, body)
        if hours and status == 422 and '"/at"' in json.dumps(answer):
            del body["at"]  # the phone is told that its clock is hours off, and lets the server say when
            status, answer = self._record(path, body)
        if not self._expect(status == 200, f"load {number} of {path}", status, answer):
            return
        with self.lock:
            self.told.loads[body["id"]] = used
        if self.chance.random() < 1 / 3:
            status, answer = self._record(path, body)
            self._expect(status == 200, f"load {number} of {path} again", status, answer)
            with self.lock:
                self.told.again += 1

    def _used(self) -> dict[str, Decimal]:
        """Return what a load took: about a pound as planned, from one lot or two, now and then much more."""
        lots = self.chance.sample(self.farm.lots, self.chance.choice([1, 1, 2]))
        most = 300 if self.chance.random() < 0.9 else 900
        return {lot: Decimal(self.chance.randint(20, most)) / 100 / len(lots) for lot in lots}

    def _record(self, path: str, body: Any) -> tuple[int, Any]:
        headers = {"If-Match": "*"}
        status, answer, _ = self.send(
            "POST", f"{path}/actions/record_load", body, token=self.farm.crew, **headers
        )
        return status, answer

    def _expect(self, holds: bool, what: str, status: int, answer: Any) -> bool:
        if not holds:
            with self.lock:
                (self.told.wrong if status else self.told.never).append(f"{what}: {status} {answer}"[:400])
        return holds


def _is_done(order: Any, action: str) -> bool:
    after = {"issue": "issued", "accept": "accepted", "start": "under_way", "finish": "done"}
    return isinstance(order, dict) and order.get("status") == after[action]


def _lot(lot: str, pounds: Decimal) -> dict[str, Any]:
    return {"lot": lot, "amount": {"value": f"{pounds:f}", "unit": "lb"}}


def at_work(
    farm: Farm,
    places: list[list[Place]],
    shares: list[list[int]],
    *,
    seed: int,
    meanwhile: Callable[[int], None],
) -> Told:
    """Let one phone a list of places work through its orders, all at once; return what they remember.

    :param places: for each phone the places it goes to, one an order
    :param shares: for each phone how many loads each of its orders has
    :param meanwhile: called while they work, ten times a second, with how many loads were taken
    """
    told, lock = Told(), threading.Lock()

    def one(number: int) -> None:
        phone = Phone(farm, random.Random(f"{seed}-{number}"), told, lock)
        for place, loads in zip(places[number], shares[number], strict=True):
            phone.work(place, loads)

    threads = [threading.Thread(target=one, args=(number,)) for number in range(len(places))]
    for thread in threads:
        thread.start()
    while any(thread.is_alive() for thread in threads):
        meanwhile(len(told.loads))
        time.sleep(0.1)
    return told
