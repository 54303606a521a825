"""Django's PostgreSQL backend, which starts or joins our own server at the first connection.

Only then: `manage.py help`, `makemigrations` and the type checker read the settings and need no server.
"""

from typing import Any

from django.db.backends.postgresql import base
from django.db.utils import OperationalError

from orchard.config import embedded


class DatabaseWrapper(base.DatabaseWrapper):
    """A connection to the server kept in settings' `EMBEDDED` folder; the rest is Django's."""

    def get_connection_params(self) -> dict[str, Any]:
        try:
            server = embedded.join(**self.settings_dict["EMBEDDED"])
        except embedded.ServerUnavailable as reason:
            raise OperationalError(str(reason)) from reason
        self.settings_dict.update(HOST=server.host, PORT=server.port, PASSWORD=server.password)
        return super().get_connection_params()
