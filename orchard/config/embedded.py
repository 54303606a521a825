"""A PostgreSQL of our own for a machine that was given none.

Every process that uses the server holds a shared lock on `users.lock` for as long as it lives. A keeper,
detached from all of them, runs PostgreSQL as its child and asks for the same lock alone: once it gets it no
user is left, and it stops the server. The kernel drops the locks of a process that is killed, so nothing is
counted. Two more locks: `start.lock` lets one process at a time look and start, `keeper.lock` tells that a
keeper lives.
"""

import fcntl
import json
import os
import socket
import subprocess
import sys
import threading
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from orchard.config.postgres.folder import Folder

START_SECONDS = 60  # recovery after a crash is part of it
LOG_BYTES = 5_000_000  # a longer log is begun anew at the next start

_held: dict[Path, int] = {}  # the descriptors that keep our shared locks; closed by the end of the process
_one_at_a_time = threading.RLock()


class ServerUnavailable(Exception):
    """No PostgreSQL can be had; the text is one sentence for the person at the terminal."""


@dataclass(frozen=True, slots=True)
class Server:
    """Where the running server listens. All its roles have the same password, kept in a file of mode 0600."""

    host: str
    port: int
    password: str


def join(*, base: Path, durable: bool) -> Server:
    """Return the server whose rows are kept below `base`, started if it does not run; it runs while we live.

    :param base: folder of this server alone, made if it is missing
    :param durable: False trades the safety of the rows for speed, for servers that tests throw away
    :raises ServerUnavailable: no server can be found or started
    """
    folder = Folder(base.resolve())
    try:
        folder.base.mkdir(parents=True, exist_ok=True)
        with _one_at_a_time:
            _become_user(folder)
            return _running_server(folder, durable=durable)
    except OSError as failure:
        raise ServerUnavailable(
            f"The folder {folder.base} cannot be used for PostgreSQL: {failure}."
        ) from failure


def _become_user(folder: Folder) -> None:
    """Hold the shared lock; waits for a keeper that is about to stop its server."""
    if folder.base in _held:
        return
    users = os.open(folder.users_lock, os.O_RDWR | os.O_CREAT, 0o600)
    fcntl.flock(users, fcntl.LOCK_SH)
    _held[folder.base] = users


def _running_server(folder: Folder, *, durable: bool) -> Server:
    start = os.open(folder.start_lock, os.O_RDWR | os.O_CREAT, 0o600)
    try:
        fcntl.flock(start, fcntl.LOCK_EX)
        state = _state_of_live_keeper(folder, durable=durable)
    finally:
        os.close(start)
    return Server(host="127.0.0.1", port=int(state["port"]), password=folder.password.read_text())


def _state_of_live_keeper(folder: Folder, *, durable: bool) -> dict[str, Any]:
    launched = False
    end = time.monotonic() + START_SECONDS
    while time.monotonic() < end:
        lives, state = _keeper_lives(folder), _state(folder)
        if lives and "port" in state and _listens(int(state["port"])):
            return state
        if not lives and launched:
            raise ServerUnavailable(
                state.get("failed") or f"PostgreSQL did not start; {folder.log} says why."
            )
        if not lives:
            _launch_keeper(folder, durable=durable)
            launched = True
        time.sleep(0.01)
    raise ServerUnavailable(f"PostgreSQL was not ready within {START_SECONDS} s; {folder.log} says why.")


def _keeper_lives(folder: Folder) -> bool:
    probe = os.open(folder.keeper_lock, os.O_RDWR | os.O_CREAT, 0o600)
    try:
        fcntl.flock(probe, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    finally:
        os.close(probe)
    return False


def _listens(port: int) -> bool:
    """Tell a server from what a keeper wrote of one that died a moment ago."""
    try:
        socket.create_connection(("127.0.0.1", port), timeout=1).close()
    except OSError:
        return False
    return True


def _state(folder: Folder) -> dict[str, Any]:
    try:
        return dict(json.loads(folder.state.read_text()))
    except FileNotFoundError:
        return {}


def _launch_keeper(folder: Folder, *, durable: bool) -> None:
    """Start the keeper; it holds its lock, or has failed, by the time that this returns."""
    folder.state.unlink(missing_ok=True)
    root = str(Path(__file__).resolve().parents[2])
    # PG… variables of the person at the terminal speak of other servers.
    environment = {name: value for name, value in os.environ.items() if not name.startswith("PG")}
    environment["PYTHONPATH"] = os.pathsep.join([root, *filter(None, [environment.get("PYTHONPATH")])])
    long = folder.log.exists() and folder.log.stat().st_size > LOG_BYTES
    with folder.log.open("wb" if long else "ab") as log:
        subprocess.run(
            [sys.executable, "-m", "orchard.config.postgres.keeper", str(folder.base)]
            + ([] if durable else ["--throw-away"]),
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=log,
            cwd="/",
            env=environment,
            start_new_session=True,
            check=False,
        )
