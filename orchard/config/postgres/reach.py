"""How the user who runs the server gets at our files."""

import os
from pathlib import Path
from typing import Any

from orchard.config.postgres import binaries


class Reach:
    """As ourselves by name; for root, whom PostgreSQL refuses, as nobody by open descriptors.

    Nobody owns the files but may not enter the folders above them where those are closed; a path below
    /proc/self/fd starts at the open folder itself, so no folder above has to be opened up.
    """

    def __init__(self, *paths: Path) -> None:
        self._root = os.geteuid() == 0
        self._open = {path: os.open(path, os.O_RDONLY) for path in paths} if self._root else {}

    def __enter__(self) -> "Reach":
        for path in self._open:
            os.chown(path, binaries.NOBODY, binaries.NOBODY)
        return self

    def __exit__(self, *_: object) -> None:
        for descriptor in self._open.values():
            os.close(descriptor)

    def path(self, path: Path) -> str:
        return f"/proc/self/fd/{self._open[path]}" if self._root else str(path)

    def how(self) -> dict[str, Any]:
        """Return what `subprocess` needs to start a program as that user, with none of our environment."""
        environment = {"PATH": os.environ.get("PATH", os.defpath), "LC_ALL": "C.UTF-8"}
        if not self._root:
            return {"cwd": "/", "env": environment}
        nobody = {"user": binaries.NOBODY, "group": binaries.NOBODY, "extra_groups": []}
        return {"cwd": "/", "env": environment, "pass_fds": tuple(self._open.values()), **nobody}
