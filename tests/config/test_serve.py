"""`manage.py serve`: everything runs, one line says so, and nothing is left of it afterwards."""

import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

pytestmark = pytest.mark.xdist_group("servers")

CHECKOUT = Path(__file__).resolve().parents[2]
PATIENCE = 30  # seconds

Serve = Callable[..., "subprocess.Popen[str]"]


@pytest.fixture
def serve(database_environment: dict[str, str]) -> Iterator[Serve]:
    begun: list[subprocess.Popen[str]] = []
    environment = {name: text for name, text in database_environment.items() if name != "REDIS_URL"}

    def begin(*, port: int = 0) -> "subprocess.Popen[str]":
        begun.append(
            subprocess.Popen(
                [sys.executable, "manage.py", "serve", "--port", str(port)],
                cwd=CHECKOUT,
                env=environment,
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                text=True,
            )
        )
        return begun[-1]

    yield begin
    for process in begun:
        process.kill()
        process.communicate()


def address_in(line: str) -> str:
    found = re.fullmatch(r"Ready at (http://127\.0\.0\.1:\d+/) \(Ctrl-C stops it\)\n", line)
    assert found, line
    return found[1]


def children_of(process: int) -> dict[int, str]:
    numbers = Path(f"/proc/{process}/task/{process}/children").read_text().split()
    return {int(number): Path(f"/proc/{number}/cmdline").read_text() for number in numbers}


def gone(processes: dict[int, str]) -> bool:
    end = time.monotonic() + PATIENCE
    while any(Path(f"/proc/{number}/exe").exists() for number in processes) and time.monotonic() < end:
        time.sleep(0.05)
    return not any(Path(f"/proc/{number}/exe").exists() for number in processes)


def test_it_answers_and_ctrl_c_ends_all_of_it(serve: Serve) -> None:
    process = serve()
    assert process.stdout
    address = address_in(process.stdout.readline())
    started = children_of(process.pid)

    with urllib.request.urlopen(f"{address}healthz", timeout=PATIENCE) as answer:
        assert answer.status == 200
    process.send_signal(signal.SIGINT)
    printed, _ = process.communicate(timeout=PATIENCE)

    assert process.returncode == 0
    assert printed == ""
    assert len(started) == 2
    assert gone(started)


def test_when_the_background_work_dies_the_rest_stops_and_says_so(serve: Serve) -> None:
    process = serve()
    assert process.stdout
    address_in(process.stdout.readline())
    relay = next(number for number, command in children_of(process.pid).items() if "relay" in command)

    os.kill(relay, signal.SIGKILL)
    _, complaint = process.communicate(timeout=PATIENCE)

    assert process.returncode == 1
    assert "The background work ended by itself (status -9)" in complaint
    assert "Traceback" not in complaint


def test_when_it_is_killed_nothing_goes_on_without_it(serve: Serve) -> None:
    process = serve()
    assert process.stdout
    address_in(process.stdout.readline())
    started = children_of(process.pid)

    process.kill()

    assert gone(started)


def test_a_port_in_use_is_told_in_one_sentence(serve: Serve) -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:
        process = serve(port=other.getsockname()[1])
        printed, complaint = process.communicate(timeout=PATIENCE)

    assert process.returncode == 1
    assert printed == ""
    assert "Address already in use" in complaint
    assert len(complaint.splitlines()) == 1
