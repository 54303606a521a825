"""How gunicorn runs the web process, alone under `manage.py serve` as in an image.

One process with many threads: a reader of the change feed that waits holds a thread and little else.
WEB_CONCURRENCY asks for more processes.
"""

import gc
import os
import tempfile
from typing import Any

from gunicorn import util
from prometheus_client import multiprocess

from orchard.config import logs

workers = int(os.environ.get("WEB_CONCURRENCY", "1"))
if workers > 1:  # each process counts its own requests; what is told is their sum
    os.environ.setdefault("PROMETHEUS_MULTIPROC_DIR", tempfile.mkdtemp(prefix="orchard-metrics-"))
worker_class = "gthread"
threads = 24  # each may hold one of PostgreSQL's 100 connections
timeout = 60
graceful_timeout = 8
keepalive = 5
loglevel = os.environ.get("LOG_LEVEL", "WARNING").lower()
logconfig_dict = logs.settings(loglevel.upper())
control_socket_disable = True  # it would lie in the home folder of whoever runs us

limit_request_line = 8190  # the longest that gunicorn reads; a longer address is a 414


def post_worker_init(worker: Any) -> None:
    """Leave what was loaded at the start out of the collector's rounds, which pause requests.

    What the server refuses by itself it writes through one function, and has no setting for it.
    """
    from orchard.api import wire  # noqa: PLC0415  (the application is ready only now)

    util.write_error = wire.refuse
    gc.collect()
    gc.freeze()


def child_exit(server: Any, worker: Any) -> None:
    """Forget the files of a process that has ended."""
    if "PROMETHEUS_MULTIPROC_DIR" in os.environ:
        multiprocess.mark_process_dead(worker.pid)  # type: ignore[no-untyped-call]
