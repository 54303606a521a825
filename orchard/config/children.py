"""Processes that live and end together."""

import contextlib
import ctypes
import os
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

GRACE_SECONDS = 15  # a web server ends its requests, a worker its job
PR_SET_PDEATHSIG = 1  # from linux/prctl.h


class Children:
    """Named processes; as a context, none of them outlives it."""

    def __init__(self) -> None:
        self._running: dict[str, subprocess.Popen[bytes]] = {}

    def __enter__(self) -> "Children":
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def start(self, name: str, command: Sequence[str], *, folder: Path) -> None:
        """Start one in a session of its own, so that Ctrl-C reaches it through us and in order.

        What it prints goes to our standard error: standard output is the caller's own.
        """
        self._running[name] = subprocess.Popen(
            command,
            cwd=folder,
            stdin=subprocess.DEVNULL,
            stdout=sys.stderr.fileno(),
            start_new_session=True,
            preexec_fn=_end_with_parent if sys.platform == "linux" else None,
        )

    def first_ended(self) -> tuple[str, int] | None:
        """Return the name and the status of one that ended by itself."""
        return next(
            ((name, child.returncode) for name, child in self._running.items() if child.poll() is not None),
            None,
        )

    def stop(self) -> None:
        """Ask all to end, and end those that do not."""
        for child in self._running.values():
            if child.poll() is None:
                child.terminate()
        end = time.monotonic() + GRACE_SECONDS
        for child in self._running.values():
            with contextlib.suppress(subprocess.TimeoutExpired):
                child.wait(max(0.0, end - time.monotonic()))
            with contextlib.suppress(ProcessLookupError):
                os.killpg(child.pid, signal.SIGKILL)  # what it started and left behind, too
            child.wait()
        self._running.clear()


def _end_with_parent() -> None:
    """Let the kernel end the child where its parent is killed and can tell it nothing."""
    ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGTERM)
