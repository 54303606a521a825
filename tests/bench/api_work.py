"""The requests of `tests.bench.api`, and what they are measured against."""

from __future__ import annotations

import copy
import datetime as dt
import gc
import io
import json
import random
import statistics
import sys
import time
import uuid
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.core.wsgi import get_wsgi_application
from django.db import connection, connections
from django.db.models import QuerySet
from django.db.utils import load_backend
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from orchard.config import database, preparation
from orchard.farms import fence, services
from orchard.farms.actors import SYSTEM
from orchard.farms.api.journals import cursor_of
from orchard.farms.models import Change
from orchard.inventory import proof
from orchard.inventory.models import Movement
from orchard.tasks.models import WorkOrder
from tests.bench import farms_rows
from tests.bench.api_raw import Raw, closed
from tests.bench.farms_rows import Filled
from tests.bench.measure import BLOCKS, Result

PAIRS = 60
"""Requests of each side in one block."""
ASKED = 60
"""Different pages of each kind."""
MOST_RATIO, MOST_EMPTY, MOST_GROWTH, MOST_TAIL, MOST_FENCE = 2.5, 6.0, 1.3, 2.0, 1.2
MOST_QUERIES = 3
FILLED_AT = dt.datetime(2026, 1, 1, tzinfo=dt.UTC), dt.datetime(2026, 2, 1, tzinfo=dt.UTC)
LARGE = "orchard_large"
NAMES = {"schedule": "schedule", "changes": "change feed", "movements": "stock movements"}
PATHS = {"schedule": "schedule", "changes": "changes", "movements": "stock-movements"}

application = get_wsgi_application()
Work = Callable[[], object]
Query = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Asked:
    """One page that is asked for."""

    farm: uuid.UUID
    query: Query
    environ: Mapping[str, Any]


def measured(*, orders: int, movements: int) -> list[Result]:
    """Fill, check that both sides give the same, and measure everything."""
    preparation.prepare()
    farms = farms_rows.make_farms()
    secrets = {one.farm.id: _token(one) for one in farms}
    _say(f"filling {orders // 10} work orders and {movements // 10} movements")
    farms_rows.fill(farms, orders=orders // 10, movements=movements // 10, now=FILLED_AT[0])
    broken = list(proof.differences())
    assert not broken, broken
    _copy_database(LARGE)
    database.one_farm_at_a_time(settings.DATABASES)  # as a web process begins
    places = {"small": _connection("default")}
    with _at(_connection("owner", LARGE), alias="owner"):
        _say(f"filling up to {orders} work orders and {movements} movements")
        rest = orders - orders // 10, movements - movements // 10
        farms_rows.fill(farms, orders=rest[0], movements=rest[1], now=FILLED_AT[1])
        places |= {"large": _connection("default", LARGE), "owner": _connection("owner", LARGE)}
        raw = Raw(zone=farms[0].farm.zone)
    pages = {name: _pages(places[name], farms, secrets) for name in ("small", "large")}
    gc.collect()
    gc.freeze()  # as a web process does when it has loaded
    size = f"{orders} orders, {movements} movements"
    found = [row for kind in PATHS for row in _of_pages(kind, size, places, pages, raw)]
    return [*found, _of_nothing(places["large"], pages["large"]["schedule"])]


def _say(what: str) -> None:
    print(f"{dt.datetime.now():%H:%M:%S} {what}", file=sys.stderr, flush=True)  # noqa: DTZ005


def _token(one: Filled) -> str:
    made = services.add_token(farm=one.farm, name="bench", role="manager", by=SYSTEM, now=timezone.now())
    return made.secret


# databases


def _copy_database(name: str) -> None:
    owner = connections["owner"]
    for one in connections.all():
        one.close()
    preparation.create_database(owner, name=name, template=str(owner.settings_dict["NAME"]))


def _connection(alias: str, name: str | None = None) -> Any:
    """Return a connection of its own, with no farm open, to a database of this server."""
    said = copy.deepcopy(connections[alias].settings_dict)
    said["NAME"] = name or said["NAME"]
    return load_backend(said["ENGINE"]).DatabaseWrapper(said, "default")


@contextmanager
def _at(place: Any, alias: str = "default") -> Iterator[None]:
    """Let everything go through this connection."""
    before = connections[alias]
    connections[alias] = place
    try:
        yield
    finally:
        connections[alias] = before


# requests


def _pages(place: Any, farms: Sequence[Filled], secrets: Mapping[uuid.UUID, str]) -> dict[str, list[Asked]]:
    """Return pages of every kind, begun anywhere but in the last two hundred rows of a farm."""
    chance = random.Random(1)
    found: dict[str, list[Asked]] = {kind: [] for kind in PATHS}
    with _at(place):
        for turn in range(ASKED):
            farm = farms[turn % len(farms)].farm
            with fence.opened(farm.id):
                for kind, query in _queries(farm, turn, chance):
                    environ = _environ(f"/api/v1/farms/{farm.id}/{PATHS[kind]}", secrets[farm.id], query)
                    found[kind].append(Asked(farm.id, query, environ))
    return found


def _queries(farm: Any, turn: int, chance: random.Random) -> Iterator[tuple[str, Query]]:
    order = _any(WorkOrder.objects.for_farm(farm).order_by("starts_at", "id"), chance)
    begin = order.starts_at.isoformat()
    yield (
        "schedule",
        {"from": begin} if turn % 2 else {"cursor": closed(farm.id, begin, str(order.id))},
    )
    change = _any(Change.objects.for_farm(farm), chance)
    yield "changes", {"after": cursor_of((change.transaction_number, change.seq), farm=farm.id)}
    line = _any(Movement.objects.for_farm(farm), chance)
    yield "movements", {"cursor": closed(farm.id, str(line.id))}


def _any(rows: QuerySet[Any], chance: random.Random) -> Any:
    return rows[chance.randrange(max(1, rows.count() - 200))]


def _environ(path: str, secret: str, query: Query | None = None) -> dict[str, Any]:
    return {
        "REQUEST_METHOD": "GET",
        "PATH_INFO": path,
        "SCRIPT_NAME": "",
        "QUERY_STRING": urlencode(query or {}),
        "SERVER_NAME": "testserver",
        "SERVER_PORT": "80",
        "SERVER_PROTOCOL": "HTTP/1.1",
        "REMOTE_ADDR": "127.0.0.1",
        "HTTP_HOST": "testserver",
        "HTTP_ACCEPT": "application/json",
        "HTTP_AUTHORIZATION": f"Bearer {secret}",
        "wsgi.version": (1, 0),
        "wsgi.url_scheme": "http",
        "wsgi.errors": sys.stderr,
    }


def _answer(environ: Mapping[str, Any]) -> bytes:
    """Return the body of the answer, as a web server gets it."""
    status = ""

    def start(said: str, headers: Any, failure: Any = None) -> None:
        nonlocal status
        status = said

    response = application({**environ, "wsgi.input": io.BytesIO()}, start)
    body = b"".join(response)
    response.close()
    assert status == "200 OK", (status, body)
    return body


def _statements(place: Any, environ: Mapping[str, Any]) -> int:
    """Return how many statements one request sends, apart from where its transaction begins and ends."""
    with _at(place):
        _answer(environ)
        with CaptureQueriesContext(connection) as caught:
            _answer(environ)
    return sum(query["sql"] not in ("BEGIN", "COMMIT") for query in caught.captured_queries)


# measuring


@dataclass(frozen=True, slots=True)
class Compared:
    """What two works took in turns [ms], and the ratios of the medians of each block."""

    floor_ms: float
    ours_ms: float
    ratios: tuple[float, ...]
    tail: float
    """p95 / p50 of ours."""

    @property
    def ratio(self) -> float:
        """The ratio that counts."""
        return statistics.median(self.ratios)


def _compare(floors: Sequence[Work], ours: Sequence[Work]) -> Compared:
    """Let both sides work in turns, pair by pair."""
    ratios, all_floors, all_ours = [], [], []
    for block in range(-1, BLOCKS):  # the first is for warming up
        pairs = [(_ms(floors[turn % len(floors)]), _ms(ours[turn % len(ours)])) for turn in range(PAIRS)]
        if block >= 0:
            below, above = zip(*pairs, strict=True)
            ratios.append(statistics.median(above) / statistics.median(below))
            all_floors += below
            all_ours += above
    middle = statistics.median(all_ours)
    tail = statistics.quantiles(all_ours, n=20)[-1] / middle
    return Compared(statistics.median(all_floors), middle, tuple(ratios), tail)


def _ms(work: Work) -> float:
    began = time.perf_counter()
    work()
    return (time.perf_counter() - began) * 1000


def _row(work: str, size: str, compared: Compared, most: float, queries: int | None = None) -> Result:
    met, goal = compared.ratio <= most, f"<= {most:g} x"
    if queries is not None:
        met, goal = met and queries <= MOST_QUERIES, f"{goal}, <= {MOST_QUERIES} queries"
    return Result(
        work=work,
        size=size,
        floor_ms=compared.floor_ms,
        ours_ms=compared.ours_ms,
        ratios=(min(compared.ratios), max(compared.ratios)),
        spread=compared.tail,
        queries=queries,
        goal=goal,
        met=met,
    )


def _of_pages(
    kind: str, size: str, places: Mapping[str, Any], pages: Mapping[str, Mapping[str, list[Asked]]], raw: Raw
) -> list[Result]:
    """Return the rows of one kind of page."""
    _say(f"measuring {NAMES[kind]}")
    large, small = pages["large"][kind], pages["small"][kind]
    floors = [_raw_page(raw, kind, asked) for asked in large]
    ours = [_page(places["large"], asked) for asked in large]
    for floor, our in zip(floors, ours, strict=True):
        _demand_equal(floor(), our())
    name = f"{NAMES[kind]}, 100 rows"
    whole = _compare(floors, ours)
    grown = _compare([_page(places["small"], asked) for asked in small], ours)
    fenced = _compare([_page(places["owner"], asked) for asked in large], ours)
    return [
        _row(name, size, whole, MOST_RATIO, _statements(places["large"], large[0].environ)),
        _tail(f"{name}: p95 beside p50", whole),
        _row(f"{name}: ten times the rows", "beside a tenth", grown, MOST_GROWTH),
        _row(f"{name}: row-level security", "beside the owner's role", fenced, MOST_FENCE),
    ]


def _page(place: Any, asked: Asked) -> Callable[[], bytes]:
    def ask() -> bytes:
        connections["default"] = place
        return _answer(asked.environ)

    return ask


def _raw_page(raw: Raw, kind: str, asked: Asked) -> Callable[[], bytes]:
    answer: Callable[[uuid.UUID, Query], bytes] = getattr(raw, kind)
    return lambda: answer(asked.farm, asked.query)


def _demand_equal(floor: bytes, ours: bytes) -> None:
    expected, found = json.loads(floor), json.loads(ours)
    assert len(found["items"]) == 100, "not 100 rows"
    for one, other in zip(expected.pop("items"), found.pop("items"), strict=True):
        assert one == other, f"not the same JSON:\n{one}\n{other}"
    assert expected == found, f"not the same JSON:\n{expected}\n{found}"


def _tail(work: str, compared: Compared) -> Result:
    return Result(
        work=work,
        size="all requests of the row above",
        floor_ms=None,
        ours_ms=compared.ours_ms,
        ratios=None,
        spread=compared.tail,
        goal=f"<= {MOST_TAIL:g} x",
        met=compared.tail <= MOST_TAIL,
    )


def _of_nothing(place: Any, pages: Sequence[Asked]) -> Result:
    """Return the row of an endpoint that lets in and does nothing, beside a view that does nothing."""
    secret = pages[0].environ["HTTP_AUTHORIZATION"].removeprefix("Bearer ")
    plain = _environ("/plain", secret)
    empty = _environ(f"/api/v1/farms/{pages[0].farm}/nothing", secret)
    with _at(place):
        compared = _compare([lambda: _answer(plain)], [lambda: _answer(empty)])
    queries = _statements(place, empty)
    return _row("an endpoint that does nothing", "beside a plain view", compared, MOST_EMPTY, queries)
