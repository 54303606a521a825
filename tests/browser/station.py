"""The service in this process on one address, that can fall silent and come back."""

from __future__ import annotations

import socket
import threading
import time
from types import TracebackType
from typing import Any

from django.core.handlers.wsgi import WSGIHandler
from django.core.servers.basehttp import ThreadedWSGIServer, WSGIRequestHandler


class Quiet(WSGIRequestHandler):
    """Serves without writing each request to the console."""

    def log_message(self, format: str, *args: object) -> None:
        pass


ROUND_TRIP_S, BYTES_A_SECOND = 0.4, 50_000
"""Slow 3G: 400 ms there and back, 400 kbit a second."""


class Slow:
    """The service at the end of a slow net: a connection, a request and an answer take their time."""

    def __init__(self, station: Station) -> None:
        self.station, self.service = station, WSGIHandler()

    def __call__(self, environ: Any, start_response: Any) -> Any:
        answer = self.service(environ, start_response)
        if self.station.slow:
            size = int(answer.headers.get("Content-Length", 30_000)) if hasattr(answer, "headers") else 30_000
            time.sleep(2 * ROUND_TRIP_S + size / BYTES_A_SECOND)
        return answer


class Station:
    """A server that is there, or not."""

    def __init__(self) -> None:
        with socket.create_server(("127.0.0.1", 0)) as probe:
            self.port = probe.getsockname()[1]
        self.url = f"http://localhost:{self.port}"
        self.slow = False
        self.server: ThreadedWSGIServer | None = None

    def __enter__(self) -> Station:
        self.come_back()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None
    ) -> None:
        self.fall_silent()

    def come_back(self) -> None:
        """Answer from now on."""
        if self.server is None:
            self.server = ThreadedWSGIServer(("127.0.0.1", self.port), Quiet)
            self.server.daemon_threads = True
            self.server.set_app(Slow(self))
            threading.Thread(target=self.server.serve_forever, args=(0.02,), daemon=True).start()

    def fall_silent(self) -> None:
        """Refuse every connection from now on."""
        if self.server is not None:
            self.server.shutdown()
            self.server.server_close()
            self.server = None
