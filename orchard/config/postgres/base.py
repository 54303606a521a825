"""Django's PostgreSQL backend, which starts or joins our own server at the first connection.

Only then: `manage.py help`, `makemigrations` and the type checker read the settings and need no server.
Without `EMBEDDED` in its settings it speaks to the server that they name.
"""

import select
from typing import Any

from django.db.backends.postgresql import base
from django.db.utils import OperationalError

from orchard.config import embedded


class DatabaseWrapper(base.DatabaseWrapper):
    """A connection to the server kept in settings' `EMBEDDED` folder, or to another; the rest is Django's."""

    def get_connection_params(self) -> dict[str, Any]:
        if "EMBEDDED" in self.settings_dict:
            self._join()
        return super().get_connection_params()

    def _join(self) -> None:
        try:
            server = embedded.join(**self.settings_dict["EMBEDDED"])
        except embedded.ServerUnavailable as reason:
            raise OperationalError(str(reason)) from reason
        self.settings_dict.update(HOST=server.host, PORT=server.port, PASSWORD=server.password)

    def is_usable(self) -> bool:
        """Return whether the server still answers; it is asked only where it sent something unasked.

        A server that ends closes its side, and the end can be read: a request need not wait for an answer to
        `SELECT 1` each time.
        """
        return self._is_silent() or super().is_usable()

    def _is_silent(self) -> bool:
        if self.connection is None or self.connection.closed:
            return False
        waiting = select.poll()
        waiting.register(self.connection.fileno(), select.POLLIN)
        return not waiting.poll(0)
