"""What lies in the folder of our own PostgreSQL."""

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Folder:
    """The files below `base`, each with one use."""

    base: Path

    @property
    def users_lock(self) -> Path:
        """Held shared by every process that uses the server."""
        return self.base / "users.lock"

    @property
    def start_lock(self) -> Path:
        """Held by the one process that looks whether to start the server."""
        return self.base / "start.lock"

    @property
    def keeper_lock(self) -> Path:
        """Held by the keeper while it lives."""
        return self.base / "keeper.lock"

    @property
    def state(self) -> Path:
        """JSON: `port` once the server is ready, or `failed` with the sentence why not."""
        return self.base / "server.json"

    @property
    def last_port(self) -> Path:
        """The port of the last start, taken again where it is free."""
        return self.base / "port"

    @property
    def password(self) -> Path:
        """The password of all roles: other people on the machine can reach the port too."""
        return self.base / "password"

    @property
    def log(self) -> Path:
        """What PostgreSQL and its keeper had to say."""
        return self.base / "log"

    @property
    def rows(self) -> Path:
        """PostgreSQL's own folder."""
        return self.base / "rows"
