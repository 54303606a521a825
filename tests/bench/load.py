"""Two hundred clients at once, for a minute, at the web server that `serve` and the image run.

gunicorn with the settings of this project and a PostgreSQL of its own, on a port of its own. Each client
keeps one connection, has a token of its own, since a token has its minute of requests, and belongs to one of
the farms. It pulls pages of the schedule, follows the change feed from its beginning, and now and then tells
of a scouting count, with a key, as partners and phones do. It asks again as soon as it is answered.
"""

from __future__ import annotations

import http.client
import itertools
import json
import math
import os
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.bench.measure import Result

CONNECTIONS, SECONDS = 200, 60
WARM_REQUESTS = 5
"""Of each client before the clock starts: the web process has its threads, connections and caches then."""
SETTLED_S = 10
"""So long after that its memory is measured first."""
MOST_GROWTH = 1.05
READY_S = 120
TURN = ("schedule", "changes") * 4 + ("scouting", "changes")
"""What a client asks for, over and over; one in ten writes."""
PATIENCE_S = 60
KIB = 1024


def results(*, connections: int = CONNECTIONS, seconds: int = SECONDS) -> list[Result]:
    """Return the rows of the load family.

    :param connections: clients at once
    :param seconds: so long they ask [s]
    """
    with tempfile.TemporaryDirectory(prefix="orchard-bench-", ignore_cleanup_errors=True) as folder:
        environment = {k: v for k, v in os.environ.items() if not k.startswith(("DATABASE_", "REDIS_"))}
        environment |= {"ORCHARD_FOLDER": folder, "DJANGO_SETTINGS_MODULE": "orchard.config.settings"}
        with _web_server(environment, Path(folder)) as (process, port):
            told = subprocess.run(
                [sys.executable, "-m", "tests.bench.load", str(connections)],
                env=environment,
                stdout=subprocess.PIPE,
                check=True,
            )
            clients = [Client(port, turn, **one) for turn, one in enumerate(json.loads(told.stdout))]
            return _rows(clients, seconds, *_let_ask(clients, seconds, process.pid))


@contextmanager
def serving(environment: dict[str, str]) -> Iterator[int]:
    """Run the web server on a database of its own or the one that is named; give its port."""
    with (
        tempfile.TemporaryDirectory(prefix="orchard-bench-", ignore_cleanup_errors=True) as folder,
        _web_server(environment, Path(folder)) as (_, port),
    ):
        yield port


@contextmanager
def _web_server(environment: dict[str, str], folder: Path) -> Iterator[tuple[subprocess.Popen[bytes], int]]:
    """Run gunicorn as `manage.py serve` does, on a prepared database."""
    with socket.create_server(("127.0.0.1", 0)) as probe:
        port = probe.getsockname()[1]
    subprocess.run(
        [sys.executable, "manage.py", "prepare_database"], env=environment, check=True, stdout=sys.stderr
    )
    command = [sys.executable, "-m", "gunicorn", "-c", "python:orchard.config.gunicorn_settings"]
    command += ["--bind", f"127.0.0.1:{port}", "orchard.config.wsgi"]
    with (folder / "web.log").open("wb") as log:
        process = subprocess.Popen(command, env=environment, stdout=log, stderr=log)
        try:
            _wait_for(port)
            yield process, port
        finally:
            process.terminate()
            process.wait(30)


def _wait_for(port: int) -> None:
    for _ in range(READY_S * 5):
        try:
            asked = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
            asked.request("GET", "/healthz")
            if asked.getresponse().status == http.HTTPStatus.OK:
                return
        except OSError:
            time.sleep(0.2)
    raise TimeoutError("the web server does not answer")


# the clients


@dataclass(slots=True)
class Client:
    """One connection that asks again and again.

    :ivar errors: what was no 200 or 201, in words
    """

    port: int
    turn: int
    farm: str
    block: str
    secret: str
    after: str = ""
    times: list[float] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)

    def ask(self, *, until: float = math.inf, at_most: int | None = None) -> None:
        """Ask until the clock (`time.monotonic`) says so much, or so many times."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE_S)
        for what in itertools.islice(self._turns(), at_most):
            began = time.monotonic()
            if began >= until:
                break
            try:
                getattr(self, what)(connection)
            except (OSError, http.client.HTTPException, AssertionError) as failure:
                self.errors.append(f"{what}: {failure!r}")
                connection.close()
            self.times.append(time.monotonic() - began)
        connection.close()

    def _turns(self) -> Iterator[str]:
        return itertools.islice(itertools.cycle(TURN), self.turn % len(TURN), None)

    def schedule(self, connection: http.client.HTTPConnection) -> None:
        """Pull a page of the schedule that begins anywhere in it."""
        day = 1 + len(self.times) % 28
        page = self._answer(connection, "GET", f"schedule?from=2020-01-{day:02}", expected=200)
        assert "items" in page

    def changes(self, connection: http.client.HTTPConnection) -> None:
        """Read on in the change feed."""
        query = f"?after={self.after}" if self.after else ""
        self.after = self._answer(connection, "GET", f"changes{query}", expected=200)["cursor"]

    def scouting(self, connection: http.client.HTTPConnection) -> None:
        """Tell of a count in a block."""
        count = {
            "target": "aphids",
            "method": "visual",
            "sample_size": 25,
            "count": len(self.times) % 7,
            "observed_at": "2026-03-01T09:00:00-08:00",
        }
        self._answer(connection, "POST", f"blocks/{self.block}/scouting", expected=201, body=count)

    def _answer(
        self,
        connection: http.client.HTTPConnection,
        method: str,
        path: str,
        *,
        expected: int,
        body: Any = None,
    ) -> Any:
        headers = {"Authorization": f"Bearer {self.secret}"}
        if body is not None:
            headers |= {"Content-Type": "application/json", "Idempotency-Key": str(uuid.uuid4())}
        raw = None if body is None else json.dumps(body)
        connection.request(method, f"/api/v1/farms/{self.farm}/{path}", body=raw, headers=headers)
        response = connection.getresponse()
        said = response.read()
        assert response.status == expected, (response.status, said[:200])
        return json.loads(said)


def _let_ask(clients: list[Client], seconds: int, server: int) -> tuple[float, float]:
    """Let all ask at once; return the memory of the web processes after the start and at the end [MiB]."""
    for thread in _started(clients, at_most=WARM_REQUESTS):
        thread.join()
    for client in clients:
        client.times.clear()
    end = time.monotonic() + seconds
    threads = _started(clients, until=end)
    time.sleep(min(SETTLED_S, seconds / 2))
    warm = _memory(server)
    time.sleep(max(0.0, end - time.monotonic()))
    last = _memory(server)
    for thread in threads:
        thread.join()
    return warm, last


def _started(clients: list[Client], **how: Any) -> list[threading.Thread]:
    threads = [threading.Thread(target=client.ask, kwargs=how) for client in clients]
    for thread in threads:
        thread.start()
    return threads


def _memory(server: int) -> float:
    """Return what the children of the web server hold for themselves [MiB]."""
    found = Path(f"/proc/{server}/task/{server}/children").read_text().split()
    return sum(_resident(int(child)) for child in found) / KIB


def _resident(process: int) -> int:
    for line in Path(f"/proc/{process}/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1])
    return 0


# the rows


def _rows(clients: list[Client], seconds: int, warm: float, last: float) -> list[Result]:
    times = sorted(one * 1000 for client in clients for one in client.times)
    errors = [error for client in clients for error in client.errors]
    for error in errors[:5]:
        print(error, file=sys.stderr)
    parts = statistics.quantiles(times, n=100)
    size = f"{len(clients)} connections, {seconds} s"
    rate = f"{len(times)} requests, {len(times) / seconds:.0f} a second"
    return [
        Result(
            work=f"{rate}: p50 {parts[49]:.0f}, p95 {parts[94]:.0f}, p99 {parts[98]:.0f} ms",
            size=size,
            floor_ms=None,
            ours_ms=parts[49],
            ratios=None,
            spread=parts[94] / parts[49],
        ),
        Result(
            work="errors",
            size=size,
            floor_ms=None,
            ours_ms=len(errors),
            ratios=None,
            spread=1.0,
            goal="0",
            met=not errors,
        ),
        Result(
            work=f"memory of the web processes [MiB], after {min(SETTLED_S, seconds / 2):g} s and at the end",
            size=size,
            floor_ms=warm,
            ours_ms=last,
            ratios=(last / warm, last / warm),
            spread=1.0,
            goal=f"<= {MOST_GROWTH:g} x",
            met=last / warm <= MOST_GROWTH,
        ),
    ]


def _prepared(connections: int) -> list[dict[str, str]]:
    """Make farms with a few thousand orders and a token for each connection."""
    from django.utils import timezone  # noqa: PLC0415  # after the settings are read

    from orchard.farms import services  # noqa: PLC0415
    from orchard.farms.actors import SYSTEM  # noqa: PLC0415
    from tests.bench import farms_rows  # noqa: PLC0415

    farms = farms_rows.make_farms()
    farms_rows.fill(farms, orders=5000, movements=5000, now=timezone.now())
    found = []
    for turn in range(connections):
        one = farms[turn % len(farms)]
        made = services.add_token(
            farm=one.farm, name=f"{turn}", role="manager", by=SYSTEM, now=timezone.now()
        )
        found.append({"farm": str(one.farm.id), "block": str(one.blocks[0].id), "secret": made.secret})
    return found


if __name__ == "__main__":
    import django

    django.setup()
    json.dump(_prepared(int(sys.argv[1])), sys.stdout)
