"""The whole service on one machine: `manage.py serve`."""

import http.client
import os
import signal
import socket
import sys
import threading
import time
from collections.abc import Iterator
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from orchard.config import preparation
from orchard.config.children import Children

READY_SECONDS = 60
POLL_SECONDS = 0.1


class Command(BaseCommand):
    help = "Prepare the database, then answer requests and do the background work until Ctrl-C."
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--host", default="127.0.0.1", help="address to listen on (default: this machine alone)"
        )
        parser.add_argument("--port", type=int, default=8000, help="port to listen on; 0 takes a free one")

    def handle(self, *_args: Any, **options: Any) -> None:
        host, port = options["host"], _free(options["host"], options["port"])
        stopped = threading.Event()
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, lambda *_: stopped.set())
        try:
            preparation.prepare()
        except preparation.CannotPrepare as reason:
            raise CommandError(str(reason)) from reason
        with Children() as children:
            for name, command in _commands(host, port):
                children.start(name, command, folder=settings.BASE_DIR)
            ready_until = time.monotonic() + READY_SECONDS
            ready = False
            while not stopped.wait(POLL_SECONDS):
                if ended := children.first_ended():
                    raise CommandError(
                        f"The {ended[0]} ended by itself (status {ended[1]}); all of it is stopped."
                    )
                if not ready and _answers(host, port):
                    ready = True
                    self.stdout.write(f"Ready at http://{_shown(host)}:{port}/ (Ctrl-C stops it)")
                    self.stdout.flush()
                if not ready and time.monotonic() > ready_until:
                    raise CommandError(
                        f"The web server did not answer within {READY_SECONDS} s; it is stopped."
                    )


def _commands(host: str, port: int) -> Iterator[tuple[str, list[str]]]:
    python = sys.executable
    gunicorn = [python, "-m", "gunicorn", "-c", "python:orchard.config.gunicorn_settings"]
    yield "web server", [*gunicorn, "--bind", f"{_shown(host)}:{port}", "orchard.config.wsgi"]
    if not os.environ.get("REDIS_URL"):
        yield "background work", [python, "manage.py", "relay"]
        return
    celery = [python, "-m", "celery", "--quiet", "-A", "scheduling.celery"]
    level = os.environ.get("LOG_LEVEL", "WARNING")
    yield "worker", [*celery, "worker", "--concurrency", "2", "--loglevel", level]
    times = settings.STATE_DIR / "beat"
    yield "timer", [*celery, "beat", "--loglevel", level, "--schedule", str(times), "--pidfile="]


def _free(host: str, port: int) -> int:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except (OSError, OverflowError) as failure:
            raise CommandError(
                f"Port {port} of {host} cannot be used ({_reason(failure)}): choose --port."
            ) from failure
        return int(probe.getsockname()[1])


def _reason(failure: Exception) -> str:
    return getattr(failure, "strerror", None) or str(failure)


def _answers(host: str, port: int) -> bool:
    here = {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(host, host)
    asked = http.client.HTTPConnection(here, port, timeout=5)
    try:
        asked.request("GET", "/healthz", headers={"Host": "localhost"})
        return asked.getresponse().status == http.HTTPStatus.OK
    except (OSError, http.client.HTTPException):
        return False
    finally:
        asked.close()


def _shown(host: str) -> str:
    return f"[{host}]" if ":" in host else host
