"""A database for one run outside the suite, made as the tests' own are and dropped at the end."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def own_database() -> Iterator[None]:
    """Let everything within speak to a database that holds no farm; requests are not counted.

    To be entered before any model is imported: it sets Django up.
    """
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "orchard.config.settings")
    os.environ["RATE_LIMIT_PER_MINUTE"] = "0"
    import django  # noqa: PLC0415  (settings are read from the environment above)

    django.setup()
    from django.test.client import ClientHandler  # noqa: PLC0415

    from tests import database  # noqa: PLC0415

    database.use_throw_away_server()
    ClientHandler.__call__ = database.with_no_farm_open(ClientHandler.__call__)
    name = database.make()
    try:
        yield
    finally:
        database.drop(name)
